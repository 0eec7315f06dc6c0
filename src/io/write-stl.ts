import type { Mesh } from '../core/mesh.ts';

/**
 * Binary STL in mm. `title` (ASCII, at most 80 characters, not beginning with "solid") goes into the header. Normals by the
 * right-hand rule; a triangle without area has a zero normal, as the format's readers expect. The format has no unit of its own: the title
 * should say mm.
 */
export function writeStl(mesh: Mesh, title: string): Uint8Array<ArrayBuffer> {
  const { origin, positions: p, indices: t } = mesh;
  const triangles = t.length / 3;
  const out = new Uint8Array(84 + 50 * triangles);
  const view = new DataView(out.buffer);
  const safe = title.replace(/[^\x20-\x7e]/g, '?').replace(/^\s*solid/i, (s) => `-${s.trimStart()}`);
  for (let i = 0; i < 80; i++) out[i] = i < safe.length ? safe.charCodeAt(i) : 32;
  view.setUint32(80, triangles, true);
  const v = new Float64Array(9);
  for (let i = 0; i < triangles; i++) {
    for (let c = 0; c < 3; c++) for (let a = 0; a < 3; a++) v[3 * c + a] = p[3 * t[3 * i + c] + a];
    const ux = v[3] - v[0];
    const uy = v[4] - v[1];
    const uz = v[5] - v[2];
    const wx = v[6] - v[0];
    const wy = v[7] - v[1];
    const wz = v[8] - v[2];
    const nx = uy * wz - uz * wy;
    const ny = uz * wx - ux * wz;
    const nz = ux * wy - uy * wx;
    const n = Math.hypot(nx, ny, nz) || 1;
    const at = 84 + 50 * i;
    view.setFloat32(at, nx / n, true);
    view.setFloat32(at + 4, ny / n, true);
    view.setFloat32(at + 8, nz / n, true);
    for (let k = 0; k < 9; k++) view.setFloat32(at + 12 + 4 * k, v[k] + origin[k % 3], true);
  }
  return out;
}

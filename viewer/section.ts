import type { Mesh } from '../src/core/mesh.ts';

/**
 * Where a plane across an axis cuts a mesh: two end points a segment, six numbers, mm. Triangles that only touch the plane
 * count as lying below it, so a closed mesh gives closed outlines.
 */
export function sectionSegments(mesh: Mesh, axis: 0 | 1 | 2, at: number): Float32Array {
  const { positions: p, indices: t } = mesh;
  const u = ((axis + 1) % 3) as 0 | 1 | 2;
  const v = ((axis + 2) % 3) as 0 | 1 | 2;
  let out = new Float32Array(3072);
  let n = 0;
  // The crossing of edge i-j, from the upper end to the lower so that both triangles at the edge find the same point.
  const cross = (i: number, j: number): void => {
    const hi = p[i + axis] > at ? i : j;
    const lo = hi === i ? j : i;
    const f = (at - p[lo + axis]) / (p[hi + axis] - p[lo + axis]);
    out[n + axis] = at;
    out[n + u] = p[lo + u] + f * (p[hi + u] - p[lo + u]);
    out[n + v] = p[lo + v] + f * (p[hi + v] - p[lo + v]);
    n += 3;
  };
  for (let i = 0; i < t.length; i += 3) {
    const a = t[i] * 3;
    const b = t[i + 1] * 3;
    const c = t[i + 2] * 3;
    const A = p[a + axis] > at;
    const B = p[b + axis] > at;
    const C = p[c + axis] > at;
    if (A === B && B === C) continue;
    if (n + 6 > out.length) {
      const more = new Float32Array(out.length * 2);
      more.set(out);
      out = more;
    }
    if (A !== B) cross(a, b);
    if (B !== C) cross(b, c);
    if (C !== A) cross(c, a);
  }
  return out.slice(0, n);
}

/**
 * True when every edge is used once in each direction: sorted edge keys must pair up. Corners are matched by index, so a
 * mesh whose triangles do not share corners counts as open.
 */
export function isClosed(mesh: Mesh): boolean {
  const { indices: t } = mesh;
  const vertices = mesh.positions.length / 3;
  if (t.length === 0) return false;
  const keys = new Float64Array(t.length);
  const back = new Float64Array(t.length);
  for (let i = 0; i < t.length; i += 3)
    for (let e = 0; e < 3; e++) {
      const a = t[i + e];
      const b = t[i + ((e + 1) % 3)];
      keys[i + e] = a * vertices + b;
      back[i + e] = b * vertices + a;
    }
  keys.sort();
  back.sort();
  return keys.every((k, i) => k === back[i]);
}

/** True when `p` lies inside the closed mesh: an upward ray crosses it an odd number of times. */
export function inside(mesh: Mesh, p: readonly [number, number, number]): boolean {
  const { positions: q, indices: t } = mesh;
  // Off any lattice by less than can be seen, so that the ray meets no edge or corner.
  const x = p[0] + 3.1e-5;
  const y = p[1] + 1.7e-5;
  const z = p[2];
  let odd = false;
  for (let i = 0; i < t.length; i += 3) {
    const a = t[i] * 3;
    const b = t[i + 1] * 3;
    const c = t[i + 2] * 3;
    // Twice the areas of the three triangles that the ray's foot makes with the edges, in the xy plane.
    const w0 = (q[b] - x) * (q[c + 1] - y) - (q[b + 1] - y) * (q[c] - x);
    const w1 = (q[c] - x) * (q[a + 1] - y) - (q[c + 1] - y) * (q[a] - x);
    const w2 = (q[a] - x) * (q[b + 1] - y) - (q[a + 1] - y) * (q[b] - x);
    const sum = w0 + w1 + w2;
    if (sum === 0 || !((w0 > 0 && w1 > 0 && w2 > 0) || (w0 < 0 && w1 < 0 && w2 < 0))) continue;
    if ((w0 * q[a + 2] + w1 * q[b + 2] + w2 * q[c + 2]) / sum > z) odd = !odd;
  }
  return odd;
}

import { BufferAttribute, BufferGeometry, type Box3 as ThreeBox } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import { type Mesh, triangleCount } from '../core/mesh.ts';

/** Edges that end this close to a plane, as a share of the faces' size, only touch it. */
const TOUCH = 1e-7;

/**
 * Pairs of faces that go through each other, at most `limit` of them: an edge of one pierces the other. Faces without a common corner
 * may not even touch; for those with one, the edges that do not meet the other face at a corner must not go through its inside.
 */
export function selfCrossings(mesh: Mesh, limit = 100): [number, number][] {
  const { positions, indices } = mesh;
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(positions, 3));
  // The tree reorders its list; with an indirect one the numbers stay ours.
  geometry.setIndex(new BufferAttribute(indices, 1));
  const bvh = new MeshBVH(geometry, { indirect: true });
  const found: [number, number][] = [];
  const low = [0, 0, 0];
  const high = [0, 0, 0];
  let face = 0;
  const calls = {
    intersectsBounds: (box: ThreeBox): boolean =>
      box.min.x <= high[0] &&
      box.max.x >= low[0] &&
      box.min.y <= high[1] &&
      box.max.y >= low[1] &&
      box.min.z <= high[2] &&
      box.max.z >= low[2],
    intersectsRange: (offset: number, count: number): boolean => {
      for (let n = offset; n < offset + count; n++) {
        const other = bvh.resolveTriangleIndex(n);
        if (other > face && cross(mesh, face, other)) found.push([face, other]);
      }
      return found.length >= limit;
    },
  };
  for (; face < triangleCount(mesh) && found.length < limit; face++) {
    for (let a = 0; a < 3; a++) {
      const x = [0, 1, 2].map((i) => positions[3 * indices[3 * face + i] + a]);
      low[a] = Math.min(...x);
      high[a] = Math.max(...x);
    }
    bvh.shapecast(calls);
  }
  return found.slice(0, limit);
}

function cross(mesh: Mesh, f: number, g: number): boolean {
  return pierces(mesh, f, g) || pierces(mesh, g, f);
}

/** Whether an edge of face `f` that shares no corner with face `g` goes through it. */
function pierces({ positions: p, indices: t }: Mesh, f: number, g: number): boolean {
  const [a, b, c] = [t[3 * g], t[3 * g + 1], t[3 * g + 2]];
  const u = [0, 1, 2].map((k) => p[3 * b + k] - p[3 * a + k]);
  const v = [0, 1, 2].map((k) => p[3 * c + k] - p[3 * a + k]);
  const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
  const size = Math.hypot(...n);
  if (size === 0) return false;
  const height = (q: number): number =>
    (n[0] * (p[3 * q] - p[3 * a]) + n[1] * (p[3 * q + 1] - p[3 * a + 1]) + n[2] * (p[3 * q + 2] - p[3 * a + 2])) / size;
  const tell = TOUCH * Math.sqrt(size);
  const shared = [0, 1, 2].some((i) => t[3 * f + i] === a || t[3 * f + i] === b || t[3 * f + i] === c);
  // How far beyond the plane an edge must reach, and how far inside the border it must pass.
  const least = shared ? tell : -tell;
  for (let i = 0; i < 3; i++) {
    const q = t[3 * f + i];
    const r = t[3 * f + ((i + 1) % 3)];
    if (q === a || q === b || q === c || r === a || r === b || r === c) continue;
    const hq = height(q);
    const hr = height(r);
    if (!((hq > least && hr < -least) || (hq < -least && hr > least))) continue;
    // An edge in the plane itself does not pierce.
    if (Math.abs(hq - hr) <= 2 * tell) continue;
    const s = hq / (hq - hr);
    const x = [0, 1, 2].map((k) => p[3 * q + k] + s * (p[3 * r + k] - p[3 * q + k]));
    let inside = true;
    for (const [d, e] of [
      [a, b],
      [b, c],
      [c, a],
    ]) {
      const w = [0, 1, 2].map((k) => p[3 * e + k] - p[3 * d + k]);
      const y = [0, 1, 2].map((k) => x[k] - p[3 * d + k]);
      const side = n[0] * (w[1] * y[2] - w[2] * y[1]) + n[1] * (w[2] * y[0] - w[0] * y[2]) + n[2] * (w[0] * y[1] - w[1] * y[0]);
      if (side <= (shared ? TOUCH : -TOUCH) * size * size) inside = false;
    }
    if (inside) return true;
  }
  return false;
}

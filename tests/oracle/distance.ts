import { BufferAttribute, BufferGeometry, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import type { Mesh } from '../../src/core/mesh.ts';
import { cross, dot, sub, type Vec3 } from '../../src/core/vec.ts';

/**
 * Slow, plain distances to hold the fast ones against. Points come as x, y, z triples in float64; results are mm.
 */

/** Distance from p to the segment a-b. */
function toSegment(p: Vec3, a: Vec3, b: Vec3): number {
  const ab = sub(b, a);
  const n = dot(ab, ab);
  const t = n > 0 ? Math.min(1, Math.max(0, dot(sub(p, a), ab) / n)) : 0;
  return Math.hypot(p[0] - a[0] - t * ab[0], p[1] - a[1] - t * ab[1], p[2] - a[2] - t * ab[2]);
}

/** Distance from p to a triangle: to its plane where p projects into it (three side tests), else to the nearest edge. */
export function toTriangle(p: Vec3, a: Vec3, b: Vec3, c: Vec3): number {
  const n = cross(sub(b, a), sub(c, a));
  const area = Math.hypot(...n);
  const edges: [Vec3, Vec3][] = [
    [a, b],
    [b, c],
    [c, a],
  ];
  if (area > 0 && edges.every(([s, e]) => dot(cross(sub(e, s), sub(p, s)), n) >= 0)) return Math.abs(dot(sub(p, a), n)) / area;
  return Math.min(...edges.map(([s, e]) => toSegment(p, s, e)));
}

/** Every point against every triangle. */
export function bruteDistance(mesh: Mesh, points: Float64Array): Float64Array {
  const { origin, positions, indices } = mesh;
  const corner = (i: number): Vec3 => [
    positions[indices[i] * 3] + origin[0],
    positions[indices[i] * 3 + 1] + origin[1],
    positions[indices[i] * 3 + 2] + origin[2],
  ];
  const out = new Float64Array(points.length / 3).fill(Infinity);
  for (let t = 0; t < indices.length; t += 3) {
    const a = corner(t);
    const b = corner(t + 1);
    const c = corner(t + 2);
    for (let i = 0; i < out.length; i++)
      out[i] = Math.min(out[i], toTriangle([points[i * 3], points[i * 3 + 1], points[i * 3 + 2]], a, b, c));
  }
  return out;
}

/** The same through the tree of three-mesh-bvh, for meshes on which brute force would take minutes. */
export function treeDistance(mesh: Mesh): (points: Float64Array) => Float64Array {
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
  geometry.setIndex(new BufferAttribute(mesh.indices.slice(), 1));
  const tree = new MeshBVH(geometry);
  const p = new Vector3();
  const [ox, oy, oz] = mesh.origin;
  return (points) =>
    Float64Array.from({ length: points.length / 3 }, (_, i) => {
      p.set(points[i * 3] - ox, points[i * 3 + 1] - oy, points[i * 3 + 2] - oz);
      const hit = tree.closestPointToPoint(p);
      return hit ? hit.distance : Infinity;
    });
}

export interface ErrorSummary {
  readonly count: number;
  readonly rms: number;
  readonly p99: number;
  readonly max: number;
}

/** Root mean square, 99th percentile and greatest of |errors|. */
export function summarize(errors: readonly number[]): ErrorSummary {
  const sorted = errors.map(Math.abs).sort((a, b) => a - b);
  const n = sorted.length;
  if (n === 0) return { count: 0, rms: 0, p99: 0, max: 0 };
  return {
    count: n,
    rms: Math.sqrt(sorted.reduce((s, e) => s + e * e, 0) / n),
    p99: sorted[Math.min(n - 1, Math.floor(0.99 * n))],
    max: sorted[n - 1],
  };
}

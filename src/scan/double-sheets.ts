import { BufferAttribute, BufferGeometry, DoubleSide, Ray, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import type { Mesh } from '../core/mesh.ts';
import { areaVector, sampleSurface } from './place-samples.ts';

/** Places at which the surface is looked at. */
const PLACES = 4000;
/** Surfaces farther apart than this are two parts, not one that was scanned twice, mm. */
const REACH = 3;
/** Closer than this lies the sampled triangle itself, mm. */
const SELF = 1e-3;
/** Cosine of the largest angle between the two sheets' normals. */
const SAME_WAY = 0.8;

export interface DoubleSheets {
  /** Share of the area with a second sheet over or under it. */
  readonly share: number;
  /** Median distance between the sheets, mm; 0 when there are none. */
  readonly apart: number;
}

/**
 * Surface that is there twice, as when two sweeps of the scanner do not meet. Going out from a face along its normal, or in against it, the
 * first surface that is met belongs to the other side of some body and faces back; one that faces the same way is a second sheet.
 */
export function doubleSheets(mesh: Mesh): DoubleSheets {
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
  geometry.setIndex(new BufferAttribute(mesh.indices, 1));
  const tree = new MeshBVH(geometry, { indirect: true });
  const { points, normals, count } = sampleSurface(mesh, PLACES, 7);
  const ray = new Ray();
  const gaps: number[] = [];
  for (let i = 0; i < count; i++) {
    const n = new Vector3(normals[i * 3], normals[i * 3 + 1], normals[i * 3 + 2]);
    let least = Infinity;
    for (const way of [1, -1]) {
      ray.direction.copy(n).multiplyScalar(way);
      ray.origin.set(points[i * 3], points[i * 3 + 1], points[i * 3 + 2]).addScaledVector(ray.direction, SELF);
      const hit = tree.raycastFirst(ray, DoubleSide, 0, REACH);
      if (!hit || hit.faceIndex === undefined || hit.faceIndex === null) continue;
      const [x, y, z] = areaVector(mesh.positions, mesh.indices, hit.faceIndex);
      if ((n.x * x + n.y * y + n.z * z) / (Math.hypot(x, y, z) || 1) > SAME_WAY) least = Math.min(least, hit.distance + SELF);
    }
    if (Number.isFinite(least)) gaps.push(least);
  }
  gaps.sort((a, b) => a - b);
  return { share: count > 0 ? gaps.length / count : 0, apart: gaps[Math.floor(gaps.length / 2)] ?? 0 };
}

import { BufferAttribute, BufferGeometry, Vector3 } from 'three';
import { type HitPointInfo, MeshBVH } from 'three-mesh-bvh';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import type { Partner } from './place-pairs.ts';
import { normalInto } from './place-samples.ts';

/** Exact nearest points on a mesh, mm about its origin. */
export class SurfaceTree implements Partner {
  readonly point = new Float64Array(3);
  readonly normal = new Float64Array(3);
  private readonly tree: MeshBVH;
  private readonly mesh: Mesh;
  private readonly query = new Vector3();
  private readonly hit: HitPointInfo = { point: new Vector3(), distance: 0, faceIndex: 0 };

  constructor(mesh: Mesh) {
    const geometry = new BufferGeometry();
    geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
    geometry.setIndex(new BufferAttribute(mesh.indices, 1));
    this.mesh = mesh;
    // The mesh's own index stays as it is.
    this.tree = new MeshBVH(geometry, { indirect: true });
  }

  /** Distance of `p`, mm in the frame of the scans; `limit` where it is more. */
  distance(p: Vec3, limit: number): number {
    const { origin } = this.mesh;
    this.query.set(p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]);
    return Math.min(limit, this.tree.closestPointToPoint(this.query, this.hit, 0, limit)?.distance ?? limit);
  }

  /** The nearest triangle to `p`, mm in the frame of the scans, and how far it is; null when none is within `limit`. */
  face(p: Vec3, limit: number): { readonly face: number; readonly distance: number } | null {
    const { origin } = this.mesh;
    this.query.set(p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]);
    const hit = this.tree.closestPointToPoint(this.query, this.hit, 0, limit);
    return hit && hit.distance <= limit ? { face: hit.faceIndex, distance: hit.distance } : null;
  }

  /** Whether there is a point within `limit` mm on a triangle that has an area. */
  nearest(x: number, y: number, z: number, limit: number): boolean {
    this.query.set(x, y, z);
    const hit = this.tree.closestPointToPoint(this.query, this.hit, 0, limit);
    if (!hit || hit.distance > limit) return false;
    const size = normalInto(this.mesh.positions, this.mesh.indices, hit.faceIndex, this.normal);
    if (!(size > 0)) return false;
    this.point[0] = hit.point.x;
    this.point[1] = hit.point.y;
    this.point[2] = hit.point.z;
    this.normal[0] /= size;
    this.normal[1] /= size;
    this.normal[2] /= size;
    return true;
  }
}

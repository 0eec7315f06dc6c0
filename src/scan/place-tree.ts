import { BufferAttribute, BufferGeometry, Vector3 } from 'three';
import { type HitPointInfo, MeshBVH } from 'three-mesh-bvh';
import type { Mesh } from '../core/mesh.ts';
import type { Partner } from './place-pairs.ts';

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

  /** Whether there is a point within `limit` mm on a triangle that has an area. */
  nearest(x: number, y: number, z: number, limit: number): boolean {
    this.query.set(x, y, z);
    const hit = this.tree.closestPointToPoint(this.query, this.hit, 0, limit);
    if (!hit || hit.distance > limit) return false;
    const { positions: p, indices: t } = this.mesh;
    const a = t[hit.faceIndex * 3] * 3;
    const b = t[hit.faceIndex * 3 + 1] * 3;
    const c = t[hit.faceIndex * 3 + 2] * 3;
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    const nx = uy * vz - uz * vy;
    const ny = uz * vx - ux * vz;
    const nz = ux * vy - uy * vx;
    const size = Math.sqrt(nx * nx + ny * ny + nz * nz);
    if (!(size > 0)) return false;
    this.point[0] = hit.point.x;
    this.point[1] = hit.point.y;
    this.point[2] = hit.point.z;
    this.normal[0] = nx / size;
    this.normal[1] = ny / size;
    this.normal[2] = nz / size;
    return true;
  }
}

import { BufferAttribute, BufferGeometry, DoubleSide, Ray, Vector3 } from 'three';
import { type HitPointInfo, MeshBVH } from 'three-mesh-bvh';
import { type Mesh, meshArea } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { islands } from './islands.ts';
import { vertexNormals } from './shape.ts';

/**
 * A closed mesh as a surface to be asked at places all over it: rays to its next face, its nearest point, and places that each stand for
 * an area of their own. Places are about the mesh's origin, mm.
 */
export class AskedSurface {
  readonly mesh: Mesh;
  readonly area: number;
  private readonly tree: MeshBVH;
  private readonly ray = new Ray();
  private readonly point = new Vector3();
  private readonly hit: HitPointInfo = { point: new Vector3(), distance: 0, faceIndex: 0 };

  constructor(mesh: Mesh) {
    this.mesh = mesh;
    this.area = meshArea(mesh);
    const geometry = new BufferGeometry();
    geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
    geometry.setIndex(new BufferAttribute(mesh.indices, 1));
    this.tree = new MeshBVH(geometry, { indirect: true });
  }

  /** How far the next face is from (x, y, z) along the unit vector `d`, mm; Infinity when there is none within `far`. */
  along(x: number, y: number, z: number, d: Vec3, far: number): number {
    this.ray.origin.set(x, y, z);
    this.ray.direction.set(d[0], d[1], d[2]);
    return this.tree.raycastFirst(this.ray, DoubleSide, 0, far)?.distance ?? Infinity;
  }

  /** The point of the surface nearest to (x, y, z); a vector that the next call uses again. */
  nearest(x: number, y: number, z: number): Vector3 {
    this.tree.closestPointToPoint(this.point.set(x, y, z), this.hit);
    return this.hit.point;
  }

  /**
   * From `count` to about twice as many places, each the middle of a piece of a face; the pieces are congruent parts of their face and together
   * the whole surface, so shares of area have no chance in them. Of a mesh with many more faces, some at equal steps of area.
   */
  places(count: number): Places {
    const { positions: p, indices: t } = this.mesh;
    const most = this.area / count;
    const at: number[] = [];
    const normal: number[] = [];
    const smooth: number[] = [];
    const corners = vertexNormals(this.mesh);
    const area: number[] = [];
    const face: number[] = [];
    for (let f = 0; f < t.length / 3; f++) {
      const [a, b, c] = [3 * t[3 * f], 3 * t[3 * f + 1], 3 * t[3 * f + 2]];
      const u = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
      const v = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
      const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
      const twice = Math.hypot(n[0], n[1], n[2]);
      if (!(twice > 0)) continue;
      const rows = Math.max(1, Math.ceil(Math.sqrt(twice / 2 / most)));
      const own = twice / 2 / (rows * rows);
      const put = (i: number, j: number): void => {
        for (let k = 0; k < 3; k++) at.push(p[a + k] + (u[k] * i + v[k] * j) / (3 * rows));
        normal.push(n[0] / twice, n[1] / twice, n[2] / twice);
        const [s, r] = [i / (3 * rows), j / (3 * rows)];
        const between = (k: number): number => corners[a + k] * (1 - s - r) + corners[b + k] * s + corners[c + k] * r;
        const [x, y, z] = [between(0), between(1), between(2)];
        const size = Math.hypot(x, y, z) || 1;
        smooth.push(x / size, y / size, z / size);
        area.push(own);
        face.push(f);
      };
      // Thirds of a row: the middle of a piece that stands, and of one that hangs between two of those.
      for (let i = 0; i < rows; i++)
        for (let j = 0; i + j < rows; j++) {
          put(3 * i + 1, 3 * j + 1);
          if (i + j < rows - 1) put(3 * i + 2, 3 * j + 2);
        }
    }
    const all = {
      at: Float64Array.from(at),
      normal: Float64Array.from(normal),
      smooth: Float64Array.from(smooth),
      area: Float64Array.from(area),
      face: Uint32Array.from(face),
    };
    return face.length > 2 * count ? thinned(all, count) : all;
  }
}

/** Of many places `count` at equal steps of the area that was passed, each standing for such a step. */
function thinned({ at, normal, smooth, area, face }: Places, count: number): Places {
  const step = area.reduce((s, a) => s + a, 0) / count;
  const picked: number[] = [];
  let passed = 0;
  for (let i = 0; i < area.length; i++) {
    passed += area[i];
    while (picked.length < count && passed >= (picked.length + 0.5) * step) picked.push(i);
  }
  const three = (of: Float64Array): Float64Array =>
    Float64Array.from({ length: 3 * picked.length }, (_, n) => of[3 * picked[Math.floor(n / 3)] + (n % 3)]);
  return {
    at: three(at),
    normal: three(normal),
    smooth: three(smooth),
    area: new Float64Array(picked.length).fill(step),
    face: Uint32Array.from(picked, (i) => face[i]),
  };
}

/**
 * Places on a surface: three numbers each for `at` (about the mesh's origin), the face's unit normal, and the unit normal of a smooth surface that
 * the faces stand for (between the corners' own); one for the area that it stands for, mm2, and its face.
 */
export interface Places {
  readonly at: Float64Array;
  readonly normal: Float64Array;
  readonly smooth: Float64Array;
  readonly area: Float64Array;
  readonly face: Uint32Array;
}

/** A part of the surface of which something is said. Plain JSON. */
export interface Spot {
  /** Where it is worst. */
  readonly at_mm: Vec3;
  readonly area_cm2: number;
}

/** Spots that are named. */
const NAMED = 5;
/** Smaller ones are not worth a name: cm2, and times the area of one place. */
const WORTH = 0.2;
const WORTH_PLACES = 2;

/**
 * Groups the marked places (`badness` above 0) by faces that share a corner; the largest groups, each with the place of its greatest badness.
 */
export function spots({ positions, indices, origin }: Mesh, places: Places, badness: Float64Array): Spot[] {
  const marked: number[] = [];
  for (let i = 0; i < badness.length; i++) if (badness[i] > 0) marked.push(i);
  const corners = new Uint32Array(3 * marked.length);
  marked.forEach((i, n) => {
    corners.set(indices.subarray(3 * places.face[i], 3 * places.face[i] + 3), 3 * n);
  });
  const { label, first } = islands(positions.length / 3, corners);
  const area = new Float64Array(first.length);
  const worst = new Int32Array(first.length).fill(-1);
  marked.forEach((i, n) => {
    const g = label[corners[3 * n]];
    area[g] += places.area[i] / 100;
    if (worst[g] < 0 || badness[i] > badness[worst[g]]) worst[g] = i;
  });
  const least = Math.max(WORTH, (WORTH_PLACES * places.area.reduce((m, a) => Math.max(m, a), 0)) / 100);
  return [...area.keys()]
    .filter((g) => area[g] >= least)
    .sort((g, h) => area[h] - area[g] || g - h)
    .slice(0, NAMED)
    .map((g) => {
      const [x, y, z] = places.at.subarray(3 * worst[g], 3 * worst[g] + 3);
      return { at_mm: [x + origin[0], y + origin[1], z + origin[2]], area_cm2: area[g] };
    });
}

/** Share of the area of the marked places, percent. */
export function sharePercent(places: Places, badness: Float64Array): number {
  let [sum, all] = [0, 0];
  for (let i = 0; i < badness.length; i++) {
    all += places.area[i];
    if (badness[i] > 0) sum += places.area[i];
  }
  return all > 0 ? (100 * sum) / all : 0;
}

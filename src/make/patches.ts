import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { islands } from './islands.ts';

/** One face that misses the clearance. */
export interface Miss {
  readonly face: number;
  /** mm, negative inside a solid. */
  readonly distance: number;
  /** Nearest points on the face and on the obstacle. */
  readonly at: Vec3;
  readonly on: Vec3;
}

/** Faces side by side that miss the clearance. Plain JSON. */
export interface Patch {
  /** Numbers of the faces, ascending. */
  readonly faces: readonly number[];
  /** Their whole area: an upper bound of the area that is too near. */
  readonly area_mm2: number;
  /** The greatest shortfall: clearance less distance. */
  readonly depth_mm: number;
  /** Where that is, on the body. */
  readonly at_mm: Vec3;
}

/** Groups misses (ascending by face) by shared corners; the deepest patch first, ties by the first face. */
export function groupPatches(body: Mesh, misses: readonly Miss[], clearance: number): Patch[] {
  const corners = new Uint32Array(misses.length * 3);
  misses.forEach((m, i) => {
    corners.set(body.indices.subarray(3 * m.face, 3 * m.face + 3), 3 * i);
  });
  const { label, first } = islands(body.positions.length / 3, corners);
  const groups: Miss[][] = first.map(() => []);
  misses.forEach((m, i) => {
    groups[label[corners[3 * i]]].push(m);
  });
  const patches = groups.map((g) => {
    const worst = g.reduce((a, b) => (b.distance < a.distance ? b : a));
    return {
      faces: g.map((m) => m.face),
      area_mm2: g.reduce((sum, m) => sum + faceArea(body, m.face), 0),
      depth_mm: clearance - worst.distance,
      at_mm: worst.at,
    };
  });
  return patches.sort((a, b) => b.depth_mm - a.depth_mm || a.faces[0] - b.faces[0]);
}

function faceArea({ positions: p, indices: t }: Mesh, face: number): number {
  const [a, b, c] = [3 * t[3 * face], 3 * t[3 * face + 1], 3 * t[3 * face + 2]];
  const u = [0, 1, 2].map((k) => p[b + k] - p[a + k]);
  const v = [0, 1, 2].map((k) => p[c + k] - p[a + k]);
  return Math.hypot(u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]) / 2;
}

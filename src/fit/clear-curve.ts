import { BufferAttribute, BufferGeometry, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import type { Mesh } from '../core/mesh.ts';
import { add, distance, scale, sub, type Vec3 } from '../core/vec.ts';
import type { Nearest } from './widest.ts';

/** Something that a curve is held against. */
export interface CurveNeighbour {
  readonly name: string;
  readonly mesh: Mesh;
  /** By how much its surface stands out from the mesh, mm: a cloud's points, a doubt. */
  readonly off: number;
}

export interface Closest {
  /** Proven: no point of the curve is nearer, mm. */
  readonly atLeast: number;
  readonly at: Vec3;
  readonly neighbour: string;
}

/** How far the proof may lie under the true least distance, mm. */
const PROOF = 0.05;
/** What is farther off than this, mm, is of no interest. */
const FAR = 500;
/** Ends of the curve are told from the rest to this, mm. */
const EDGE = 0.5;

/** Exact distances of curves to meshes, through a tree for each. */
export class CurveCheck {
  private readonly trees: readonly { name: string; off: number; origin: Vec3; bvh: MeshBVH }[];

  constructor(neighbours: readonly CurveNeighbour[]) {
    this.trees = neighbours
      .filter((n) => n.mesh.indices.length > 0)
      .map(({ name, mesh, off }) => {
        const geometry = new BufferGeometry();
        geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
        // The tree sorts the indices in place.
        geometry.setIndex(new BufferAttribute(mesh.indices.slice(), 1));
        return { name, off, origin: mesh.origin, bvh: new MeshBVH(geometry) };
      });
  }

  /**
   * The least distance of a line of points, leaving out what lies within `ends` mm of its first and last point. A distance changes by at
   * most 1 mm per mm, so over a piece of length h between distances a and b it is at least (a + b - h) / 2; pieces are halved until that
   * is within PROOF of the least distance seen. Ends at once when something nearer than `enough` is seen.
   */
  closest(points: readonly Vec3[], ends: number, enough = -Infinity): Closest {
    const [first, last] = [points[0], points[points.length - 1]];
    const counts = (p: Vec3): boolean => distance(p, first) >= ends && distance(p, last) >= ends;
    let seen: Closest = { atLeast: Infinity, at: first, neighbour: '' };
    let proven = Infinity;
    const look = (p: Vec3, reach: number): number => {
      const found = this.distanceTo(p, reach);
      if (counts(p) && found.distance < seen.atLeast) seen = { atLeast: found.distance, at: p, neighbour: found.neighbour };
      return found.distance;
    };
    const stack: [Vec3, number, Vec3, number][] = [];
    for (let i = 1; i < points.length; i++) {
      const [p, q] = [points[i - 1], points[i]];
      const dp: number = i > 1 ? stack[stack.length - 1][3] : look(p, FAR);
      stack.push([p, dp, q, look(q, FAR)]);
    }
    while (stack.length > 0 && seen.atLeast >= enough) {
      const [p, dp, q, dq] = stack.pop()!;
      const h = distance(p, q);
      const outside = !counts(p) && !counts(q);
      // A piece that reaches into an end's zone is cut up until that can be told.
      if (outside && h < EDGE) continue;
      const bound = (dp + dq - h) / 2;
      // Nothing in this piece can change the answer by more than the slop.
      if (bound >= seen.atLeast - PROOF || h < PROOF) {
        proven = Math.min(proven, bound);
        continue;
      }
      const m = add(p, scale(sub(q, p), 0.5));
      const dm = look(m, Math.min(dp, dq) + h);
      stack.push([p, dp, m, dm], [m, dm, q, dq]);
    }
    return { ...seen, atLeast: Math.min(proven, seen.atLeast) };
  }

  /** The place that is nearest to a point, over all neighbours; undefined when none is within FAR. */
  nearestTo(p: Vec3): Nearest | undefined {
    const { nearest } = this.distanceTo(p, FAR);
    return nearest;
  }

  /** The least distance over all neighbours, as far as `reach` mm is looked. */
  private distanceTo(p: Vec3, reach: number): { distance: number; neighbour: string; nearest?: Nearest } {
    let best: { distance: number; neighbour: string; nearest?: Nearest } = { distance: reach, neighbour: '' };
    for (const { name, origin, bvh, off } of this.trees) {
      const found = bvh.closestPointToPoint(
        new Vector3(p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]),
        undefined,
        0,
        best.distance + off,
      );
      const d = (found?.distance ?? Infinity) - off;
      if (!found || d >= best.distance) continue;
      const { x, y, z } = found.point;
      best = { distance: d, neighbour: name, nearest: { at: add([x, y, z], origin), off } };
    }
    return best;
  }
}

import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { type Grid, gridBox } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { joinMeshes } from '../core/mesh.ts';
import { add, cross, frameOf, growBox, intersectBox, isEmptyBox, normalize, scale } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import type { JobBarrier } from '../job/schema-region.ts';
import type { Scan } from '../scan/scan.ts';
import { closeInsides, type Insides } from './insides.ts';
import { lowerToSweep, moves, reachedBox } from './moving.ts';

/** What a scan takes off the distance to it: clearance, doubt, and the radius of a cloud's points, mm. */
export const standOff = (s: Scan): number => s.settings.clearance + s.settings.doubt + s.radius;

export const isObstacle = (s: Scan): boolean => s.settings.role === 'obstacle' || s.settings.role === 'mates';

/** The obstacles that can matter on `grid`: those that come within their stand-off of its box in some pose. */
export const obstaclesNear = (scans: readonly Scan[], grid: Grid): Scan[] =>
  scans.filter((s) => isObstacle(s) && !isEmptyBox(intersectBox(growBox(reachedBox(s), standOff(s)), gridBox(grid))));

/** Steps below the least cut from which slack no longer matters. */
const OUTSIDE = 4;

/**
 * Lowers `field` (memory of the context's pool) to the slack: the least, over the obstacles, of distance less stand-off, mm. Full
 * accuracy within a cell of each of `cuts`, slacks in mm. Obstacles of equal stand-off go together; cells that an obstacle cannot lower any
 * more cost next to nothing, so the field should come with the region's depth in it. What then looks free but lies inside an obstacle is
 * taken away, down to half the greatest of the cuts; returns what was found of that.
 */
export async function lowerToSlack(field: Field, obstacles: readonly Scan[], cuts: readonly number[], context: Context): Promise<Insides> {
  const groups = new Map<number, Scan[]>();
  const moving = obstacles.filter(moves);
  for (const s of obstacles) if (!moves(s)) groups.set(standOff(s), [...(groups.get(standOff(s)) ?? []), s]);
  // What lies this far outside the room already is of no use to anybody, at twice the step too.
  const floor = Math.min(...cuts) - OUTSIDE * field.grid.step;
  let done = 0;
  const count = groups.size + moving.length;
  for (const [offset, members] of groups) {
    await lowerToDistance(field, joinMeshes(members.map((s) => s.mesh)), { levels: cuts.map((c) => offset + c), offset, floor }, context);
    context.progress('clearances', ++done / count);
  }
  // Last, since they cost most: what the others leave is least to ask about.
  for (const s of moving) {
    const offset = standOff(s);
    await lowerToSweep(field, s, { offset, levels: cuts.map((c) => offset + c) }, context);
    context.progress('clearances', ++done / count);
  }
  return closeInsides(field, obstacles, Math.max(...cuts) / 2, context);
}

/** Lowers `field` to the distance from each barrier, so that no ball passes through the disc; the body may touch it. */
export async function closeBarriers(field: Field, barriers: readonly JobBarrier[], radius: number, context: Context): Promise<void> {
  if (barriers.length > 0) await lowerToDistance(field, joinMeshes(barriers.map(discMesh)), { levels: [0, radius], offset: 0 }, context);
}

const DISC_CORNERS = 48;

/** A fan of triangles over the disc, its rim a polygon whose sides touch the circle from outside. */
function discMesh(b: JobBarrier): Mesh {
  const n = normalize(b.normal);
  const [u] = frameOf(n);
  const v = cross(n, u);
  const rim = b.radius / Math.cos(Math.PI / DISC_CORNERS);
  const positions = new Float32Array((DISC_CORNERS + 1) * 3);
  const indices = new Uint32Array(DISC_CORNERS * 3);
  for (let i = 0; i < DISC_CORNERS; i++) {
    const t = (2 * Math.PI * i) / DISC_CORNERS;
    positions.set(add(scale(u, rim * Math.cos(t)), scale(v, rim * Math.sin(t))), (i + 1) * 3);
    indices.set([0, i + 1, ((i + 1) % DISC_CORNERS) + 1], i * 3);
  }
  return { origin: b.at, positions, indices };
}

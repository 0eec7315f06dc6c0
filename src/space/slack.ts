import { allocateF32, type Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid, gridBox } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { joinMeshes } from '../core/mesh.ts';
import { add, cross, frameOf, growBox, intersectBox, isEmptyBox, normalize, scale } from '../core/vec.ts';
import { distanceToMesh } from '../field/distance.ts';
import type { JobBarrier } from '../job/schema-region.ts';
import type { Scan } from '../scan/scan.ts';

/** What a scan takes off the distance to it: clearance, doubt, and the radius of a cloud's points, mm. */
export const standOff = (s: Scan): number => s.settings.clearance + s.settings.doubt + s.radius;

export const isObstacle = (s: Scan): boolean => s.settings.role === 'obstacle' || s.settings.role === 'mates';

/** The obstacles that can matter on `grid`: those that come within their stand-off of its box. */
export const obstaclesNear = (scans: readonly Scan[], grid: Grid): Scan[] =>
  scans.filter((s) => isObstacle(s) && !isEmptyBox(intersectBox(growBox(s.box, standOff(s)), gridBox(grid))));

/**
 * Slack: the least, over the obstacles, of distance less stand-off, mm. Obstacles of equal stand-off share one distance field. Full
 * accuracy within a cell of 0 and of `radius`. Infinity where there is no obstacle.
 */
export async function slackField(obstacles: readonly Scan[], grid: Grid, radius: number, context: Context): Promise<Field> {
  const slack: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(Number.POSITIVE_INFINITY) };
  const groups = new Map<number, Scan[]>();
  for (const s of obstacles) groups.set(standOff(s), [...(groups.get(standOff(s)) ?? []), s]);
  let done = 0;
  for (const [off, members] of groups) {
    const d = await distanceToMesh(
      joinMeshes(members.map((s) => s.mesh)),
      grid,
      { levels: [off, off + radius], pad: off + grid.step },
      context,
    );
    for (let c = 0; c < d.data.length; c++) {
      const v = d.data[c] - off;
      if (v < slack.data[c]) slack.data[c] = v;
    }
    context.progress('clearances', ++done / groups.size);
  }
  return slack;
}

/** Lowers `field` to the distance from each barrier, so that no ball passes through the disc; the body may touch it. */
export async function closeBarriers(field: Field, barriers: readonly JobBarrier[], radius: number, context: Context): Promise<void> {
  if (barriers.length === 0) return;
  const d = await distanceToMesh(joinMeshes(barriers.map(discMesh)), field.grid, { levels: [0, radius], pad: field.grid.step }, context);
  for (let c = 0; c < d.data.length; c++) if (d.data[c] < field.data[c]) field.data[c] = d.data[c];
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

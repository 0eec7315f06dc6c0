import { allocateF32, type Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, cellCount, type Grid, gridOver } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { boxSize, growBox } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import type { WayResult, WaysSearch } from '../fit/result.ts';
import type { Obstacle } from '../fit/room.ts';
import { waysIn } from '../fit/ways.ts';
import type { JobWays } from '../job/schema-ways.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { isObstacle } from '../space/slack.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** Cells of the grid over all scans, at most, and how much coarser than the fine one it is at least. */
const MOST_CELLS = 1.2e6;
const COARSENING = 2;

export interface WaysMeasured {
  readonly ways: readonly WayResult[];
  readonly search: WaysSearch;
  /** The greatest body of each way, on the envelope's grid. */
  readonly bodies: readonly Field[];
}

/**
 * The ways in. All scans take part, wherever they lie: what the body slides past may be far from the region. Parts with `comes_off`
 * and those put on afterwards are off while it goes in.
 */
export async function findWays(asked: JobWays, space: Space, run: Run): Promise<WaysMeasured> {
  const { context } = run;
  const { obstacles, grid } = await slidingObstacles(asked, space, context);
  const { envelope, free, root, job } = space;
  const input = { obstacles, envelope, start: cellCentre(free.grid, root), leastRadius: job.least_radius };
  const found = await waysIn(input, context, { directions: asked.directions, bodies: asked.bodies });
  run.notes.push(...found.notes);
  const { twoStep: two } = found;
  const ways = found.best.map(
    (w): WayResult => ({
      direction: w.direction,
      volume_l: w.volume / MM3_PER_LITRE,
      kept_percent: w.keptPercent,
      blockers: w.blockers.map((b) => ({
        obstacle: b.obstacle,
        at_mm: b.at,
        after_mm: b.after,
        give_mm: b.give,
        stops_percent: b.stopsPercent,
      })),
      without: w.without.map((x) => ({ obstacle: x.obstacle, kept_percent: x.keptPercent })),
    }),
  );
  const search: WaysSearch = {
    clearance_mm: asked.clearance,
    step_mm: grid.step,
    off: found.leftOut,
    map: found.shares.map((s) => ({ direction: s.direction, kept_percent: s.keptPercent })),
    two_step: two
      ? {
          first_along: two.first,
          length_mm: two.length,
          then_along: two.then,
          volume_l: two.volume / MM3_PER_LITRE,
          kept_percent: two.keptPercent,
        }
      : null,
  };
  return { ways, search, bodies: found.best.map((w) => w.body) };
}

/** What a body slides past: every obstacle with its slack on a grid over all scans. */
export async function slidingObstacles(
  asked: JobWays,
  { scans, step }: Pick<Space, 'scans' | 'step'>,
  context: Context,
): Promise<{ obstacles: Obstacle[]; grid: Grid }> {
  const grid = surroundings(scans, step);
  const present = scans.filter(isObstacle);
  const obstacles: Obstacle[] = [];
  for (const [i, s] of present.entries()) {
    context.progress('ways in', (0.5 * i) / present.length);
    const slack = await slidingSlack(s, grid, asked.clearance, context);
    obstacles.push({ name: s.name, slack, comesOff: s.settings.comes_off, putOnAlong: asked.put_on[s.name] });
  }
  return { obstacles, grid };
}

/** A grid over all scans, so that a ray that leaves it is in the open. */
function surroundings(scans: readonly Scan[], step: number): Grid {
  const box = growBox(boxOfScans(scans), 2 * step);
  const [x, y, z] = boxSize(box);
  return gridOver(box, Math.max(COARSENING * step, Math.cbrt((x * y * z) / MOST_CELLS)));
}

/** Distance to a scan less the sliding clearance, mm; exact near zero, and no greater than what a body can make use of. */
async function slidingSlack(scan: Scan, grid: Grid, clearance: number, context: Context): Promise<Field> {
  const offset = clearance + scan.settings.doubt + scan.radius;
  const field: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(FAR) };
  await lowerToDistance(field, scan.mesh, { levels: [offset], levelsOnly: true, offset }, context);
  return field;
}

/** Slack beyond this is as good as any, mm. */
const FAR = 100;

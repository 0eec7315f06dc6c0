import { type Context, checkCancelled } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, type Grid, gridOver } from '../core/grid.ts';
import { boxSize, growBox } from '../core/vec.ts';
import { slackTask } from '../fit/obstacle.ts';
import type { Litres, WayResult, WaysSearch } from '../fit/result.ts';
import type { Obstacle } from '../fit/room.ts';
import type { SizedBody } from '../fit/way-body.ts';
import { waysIn } from '../fit/ways.ts';
import type { JobWays } from '../job/schema-ways.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { isObstacle } from '../space/slack.ts';
import { boundsFrom } from './bounds.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** Cells of the grid over all scans, at most, and how much coarser than the fine one it is at least. */
const MOST_CELLS = 1.2e6;
const COARSENING = 2;

export interface WaysMeasured {
  readonly ways: readonly WayResult[];
  readonly search: WaysSearch;
  /** What goes in along each of the ways, positive inside, mm, on the envelope's grid. */
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
  // What the surroundings' grid leaves open of the way comes on top of the body's own step and the scans' accuracy.
  const litresOf = ({ volume, rough, area, sway }: SizedBody): Litres =>
    boundsFrom(area, job.accuracy)(volume, volume + Math.abs(volume - rough) + sway);
  const ways = found.best.map(
    (w): WayResult => ({
      direction: w.direction,
      volume_l: litresOf(w),
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
          volume_l: litresOf(two),
          kept_percent: two.keptPercent,
        }
      : null,
  };
  return { ways, search, bodies: found.best.map((w) => w.body) };
}

/** What a body slides past: every obstacle with its slack on a grid over all scans. */
export async function slidingObstacles(
  asked: JobWays,
  { scans, step, job }: Pick<Space, 'scans' | 'step' | 'job'>,
  context: Context,
): Promise<{ obstacles: Obstacle[]; grid: Grid }> {
  const grid = surroundings(scans, step);
  const present = scans.filter(isObstacle);
  const most = Math.max(FAR, 2 * job.least_radius);
  // The largest first: they take the longest.
  const order = [...present].sort((a, b) => b.triangles - a.triangles);
  context.progress('ways in', 0.1);
  const slacks = await context.pool.map(
    slackTask,
    order.map((s) => ({
      mesh: s.mesh,
      box: s.box,
      grid,
      offset: asked.clearance + s.settings.doubt + s.radius,
      most,
      solid: s.points === 0 && s.settings.solid !== 'sheet',
    })),
  );
  checkCancelled(context);
  const obstacles = present.map(
    (s): Obstacle => ({
      name: s.name,
      slack: slacks[order.indexOf(s)],
      comesOff: s.settings.comes_off,
      putOnAlong: asked.put_on[s.name],
    }),
  );
  return { obstacles, grid };
}

/** A grid over all scans, so that a ray that leaves it is in the open. */
function surroundings(scans: readonly Scan[], step: number): Grid {
  const box = growBox(boxOfScans(scans), 2 * step);
  const [x, y, z] = boxSize(box);
  return gridOver(box, Math.max(COARSENING * step, Math.cbrt((x * y * z) / MOST_CELLS)));
}

/**
 * Slack is worked out up to this, mm, or twice the least radius where that is more: of the body only its border and the ball's radius inside it
 * are read, so more would change nothing, and cells farther off cost no distance.
 */
const FAR = 100;

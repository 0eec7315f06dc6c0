import { type Context, checkCancelled } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, type Grid, gridBox, gridOver } from '../core/grid.ts';
import { type Box3, boxSize, growBox, unionBox, type Vec3 } from '../core/vec.ts';
import { slackTask } from '../fit/obstacle.ts';
import type { Litres, WayResult, WaysSearch } from '../fit/result.ts';
import type { Obstacle } from '../fit/room.ts';
import type { SizedBody } from '../fit/way-body.ts';
import { greatestBody, type WaysInput, waysIn } from '../fit/ways.ts';
import type { JobWays } from '../job/schema-ways.ts';
import { boxOfScans } from '../scan/scan.ts';
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
  /** The way that the job names, else the best one; null when nothing slides out. */
  readonly chosen: ChosenWay | null;
}

/** One way, for what comes after. */
export interface ChosenWay {
  /** Unit vector along which a body slides out. */
  readonly direction: Vec3;
  /** Least slack on the way out, mm, on cells of the grid over all scans. */
  readonly least: Field;
  readonly keptPercent: number;
}

/**
 * The ways in. All scans take part, wherever they lie: what the body slides past may be far from the region. Parts with `comes_off`
 * and those put on afterwards are off while it goes in.
 */
export async function findWays(asked: JobWays, space: Space, run: Run): Promise<WaysMeasured> {
  const { context } = run;
  const { obstacles, grid } = await slidingObstacles(asked, { ...space, also: gridBox(space.grid) }, context);
  const input = inputOf(space, obstacles, space.envelope);
  const direction = asked.use && asked.use !== 'best' ? asked.use : undefined;
  const found = await waysIn(input, context, { directions: asked.directions, bodies: asked.bodies, asked: direction });
  const chosen = found.asked ?? found.best[0] ?? null;
  run.notes.push(...found.notes);
  const { twoStep: two } = found;
  // What the surroundings' grid leaves open of the way comes on top of the body's own step and the scans' accuracy.
  const litresOf = ({ volume, rough, area, sway }: SizedBody): Litres =>
    boundsFrom(area, space.accuracy.mm)(volume, volume + Math.abs(volume - rough) + sway);
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
    ...(asked.use && chosen ? { used: { direction: chosen.direction, volume_l: litresOf(chosen), kept_percent: chosen.keptPercent } } : {}),
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
  return { ways, search, chosen };
}

const inputOf = ({ free, root, job }: Space, obstacles: readonly Obstacle[], envelope: Field): WaysInput => ({
  obstacles,
  envelope,
  start: cellCentre(free.grid, root),
  leastRadius: job.least_radius,
});

/** What of the envelope slides out a way, positive inside, mm, on the envelope's own grid. */
export const bodyOfWay = (space: Space, { least }: ChosenWay, context: Context, envelope: Field = space.envelope): Promise<Field> =>
  greatestBody(inputOf(space, [], envelope), least, context);

/**
 * The space whose envelope is only what slides out the chosen way, where the job asks for that; else the space itself. Throws a Fault when
 * nothing of the envelope does.
 */
export async function spaceOfWay(space: Space, { chosen }: Pick<WaysMeasured, 'chosen'>, { context, notes }: Run): Promise<Space> {
  const { ways_in } = space.job;
  const use = ways_in ? ways_in.use : null;
  if (!use) return space;
  if (!chosen || !(chosen.keptPercent > 0))
    throw new Fault({
      code: 'way-keeps-nothing',
      what: 'Nothing of the envelope slides out the way that the body is to go.',
      got: use === 'best' ? 'the best way' : `the direction [${use.map((v) => v.toFixed(3)).join(', ')}]`,
      hint: 'another direction, more parts with comes_off, or leave ways_in: use out',
      exit: 3,
    });
  const [envelope, rough] = await Promise.all([
    bodyOfWay(space, chosen, context),
    bodyOfWay(space, chosen, context, space.double.envelope),
  ]);
  notes.push({
    code: 'body-of-way',
    text: `The body is what slides out along [${chosen.direction.map((v) => v.toFixed(2)).join(', ')}]: ${chosen.keptPercent.toFixed(0)} % of the envelope. The tank is made of that.`,
  });
  return { ...space, envelope, double: { ...space.double, envelope: rough } };
}

/** What a body slides past: every obstacle with its slack on a grid over all scans, and over `also`. */
export async function slidingObstacles(
  asked: JobWays,
  { scans, step, job, also }: Pick<Space, 'scans' | 'step' | 'job'> & { readonly also?: Box3 },
  context: Context,
): Promise<{ obstacles: Obstacle[]; grid: Grid }> {
  const grid = surroundings(also ? unionBox(boxOfScans(scans), also) : boxOfScans(scans), step);
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

/** A grid over all scans, and over the region where that reaches farther, so that a ray that leaves it is in the open. */
function surroundings(all: Box3, step: number): Grid {
  const box = growBox(all, 2 * step);
  const [x, y, z] = boxSize(box);
  return gridOver(box, Math.max(COARSENING * step, Math.cbrt((x * y * z) / MOST_CELLS)));
}

/**
 * Slack is worked out up to this, mm, or twice the least radius where that is more: of the body only its border and the ball's radius inside it
 * are read, so more would change nothing, and cells farther off cost no distance.
 */
const FAR = 100;

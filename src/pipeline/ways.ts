import { allocateF32, type Context } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, cellCount, type Grid, gridBox, gridOver } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { type Box3, boxSize, growBox, unionBox, type Vec3 } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { insideOf } from '../field/inside.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import type { WayResult, WaysSearch } from '../fit/result.ts';
import type { Obstacle } from '../fit/room.ts';
import { thinnedMesh } from '../fit/thin.ts';
import { greatestBody, type WaysInput, waysIn } from '../fit/ways.ts';
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
  /** The way that the job names, else the best one; null when nothing slides out. */
  readonly chosen: ChosenWay | null;
  /** Least slack of what stays on while the body goes in, mm, on the grid over all scans. */
  readonly slack: Field;
}

/** One way, for what comes after. */
export interface ChosenWay {
  /** Unit vector along which a body slides out. */
  readonly direction: Vec3;
  readonly body: Field;
  /** Least slack on the way out, mm, on the grid over all scans. */
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
    ...(asked.use && chosen
      ? { used: { direction: chosen.direction, volume_l: chosen.volume / MM3_PER_LITRE, kept_percent: chosen.keptPercent } }
      : {}),
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
  return { ways, search, bodies: found.best.map((w) => w.body), chosen, slack: found.slack };
}

const inputOf = ({ free, root, job }: Space, obstacles: readonly Obstacle[], envelope: Field): WaysInput => ({
  obstacles,
  envelope,
  start: cellCentre(free.grid, root),
  leastRadius: job.least_radius,
});

/**
 * The space whose envelope is only what slides out the chosen way, where the job asks for that; else the space itself. Throws a Fault when
 * nothing of the envelope does.
 */
export async function spaceOfWay(space: Space, { chosen }: Pick<WaysMeasured, 'chosen'>, { context, notes }: Run): Promise<Space> {
  const asked = space.job.ways_in;
  if (!asked || asked.use === null) return space;
  if (!chosen || !(chosen.keptPercent > 0))
    throw new Fault({
      code: 'way-keeps-nothing',
      what: 'Nothing of the envelope slides out the way that the body is to go.',
      got: asked.use === 'best' ? 'the best way' : `the direction [${asked.use.map((v) => v.toFixed(3)).join(', ')}]`,
      hint: 'another direction, more parts with comes_off, or leave ways_in: use out',
      exit: 3,
    });
  const rough = await greatestBody(inputOf(space, [], space.double.envelope), chosen.least, context);
  notes.push({
    code: 'body-of-way',
    text: `The body is what slides out along [${chosen.direction.map((v) => v.toFixed(2)).join(', ')}]: ${chosen.keptPercent.toFixed(0)} % of the envelope. The tank is made of that.`,
  });
  return { ...space, envelope: chosen.body, double: { ...space.double, envelope: rough } };
}

/** What a body slides past: every obstacle with its slack on a grid over all scans, and over `also`. */
export async function slidingObstacles(
  asked: JobWays,
  { scans, step, job, also }: Pick<Space, 'scans' | 'step' | 'job'> & { readonly also?: Box3 },
  context: Context,
): Promise<{ obstacles: Obstacle[]; grid: Grid }> {
  const grid = surroundings(also ? unionBox(boxOfScans(scans), also) : boxOfScans(scans), step);
  const present = scans.filter(isObstacle);
  const obstacles: Obstacle[] = [];
  for (const [i, s] of present.entries()) {
    context.progress('ways in', (0.5 * i) / present.length);
    const slack = await slidingSlack(s, grid, { clearance: asked.clearance, most: Math.max(FAR, 2 * job.least_radius) }, context);
    obstacles.push({ name: s.name, slack, comesOff: s.settings.comes_off, putOnAlong: asked.put_on[s.name] });
  }
  return { obstacles, grid };
}

/** A grid over all scans, and over the region where that reaches farther, so that a ray that leaves it is in the open. */
function surroundings(all: Box3, step: number): Grid {
  const box = growBox(all, 2 * step);
  const [x, y, z] = boxSize(box);
  return gridOver(box, Math.max(COARSENING * step, Math.cbrt((x * y * z) / MOST_CELLS)));
}

/**
 * Distance to a scan less the sliding clearance, mm; exact near zero, and no greater than what a body can make use of. Negative all through
 * what the scan encloses: on a grid this coarse a tube's wall alone would be too thin to stop anything.
 */
async function slidingSlack(
  scan: Scan,
  grid: Grid,
  { clearance, most }: { clearance: number; most: number },
  context: Context,
): Promise<Field> {
  const offset = clearance + scan.settings.doubt + scan.radius;
  const field: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(most + offset) };
  const { data } = field;
  await lowerToDistance(field, scan.mesh, { levels: [0], offset: 0 }, context);
  if (scan.points === 0 && scan.settings.solid !== 'sheet') await turnInside(field, scan, context);
  for (let c = 0; c < data.length; c++) data[c] -= offset;
  return field;
}

/** Makes the distance negative where the scan encloses the cell: only cells in its box can be, and it is seen from at least a cell away. */
async function turnInside({ grid, data }: Field, scan: Scan, context: Context): Promise<void> {
  const size = [grid.nx, grid.ny, grid.nz];
  const at = (v: number, a: number): number => (v - grid.origin[a]) / grid.step;
  const first = size.map((n, a) => Math.min(Math.max(Math.floor(at(scan.box.min[a], a)), 0), n - 1));
  const [nx, ny, nz] = size.map((n, a) => Math.min(Math.max(Math.ceil(at(scan.box.max[a], a)), 0), n - 1) - first[a] + 1);
  const origin = cellCentre(grid, first[0] + grid.nx * (first[1] + grid.ny * first[2]));
  const part: Field = { grid: { origin, step: grid.step, nx, ny, nz }, data: allocateF32(context.pool, nx * ny * nz) };
  const row = (j: number, k: number): number => first[0] + grid.nx * (first[1] + j + grid.ny * (first[2] + k));
  for (let k = 0; k < nz; k++) for (let j = 0; j < ny; j++) part.data.set(data.subarray(row(j, k), row(j, k) + nx), nx * (j + ny * k));
  const tree = buildWinding(thinnedMesh(scan.mesh, grid.step / THINNED));
  const inside = await insideOf(tree, part, context);
  for (let c = 0; c < inside.data.length; c++) {
    // Faces seen from behind enclose nothing: only what they face away from is solid.
    if (!inside.data[c] || windingNumber(tree, cellCentre(part.grid, c)) <= 0.5) continue;
    const cell = row(Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))) + (c % nx);
    data[cell] = -data[cell];
  }
}

/** Corners of a scan this share of a cell apart do for what it encloses. */
const THINNED = 2;

/**
 * Slack is worked out up to this, mm, or twice the least radius where that is more: of the body only its border and the ball's radius inside it
 * are read, so more would change nothing, and cells farther off cost no distance.
 */
const FAR = 100;

import { allocateF32, type Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, cellCount, type Grid, gridOver } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { boxSize, growBox } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { insideOf } from '../field/inside.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import type { WayResult, WaysSearch } from '../fit/result.ts';
import type { Obstacle } from '../fit/room.ts';
import { thinnedMesh } from '../fit/thin.ts';
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
  { scans, step, job }: Pick<Space, 'scans' | 'step' | 'job'>,
  context: Context,
): Promise<{ obstacles: Obstacle[]; grid: Grid }> {
  const grid = surroundings(scans, step);
  const present = scans.filter(isObstacle);
  const obstacles: Obstacle[] = [];
  for (const [i, s] of present.entries()) {
    context.progress('ways in', (0.5 * i) / present.length);
    const slack = await slidingSlack(s, grid, { clearance: asked.clearance, most: Math.max(FAR, 2 * job.least_radius) }, context);
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

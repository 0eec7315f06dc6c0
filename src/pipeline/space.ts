import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellAt, cellCentre, type Grid } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Job } from '../job/job.ts';
import type { InputResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { checkMemory, checkObstacles, checkRegionBox } from '../space/checks.ts';
import { chooseStart, everySecond, highest, largestBall, type Start } from '../space/envelope.ts';
import { regionBox, regionField, regionGrid } from '../space/region.ts';
import { rollBall } from '../space/roll.ts';
import { closeBarriers, lowerToSlack } from '../space/slack.ts';
import { type Accuracy, surfaceAccuracy } from './accuracy.ts';
import { type Before, freeBefore, loadBefore } from './before.ts';
import { loadScans } from './load.ts';
import { noEnvelope } from './no-envelope.ts';
import type { Files, Run } from './run.ts';

export interface SpaceOptions {
  /** Fine cell instead of the job's, mm. */
  readonly step?: number;
  /** Twice the step, for a first look. */
  readonly quick?: boolean;
  /** Told the scans as soon as they are read and in place. */
  readonly placed?: (scans: readonly Scan[]) => void;
}

/** The room that a job describes: what every question starts from. Fields are in mm on `grid`, in memory of the run's pool. */
export interface Space {
  readonly job: Job;
  readonly step: number;
  /** All scans but those to be ignored, placed, in the job's order. */
  readonly scans: readonly Scan[];
  readonly inputs: readonly InputResult[];
  /** Those that come near the region. */
  readonly obstacles: readonly Scan[];
  readonly grid: Grid;
  /** Estimated need, bytes. */
  readonly memory: number;
  /** Step of the coarse grid on which the skin was rolled, mm; 0 without a skin. */
  readonly skinStep: number;
  /** Slack inside the region. */
  readonly free: Field;
  /** Depth in the region, barriers closed, at twice the step. */
  readonly coarseRegion: Field;
  /** Signed distance to the removed parts; null without. */
  readonly removed: Field | null;
  /** The vehicle before the work, and what was free both then and now; null without a job of it. */
  readonly before: { readonly state: Before; readonly free: Field } | null;
  readonly start: Start;
  /** How far the envelope's surface may be off. */
  readonly accuracy: Accuracy;
  readonly envelope: Field;
  /** Cell of the largest ball that the start reaches. */
  readonly root: number;
  /** The same at twice the step. */
  readonly double: { readonly free: Field; readonly envelope: Field; readonly root: number };
}

/** From scan files to the free envelope. Throws a Fault with exit 2 for bad input and with exit 3 when there is no envelope. */
export async function findSpace(job: Job, files: Files, run: Run, options: SpaceOptions = {}): Promise<Space> {
  const { context } = run;
  const step = (options.step ?? job.step) * (options.quick ? 2 : 1);
  const { scans, inputs } = await loadScans(job, files, run);
  options.placed?.(scans);
  const state = await loadBefore(job, scans, files, run);
  const box = regionBox(job.region, scans);
  checkRegionBox(box);
  const grid = regionGrid(box, step);
  const memory = checkMemory(grid, scans, job.memory);
  const obstacles = checkObstacles(scans, grid);
  const radius = job.least_radius;

  const region = await regionField(job.region, scans, { grid, cuts: [0, radius] }, context);
  run.done('region');
  // The region's depth becomes the free field: what the obstacles leave of it.
  const free = region.field;
  const coarseRegion = everySecond(free, context.pool);
  const startInRegion = job.start !== null && (free.data[cellAt(grid, job.start)] ?? -1) > 0;
  const { undecided } = await lowerToSlack(free, obstacles, [0, radius], context);
  run.notes.push(...undecidedNotes(undecided, step));
  await closeBarriers(free, job.barriers, radius, context);
  await closeBarriers(coarseRegion, job.barriers, radius, context);
  const both = await freeBefore(state, free, radius, context);
  run.done('clearances');
  const start = chooseStart(free, radius, job.start, both ?? region.removed);
  if (start.cell < 0 || free.data[start.cell] < radius) throw noEnvelope(job, free, obstacles, { start: start.cell, startInRegion });
  const envelope = await rollBall(free, radius, [start.cell], context);
  const root = largestBall(free, radius, start.cell);
  run.done('envelope');
  const double = await atDoubleStep(free, radius, { start: start.cell, root }, run);
  const accuracy = await surfaceAccuracy(job.accuracy, double, obstacles, run);
  run.done('at twice the step');
  return {
    job,
    step,
    scans,
    inputs,
    obstacles,
    grid,
    memory,
    skinStep: region.skinStep,
    free,
    coarseRegion,
    removed: region.removed,
    before: state && both && { state, free: both },
    start,
    accuracy,
    envelope,
    root,
    double,
  };
}

/** Room of which it cannot be told whether it lies in an open scan is not worth a word below this, mm3. */
const WORTH = 0.02 * MM3_PER_LITRE;

function undecidedNotes(undecided: ReadonlyMap<string, number>, step: number): Note[] {
  return [...undecided]
    .map(([name, cells]) => ({ name, mm3: cells * step ** 3 }))
    .filter(({ mm3 }) => mm3 >= WORTH)
    .map(({ name, mm3 }) => ({
      code: 'inside-undecided',
      text: `Of ${(mm3 / MM3_PER_LITRE).toFixed(2)} l round the openings of "${name}" it cannot be told for sure whether they lie inside it.`,
      where: name,
    }));
}

/** The same envelope at twice the step, for the part of the bounds that the grid makes. */
async function atDoubleStep(
  fine: Field,
  radius: number,
  cells: { readonly start: number; readonly root: number },
  { context }: Run,
): Promise<Space['double']> {
  const free = everySecond(fine);
  // The nearest cell of the coarse grid may be lower; take the highest one round it.
  const near = (cell: number): number => {
    const at = cellCentre(fine.grid, cell);
    const r = 2 * free.grid.step;
    return highest(free, (c) => cellCentre(free.grid, c).every((v, a) => Math.abs(v - at[a]) < r));
  };
  return { free, envelope: await rollBall(free, radius, [near(cells.start)], context), root: near(cells.root) };
}

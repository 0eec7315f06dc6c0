import { allocateF32, type Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCount } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { type StudyRow, studyTask } from '../fill/study.ts';
import type { Job } from '../job/job.ts';
import { CAUTIONS } from '../report/result.ts';
import { checkMemory, checkObstacles, checkRegionBox } from '../space/checks.ts';
import { chooseStart } from '../space/envelope.ts';
import { regionBox, regionField, regionGrid } from '../space/region.ts';
import { closeBarriers, lowerToSlack } from '../space/slack.ts';
import { worstAccuracy } from './accuracy.ts';
import { loadScans } from './load.ts';
import { type Files, Run } from './run.ts';
import type { SpaceOptions } from './space.ts';
import { tankOptions } from './tank.ts';

/** What is varied; each list has at least one value, mm. */
export interface StudyLists {
  /** Added to the clearance of every obstacle. */
  readonly more: readonly number[];
  readonly radii: readonly number[];
  readonly walls: readonly number[];
}

export interface Study {
  readonly rows: readonly StudyRow[];
  readonly notes: readonly Note[];
  readonly cautions: readonly string[];
  readonly step_mm: number;
}

/**
 * Litres for every combination of the lists. Scans, region and distances are worked out once; each combination of clearance and radius
 * is a roll, each wall a cavity in it, spread over the workers. Starts from where the job starts at the least clearance.
 */
export async function study(job: Job, lists: StudyLists, files: Files, at: { context: Context } & SpaceOptions): Promise<Study> {
  const { context } = at;
  const run = new Run(context);
  const step = (at.step ?? job.step) * (at.quick ? 2 : 1);
  const { scans } = await loadScans(job, files, run);
  const box = regionBox(job.region, scans);
  checkRegionBox(box);
  const grid = regionGrid(box, step);
  checkMemory(grid, scans, job.memory);
  const obstacles = checkObstacles(scans, grid);
  const parts = await regionField(job.region, scans, { grid, cuts: [0, ...lists.radii] }, context);
  const region = parts.field;
  run.done('region');
  const [least, most] = [Math.min(...lists.more), Math.max(...lists.more)];
  const slack: Field = { grid, data: allocateF32(context.pool, cellCount(grid)) };
  // Room for the greatest clearance: what is above that is cut by the region at every one.
  for (let c = 0; c < slack.data.length; c++) slack.data[c] = region.data[c] + Math.max(most, 0);
  const cuts = lists.more.flatMap((m) => [m, ...lists.radii.map((r) => m + r)]);
  await lowerToSlack(slack, obstacles, [...new Set(cuts)], context);
  await closeBarriers(region, job.barriers, Math.max(...lists.radii), context);
  run.done('clearances');
  const start = startCells(job, { region, slack, removed: parts.removed }, Math.min(...lists.radii), least);
  const accuracy = worstAccuracy(job.accuracy, obstacles, run);
  const tank = job.tank ? tankOptions(job.tank, accuracy) : null;
  const trials = lists.more.flatMap((more) =>
    lists.radii.map((radius) => ({
      region,
      slack,
      more,
      radius,
      start,
      walls: lists.walls,
      tank: tank?.options ?? null,
      stand: { ...tank?.stand, advise: false },
      accuracy,
    })),
  );
  // One at a time for each worker, so that progress can be told.
  let done = 0;
  const rows = await Promise.all(
    trials.map(async (trial) => {
      const [found] = await context.pool.map(studyTask, [trial]);
      context.progress('combinations', ++done / trials.length);
      return found;
    }),
  );
  run.done('combinations');
  const mating = Object.entries(job.scans).flatMap(([name, s]) => (s.role === 'mates' ? [name] : []));
  if (mating.length > 0 && (least !== 0 || most !== 0))
    run.notes.push({
      code: 'study-mates',
      text: `What is touched (${mating.join(', ')}) is kept off too where clearances are varied: those rows are on the safe side.`,
      where: mating[0],
    });
  if (job.ways_in && job.ways_in.use !== null)
    run.notes.push({
      code: 'study-whole',
      text: 'The rows are for the whole envelope: what a way in takes from it is worked out by measure alone.',
    });
  return { rows: rows.flat(), notes: run.notes, cautions: CAUTIONS, step_mm: step };
}

interface Fields {
  readonly region: Field;
  readonly slack: Field;
  readonly removed: Field | null;
}

/** Cells round the job's start, so that a start that a greater clearance takes gives way to one beside it. */
function startCells(job: Job, { region, slack, removed }: Fields, radius: number, more: number): number[] {
  const { grid } = region;
  const free: Field = { grid, data: region.data.map((v, c) => Math.min(v, slack.data[c] - more)) };
  const { cell } = chooseStart(free, radius, job.start, removed);
  if (cell < 0 || free.data[cell] < radius)
    throw new Fault({
      code: 'no-envelope',
      what: `Nothing is free at the start for a ball of radius ${radius} mm at the least of the clearances.`,
      hint: 'voidgauge measure says what would give an envelope',
      exit: 3,
    });
  const out: number[] = [];
  const { nx, ny, nz } = grid;
  const [i, j, k] = [cell % nx, Math.floor(cell / nx) % ny, Math.floor(cell / (nx * ny))];
  const reach = Math.max(1, Math.round(radius / grid.step));
  for (let z = -reach; z <= reach; z++)
    for (let y = -reach; y <= reach; y++)
      for (let x = -reach; x <= reach; x++) {
        const at: Vec3 = [i + x, j + y, k + z];
        if (at[0] >= 0 && at[1] >= 0 && at[2] >= 0 && at[0] < nx && at[1] < ny && at[2] < nz) out.push(at[0] + nx * (at[1] + ny * at[2]));
      }
  return out;
}

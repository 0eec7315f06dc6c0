import { allocateF32, type Context, checkCancelled } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellAt, cellCentre, cellCount, type Grid } from '../core/grid.ts';
import { type Mesh, meshBox } from '../core/mesh.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from '../core/units.ts';
import { type Box3, intersectBox, isEmptyBox, unionBox, type Vec3 } from '../core/vec.ts';
import { euler, moments, volume } from '../field/integrate.ts';
import { surface } from '../field/surface.ts';
import type { Bounded } from '../fill/bounded.ts';
import type { Job } from '../job/job.ts';
import type { InputResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { checkMemory, checkRegionBox } from '../space/checks.ts';
import { chooseStart, everySecond, highest, largestBall } from '../space/envelope.ts';
import { regionBox, regionField, regionGrid } from '../space/region.ts';
import { rollBall } from '../space/roll.ts';
import { closeBarriers, isObstacle, lowerToSlack, obstaclesNear } from '../space/slack.ts';
import { worstAccuracy } from './accuracy.ts';
import { boundsFrom } from './bounds.ts';
import { loadScans } from './load.ts';
import { type Files, Run } from './run.ts';

/** One vehicle: its job, and where its scans are. */
export interface Vehicle {
  readonly job: Job;
  readonly files: Files;
}

/** The room that several vehicles share. Plain JSON values. */
export interface CommonResult {
  readonly step_mm: number;
  readonly dims: readonly [number, number, number];
  /** The greatest of the jobs' least radii. */
  readonly least_radius_mm: number;
  readonly common: {
    readonly volume_l: Bounded;
    readonly area_dm2: number;
    readonly box_mm: Box3;
    readonly centre_mm: Vec3;
    readonly through_holes: number;
    readonly largest_ball: { readonly radius_mm: number; readonly centre_mm: Vec3 };
    readonly start_mm: Vec3;
    readonly start_from: string;
  };
  readonly vehicles: readonly VehicleShare[];
  readonly notes: readonly Note[];
}

export interface VehicleShare {
  readonly job: string;
  readonly inputs: readonly InputResult[];
  /** Its own envelope, from the same start. */
  readonly own_l: number;
  /** What the others share without it. */
  readonly without_l: number;
  /** What it costs: that less the common envelope. */
  readonly costs_l: number;
}

export interface CommonFound {
  readonly result: CommonResult;
  readonly envelope: Mesh;
}

/**
 * The envelope that is free in all of several vehicles, which stand in one and the same frame of reference: at each point the least of their
 * free fields, rolled once. Throws the Faults of every job, and with exit 3 `common-none` when they share no room.
 */
export async function commonRoom(
  vehicles: readonly Vehicle[],
  context: Context,
  options: { readonly step?: number } = {},
): Promise<CommonFound> {
  const run = new Run(context);
  const jobs = vehicles.map((v) => v.job);
  const step = options.step ?? Math.max(...jobs.map((j) => j.step));
  const radius = Math.max(...jobs.map((j) => j.least_radius));
  const loaded: { scans: Scan[]; inputs: InputResult[] }[] = [];
  for (const v of vehicles) loaded.push(await loadScans(v.job, v.files, run));
  const grid = commonGrid(jobs, loaded, step);
  const frees: Field[] = [];
  let removed: Field | null = null;
  for (const [i, job] of jobs.entries()) {
    const one = await freeOf(job, loaded[i].scans, { grid, radius }, context);
    frees.push(one.free);
    removed ??= one.removed;
    run.done('clearances');
  }
  const all = leastOf(frees, context);
  const start = chooseStart(all, radius, jobs[0].start, removed);
  if (start.cell < 0 || all.data[start.cell] < radius) throw noCommon(all, radius, jobs);
  const envelope = await rollBall(all, radius, [start.cell], context);
  const rough = everySecond(all);
  const roughEnvelope = await rollBall(rough, radius, [cellNear(rough, cellCentre(grid, start.cell))], context);
  run.done('envelope');
  const whole = moments(envelope);
  const shares: VehicleShare[] = [];
  for (const [i, job] of jobs.entries()) {
    checkCancelled(context);
    context.progress('sharing out', i / jobs.length);
    const rolled = async (f: Field): Promise<number> => volume(await rollBall(f, radius, [start.cell], context)) / MM3_PER_LITRE;
    const own = await rolled(frees[i]);
    const others = frees.filter((_, o) => o !== i);
    const without = others.length === 1 ? await rolled(others[0]) : await rolled(leastOf(others, context));
    shares.push({
      job: job.name,
      inputs: loaded[i].inputs,
      own_l: own,
      without_l: without,
      costs_l: Math.max(0, without - whole.volume / MM3_PER_LITRE),
    });
  }
  run.done('sharing out');
  const mesh = surface(envelope, 0);
  const root = largestBall(all, radius, start.cell);
  const accuracy = Math.max(...jobs.map((j, i) => worstAccuracy(j.accuracy, loaded[i].scans.filter(isObstacle), run)));
  const result: CommonResult = {
    step_mm: step,
    dims: [grid.nx, grid.ny, grid.nz],
    least_radius_mm: radius,
    common: {
      volume_l: boundsFrom(whole.area, accuracy)(whole.volume, volume(roughEnvelope)),
      area_dm2: whole.area / MM2_PER_DM2,
      box_mm: meshBox(mesh),
      centre_mm: whole.centroid,
      through_holes: euler(envelope).holes,
      largest_ball: { radius_mm: all.data[root], centre_mm: cellCentre(grid, root) },
      start_mm: cellCentre(grid, start.cell),
      start_from: start.how,
    },
    vehicles: shares,
    notes: run.notes,
  };
  return { result, envelope: mesh };
}

/** Over all regions, so that what the others share without one of them is seen too; they must have some room in common. */
function commonGrid(jobs: readonly Job[], loaded: readonly { readonly scans: readonly Scan[] }[], step: number): Grid {
  const boxes = jobs.map((j, i) => regionBox(j.region, loaded[i].scans));
  boxes.forEach(checkRegionBox);
  if (isEmptyBox(boxes.reduce(intersectBox)))
    throw new Fault({
      code: 'common-apart',
      what: 'The regions of the vehicles have no room in common.',
      got: boxes.map((b, i) => `${jobs[i].name}: ${boxText(b)}`).join('; '),
      expected: 'scans of all vehicles in one frame of reference',
      hint: 'give every job a datum with its origin at a point that all vehicles share, or place the scans (place:) so that what the body is bolted to lies at the same coordinates',
    });
  const grid = regionGrid(boxes.reduce(unionBox), step);
  // One field for each vehicle, and those of the roll.
  const scans = loaded.flatMap((l) => l.scans);
  checkMemory({ ...grid, nz: grid.nz * Math.max(1, Math.ceil(jobs.length / 4)) }, scans, Math.min(...jobs.map((j) => j.memory)));
  return grid;
}

const boxText = (b: Box3): string => `[${b.min.map(Math.round).join(', ')}] to [${b.max.map(Math.round).join(', ')}]`;

async function freeOf(
  job: Job,
  scans: readonly Scan[],
  { grid, radius }: { grid: Grid; radius: number },
  context: Context,
): Promise<{ free: Field; removed: Field | null }> {
  const { field, removed } = await regionField(job.region, scans, { grid, cuts: [0, radius] }, context);
  await lowerToSlack(field, obstaclesNear(scans, grid), [0, radius], context);
  await closeBarriers(field, job.barriers, radius, context);
  return { free: field, removed };
}

function leastOf(fields: readonly Field[], { pool }: Context): Field {
  const { grid } = fields[0];
  const data = allocateF32(pool, cellCount(grid));
  data.set(fields[0].data);
  for (const { data: d } of fields.slice(1)) for (let c = 0; c < d.length; c++) if (d[c] < data[c]) data[c] = d[c];
  return { grid, data };
}

/** The highest cell within two steps of a place. */
function cellNear(f: Field, at: Vec3): number {
  const reach = 2 * f.grid.step;
  const found = highest(f, (c) => cellCentre(f.grid, c).every((v, a) => Math.abs(v - at[a]) < reach));
  return found >= 0 ? found : cellAt(f.grid, at);
}

function noCommon(all: Field, radius: number, jobs: readonly Job[]): Fault {
  const top = highest(all);
  const most = top >= 0 ? all.data[top] : -Infinity;
  const at = top >= 0 ? cellCentre(all.grid, top).map(Math.round).join(', ') : '';
  return new Fault({
    code: 'common-none',
    what: `No room for a ball of radius ${radius} mm is free in all of: ${jobs.map((j) => j.name).join(', ')}.`,
    got: most > 0 ? `at most a ball of radius ${most.toFixed(1)} mm, at [${at}]` : 'no point that is free in all of them',
    hint:
      most > 0
        ? `set least_radius to at most ${most.toFixed(1)} in every job, or move the start of the first there`
        : 'leave the tightest vehicle out, or ask for smaller clearances',
    exit: 3,
  });
}

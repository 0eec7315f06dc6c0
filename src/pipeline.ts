import { type Context, checkCancelled } from './core/context.ts';
import { Fault, type Note } from './core/fault.ts';
import type { Field } from './core/field.ts';
import { cellAt, cellCentre, cellCount } from './core/grid.ts';
import { type Mesh, meshBox } from './core/mesh.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from './core/units.ts';
import type { Vec3 } from './core/vec.ts';
import { area, euler, moments, volume } from './field/integrate.ts';
import { surface } from './field/surface.ts';
import { fluidOf } from './fill/fluids.ts';
import { UPRIGHT } from './fill/level.ts';
import { roughTank, type TankOptions, type TankRun, tankOf } from './fill/tank.ts';
import { type UllageRule, ullageOf } from './fill/ullage.ts';
import { readScan } from './io/read.ts';
import type { ByteSource } from './io/source.ts';
import { FLUIDS } from './job/defaults.ts';
import type { Job } from './job/job.ts';
import type { JobTank } from './job/schema-tank.ts';
import type { CoarseInput } from './report/coarse.ts';
import { type Bounded, CAUTIONS, type EnvelopeResult, type InputResult, RESULT_VERSION, type Result } from './report/result.ts';
import { makeScan, type Scan } from './scan/scan.ts';
import { type Specks, speckNote } from './scan/specks.ts';
import { checkMemory, checkObstacles, checkOrientation, checkRegionBox, checkUnits, nearestObstacles, startFault } from './space/checks.ts';
import {
  chooseStart,
  everySecond,
  highest,
  largestBall,
  type NeckFound,
  necksFrom,
  reclaimedVolume,
  volumesByRadius,
} from './space/envelope.ts';
import { regionBox, regionField, regionGrid } from './space/region.ts';
import { rollBall } from './space/roll.ts';
import { closeBarriers, lowerToSlack } from './space/slack.ts';

/** A scan file as the pipeline takes it: its bytes, and their SHA-256 (hex) once they have been read. */
export interface JobFile extends ByteSource {
  digest(): Promise<string>;
}

export interface Files {
  /** Opens a file by the name that the job gives it. */
  open(name: string): Promise<JobFile>;
}

export interface MeasureOptions {
  /** Fine cell instead of the job's, mm. */
  readonly step?: number;
  /** Twice the step, for a first look. */
  readonly quick?: boolean;
  readonly version?: string;
}

/** The result, and beside it what is written or drawn. */
export interface Measured {
  readonly result: Result;
  readonly scans: readonly Scan[];
  readonly envelope: Mesh;
  readonly cavity: Mesh | null;
  readonly fields: { readonly free: Field; readonly envelope: Field; readonly cavity: Field | null };
  /** What the page's dials work from, see coarseFields. */
  readonly coarse: CoarseInput;
}

/** Clock and notes of one run. */
class Run {
  readonly timings: Record<string, number> = {};
  readonly notes: Note[] = [];
  readonly context: Context;
  private last = performance.now();

  constructor(context: Context) {
    this.context = context;
  }

  /** Ends a stage: its time is kept, and a cancelled run stops here. */
  done(stage: string): void {
    const now = performance.now();
    this.timings[stage] = Math.round(now - this.last) / 1000;
    this.last = now;
    this.context.progress(stage, 1);
    checkCancelled(this.context);
  }
}

/**
 * The main job: from scan files to the free envelope, the reclaimed volume and a tank's litres.
 * Throws a Fault with exit 2 for bad input and with exit 3 when there is no envelope.
 */
export async function measure(job: Job, files: Files, context: Context, options: MeasureOptions = {}): Promise<Measured> {
  const run = new Run(context);
  const step = (options.step ?? job.step) * (options.quick ? 2 : 1);
  const { scans, inputs } = await loadScans(job, files, run);
  const box = regionBox(job.region, scans);
  checkRegionBox(box);
  const grid = regionGrid(box, step);
  const memory = checkMemory(grid, scans, job.memory);
  const obstacles = checkObstacles(scans, grid);
  const radius = job.least_radius;

  const region = await regionField(job.region, scans, grid, context);
  run.done('region');
  // The region's depth becomes the free field: what the obstacles leave of it.
  const free = region.field;
  const coarseRegion = everySecond(free, context.pool);
  const startInRegion = job.start !== null && (free.data[cellAt(grid, job.start)] ?? -1) > 0;
  await lowerToSlack(free, obstacles, radius, context);
  await closeBarriers(free, job.barriers, radius, context);
  await closeBarriers(coarseRegion, job.barriers, radius, context);
  run.done('clearances');
  const removed = job.region.near ? region.near : null;
  const start = chooseStart(free, radius, job.start, removed);
  if (start.cell < 0 || free.data[start.cell] < radius) throw noEnvelope(job, free, obstacles, { start: start.cell, startInRegion });
  const envelope = await rollBall(free, radius, [start.cell], context);
  run.done('envelope');

  const found = { free, envelope, radius, start: start.cell };
  const root = largestBall(free, radius, start.cell);
  const coarse = await atDoubleStep(found, root, run);
  const bounds = boundsFrom(area(envelope), job.accuracy);
  const envelopeVolume = volume(envelope);
  const summary = summarise(envelope, free, root, obstacles);
  const necks = necksFrom(free, root, envelope, radius).map((n) => neckResult(n, obstacles));
  run.done('necks');

  const before = removedBefore(scans, free, removed);
  let reclaimed: Bounded | undefined;
  if (before) {
    const fine = await reclaimedVolume(envelope, before, radius, context);
    const rough = await reclaimedVolume(coarse.envelope, everySecond(before), radius, context);
    reclaimed = bounds(fine, rough);
    run.done('reclaimed');
  }
  const tank = job.tank ? await fillTank(job.tank, { body: envelope, coarse: coarse.envelope, accuracy: job.accuracy }, context) : null;
  if (tank) {
    run.notes.push(...tank.tank.notes);
    run.done('tank');
  }
  const cavity = tank?.cavity ?? null;
  const meshes = { envelope: surface(envelope, 0), cavity: cavity ? surface(cavity, 0) : null };
  run.done('surfaces');
  addDoubts(run.notes, { job, step, envelope, scans });
  const envelopeResult: EnvelopeResult = {
    volume_l: bounds(envelopeVolume, coarse.volume),
    ...summary,
    least_radius_mm: radius,
    start_mm: cellCentre(grid, start.cell),
    start_from: start.how,
    by_radius: coarse.byRadius,
    necks,
  };
  const result: Result = {
    version: RESULT_VERSION,
    tool: { name: 'voidgauge', version: options.version ?? 'unknown' },
    job,
    inputs,
    grid: {
      step_mm: step,
      dims: [grid.nx, grid.ny, grid.nz],
      cells: cellCount(grid),
      memory_mb: Math.round(memory / 1e6),
      change_at_double_step_l: (coarse.volume - envelopeVolume) / MM3_PER_LITRE,
      skin_step_mm: region.skinStep,
    },
    timings_s: run.timings,
    envelope: envelopeResult,
    ...(reclaimed ? { reclaimed: { volume_l: reclaimed } } : {}),
    ...(tank ? { tank: tank.tank } : {}),
    notes: run.notes,
    cautions: CAUTIONS,
  };
  return {
    result,
    scans,
    ...meshes,
    fields: { free, envelope, cavity },
    coarse: { region: coarseRegion, obstacles, start: cellCentre(grid, start.cell) },
  };
}

/** Reads every file once and makes the job's scans of it. */
async function loadScans(job: Job, files: Files, run: Run): Promise<{ scans: Scan[]; inputs: InputResult[] }> {
  const entries = Object.entries(job.scans);
  const names = [...new Set(entries.map(([, s]) => s.file))];
  const scans = new Map<string, Scan>();
  const inputs = new Map<string, InputResult>();
  const specks: Specks[] = [];
  for (const [i, name] of names.entries()) {
    run.context.progress('reading scans', i / names.length);
    checkCancelled(run.context);
    const file = await files.open(name);
    const read = await readScan(file);
    run.notes.push(...read.notes);
    const sha256 = await file.digest();
    for (const [scanName, settings] of entries) {
      if (settings.file !== name) continue;
      const scan = makeScan(scanName, settings, read, job.units, specks);
      scans.set(scanName, scan);
      const { triangles, points, unit, box } = scan;
      inputs.set(scanName, { scan: scanName, file: name, sha256, triangles, points, unit, box_mm: box });
      if (settings.motion.length > 0)
        run.notes.push({
          code: 'motion-not-swept',
          text: `"${scanName}" has a motion, which this version does not sweep: it is taken as scanned.`,
          where: scanName,
        });
    }
  }
  run.notes.push(...speckNote(specks));
  const ordered = entries.map(([n]) => scans.get(n)!).filter((s) => s.settings.role !== 'ignore');
  checkUnits(ordered);
  for (const s of ordered) if (s.settings.role === 'removed') checkOrientation(s);
  run.done('reading scans');
  return { scans: ordered, inputs: entries.map(([n]) => inputs.get(n)!) };
}

interface Found {
  readonly free: Field;
  readonly envelope: Field;
  readonly radius: number;
  readonly start: number;
}

/** The same envelope at twice the step, for the part of the bounds that the grid makes, and the curve of volume against radius. */
async function atDoubleStep(
  { free, radius, start }: Found,
  root: number,
  run: Run,
): Promise<{ envelope: Field; volume: number; byRadius: EnvelopeResult['by_radius'] }> {
  const f = everySecond(free);
  // The nearest cell of the coarse grid may be lower; take the highest one round it.
  const near = (cell: number): number => {
    const at = cellCentre(free.grid, cell);
    const r = 2 * f.grid.step;
    return highest(f, (c) => cellCentre(f.grid, c).every((v, a) => Math.abs(v - at[a]) < r));
  };
  const envelope = await rollBall(f, radius, [near(start)], run.context);
  const largest = free.data[root];
  const radii = radiiUpTo(radius, largest);
  const coarseRoot = near(root);
  const volumes = await volumesByRadius(f, coarseRoot, radii, run.context);
  const byRadius = radii.map((r, i) => ({ radius_mm: r, volume_l: volumes[i] / MM3_PER_LITRE }));
  run.done('volume by radius');
  return { envelope, volume: volume(envelope), byRadius };
}

/** Radii worth a point on the curve: the job's own, some below and some up to the largest ball, mm, rounded to half a mm. */
function radiiUpTo(radius: number, largest: number): number[] {
  const shares = [0.5, 1, 1.5, 2, 3, 5];
  const radii = shares.map((k) => Math.max(0.5, Math.round(radius * k * 2) / 2)).map((r, i) => (shares[i] === 1 ? radius : r));
  return [...new Set(radii)].filter((r) => r <= largest).sort((a, b) => a - b);
}

/** Makes bounded litres from a volume and the same at twice the step: their difference, and area times accuracy. */
const boundsFrom =
  (mm2: number, accuracy: number) =>
  (fine: number, rough: number): Bounded => {
    const off = Math.abs(fine - rough) + mm2 * accuracy;
    return { value: fine / MM3_PER_LITRE, low: Math.max(0, fine - off) / MM3_PER_LITRE, high: (fine + off) / MM3_PER_LITRE };
  };

function summarise(
  envelope: Field,
  free: Field,
  root: number,
  obstacles: readonly Scan[],
): Pick<EnvelopeResult, 'area_dm2' | 'box_mm' | 'centre_mm' | 'pieces' | 'through_holes' | 'largest_ball'> {
  const shape = euler(envelope);
  // Deep inside, the field is good to a fraction of a cell only; the ball that is printed is held against the scans themselves.
  const centre = cellCentre(free.grid, root);
  return {
    area_dm2: area(envelope) / MM2_PER_DM2,
    box_mm: meshBox(surface(envelope, 0)),
    centre_mm: moments(envelope).centroid,
    pieces: shape.pieces,
    through_holes: shape.holes,
    largest_ball: { radius_mm: Math.min(free.data[root], nearestObstacles(obstacles, centre)[0].slack), centre_mm: centre },
  };
}

function neckResult(n: NeckFound, obstacles: readonly Scan[]): EnvelopeResult['necks'][number] {
  const near = nearestObstacles(obstacles, n.at);
  const radius = n.diameter / 2;
  const close = near.filter((o) => o.slack < radius + 4).map((o) => o.name);
  return {
    at_mm: n.at,
    diameter_mm: n.diameter,
    behind_l: n.behind / MM3_PER_LITRE,
    passed: n.passed,
    between: close.length > 0 ? close.slice(0, 3) : ['the border of the region'],
  };
}

/** The free field with the removed parts in place; null when there are none. */
function removedBefore(scans: readonly Scan[], free: Field, distance: Field | null): Field | null {
  const removed = scans.filter((s) => s.settings.role === 'removed');
  if (removed.length === 0 || !distance) return null;
  const clearance = Math.max(...removed.map((s) => s.settings.clearance));
  const data = new Float32Array(free.data.length);
  for (let c = 0; c < data.length; c++) data[c] = Math.min(free.data[c], distance.data[c] - clearance);
  return { grid: free.grid, data };
}

interface TankBody {
  readonly body: Field;
  /** The same at twice the step. */
  readonly coarse: Field;
  readonly accuracy: number;
}

/** The tank that the envelope makes, its doubt taken from the same tank at twice the step. */
async function fillTank(tank: JobTank, { body, coarse, accuracy }: TankBody, context: Context): Promise<TankRun> {
  const { name, density, expansion } = tank.fluid;
  // The laws of petrol, diesel and water are known; anything else expands as the job says.
  const fluid = fluidOf(name in FLUIDS ? { name, density } : { name, density, expansion });
  const options: TankOptions = {
    wall: tank.wall,
    wallDensity: tank.wall_density,
    wallTolerance: tank.wall_tolerance,
    leastRadius: tank.inside_radius,
    inner: tank.inner ?? undefined,
    foam: tank.foam ?? undefined,
    fluid,
    ullage: ullageOf(fluid, ullageRule(tank.ullage)),
    accuracy,
  };
  const asked = {
    attitudes: tank.attitudes.length > 0 ? tank.attitudes : [UPRIGHT],
    filling: tank.filling ?? undefined,
    filler: tank.filler ?? undefined,
    vents: tank.vents ?? undefined,
    pickups: tank.pickups ?? undefined,
    advise: tank.attitudes.length > 0,
  };
  return tankOf(body, { ...options, coarse: await roughTank(coarse, options, context), stand: asked }, context);
}

const ullageRule = (u: JobTank['ullage']): UllageRule =>
  typeof u === 'number' ? { by: 'share', share: u } : u === 'adr' ? { by: 'adr' } : { by: 'expansion', ...u };

/** Why there is no envelope, and the nearest change that would give one. */
function noEnvelope(
  job: Job,
  free: Field,
  obstacles: readonly Scan[],
  { start, startInRegion }: { start: number; startInRegion: boolean },
): Fault {
  if (job.start && start < 0) {
    const point = job.start;
    let best = -1;
    let least = Infinity;
    for (let c = 0; c < free.data.length; c++) {
      if (free.data[c] < job.least_radius) continue;
      const p = cellCentre(free.grid, c);
      const d = Math.hypot(p[0] - point[0], p[1] - point[1], p[2] - point[2]);
      if (d < least) {
        least = d;
        best = c;
      }
    }
    return startFault(point, obstacles, best >= 0 ? cellCentre(free.grid, best) : null, startInRegion);
  }
  const top = highest(free);
  const most = top >= 0 ? free.data[top] : -Infinity;
  const here = start >= 0 ? Math.max(free.data[start], 0) : 0;
  const at: Vec3 = top >= 0 ? cellCentre(free.grid, top) : [0, 0, 0];
  const place = `[${at.map((v) => Math.round(v)).join(', ')}]`;
  const hint =
    most > 0
      ? `the largest ball that fits has radius ${most.toFixed(1)} mm, at ${place}: set least_radius to at most that${here > 0 && here < most ? ` (at the start: ${here.toFixed(1)} mm)` : ''}`
      : `clearances smaller by ${(-most).toFixed(1)} mm would leave a first free point, at ${place}`;
  return new Fault({
    code: 'no-envelope',
    what: `Nothing is free for a ball of radius ${job.least_radius} mm at these clearances.`,
    got: most > 0 ? `a largest ball of radius ${most.toFixed(1)} mm` : 'no free point in the region',
    expected: `room for a ball of radius ${job.least_radius} mm`,
    hint,
    exit: 3,
  });
}

interface DoubtInput {
  readonly job: Job;
  readonly step: number;
  readonly envelope: Field;
  readonly scans: readonly Scan[];
}

function addDoubts(notes: Note[], { job, step, envelope, scans }: DoubtInput): void {
  if (step > job.least_radius / 2)
    notes.push({
      code: 'coarse-step',
      text: `The step of ${step} mm is coarse for a least radius of ${job.least_radius} mm; half the radius or less reads narrow places better.`,
    });
  const { nx, ny, nz } = envelope.grid;
  let cut = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++)
        if ((i === 0 || j === 0 || k === 0 || i === nx - 1 || j === ny - 1 || k === nz - 1) && envelope.data[i + nx * (j + ny * k)] > 0)
          cut++;
  if (cut > 0)
    notes.push({ code: 'region-cut', text: `The envelope reaches the edge of the grid (${cut} cells): the region cuts it there.` });
  for (const s of scans) if (s.settings.note) notes.push({ code: 'scan-note', text: `${s.name}: ${s.settings.note}`, where: s.name });
}

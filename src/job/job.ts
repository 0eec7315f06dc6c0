import * as z from 'zod';
import { LENGTH_UNITS, type LengthUnit } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { JOB_DEFAULTS, JOB_VERSION } from './defaults.ts';
import { faultOf, type Problem, problemsOf } from './problems.ts';
import { readYaml } from './read-yaml.ts';
import { before, checkBefore, type JobBefore } from './schema-before.ts';
import { checkDatum, datum, type JobDatum } from './schema-datum.ts';
import { completeFit, fit, type JobFit } from './schema-fit.ts';
import { checkMake, completeMake, type JobMake, make } from './schema-make.ts';
import { length, memory, point, type Report, section } from './schema-parts.ts';
import { completePassages, type JobPassage, passages } from './schema-passages.ts';
import { barriers, checkRegion, checkStart, completeRegion, type JobBarrier, type JobRegion, region } from './schema-region.ts';
import { checkScans, completeScan, type JobScan, scans } from './schema-scans.ts';
import { completeStowage, type JobStowage, stowage } from './schema-stowage.ts';
import { completeTank, type JobTank, tank } from './schema-tank.ts';
import { completeTubes, type JobTubes, tubes } from './schema-tubes.ts';
import { checkWays, completeWays, type JobWays, waysIn } from './schema-ways.ts';

const jobSection = section({
  voidgauge: z
    .literal(JOB_VERSION, { error: `${JOB_VERSION}, the version of job files that this program reads` })
    .describe('Version of the job file.'),
  name: z
    .string({ error: 'a text' })
    .min(1, { error: 'a text' })
    .nullish()
    .describe("What the job is called; the file's name when left out."),
  units: z
    .enum(LENGTH_UNITS)
    .prefault(JOB_DEFAULTS.units)
    .describe('Unit of scan files that carry none. Lengths in the job itself are mm.'),
  step: length({ above: 0 }).prefault(JOB_DEFAULTS.step).describe('Size of a fine cell, mm.'),
  accuracy: length({ least: 0 })
    .prefault(JOB_DEFAULTS.accuracy)
    .describe('How far a scanned surface may be off, mm; goes into the error bounds.'),
  memory: memory().prefault(JOB_DEFAULTS.memory).describe('Memory budget, "2 GB"; a bare number is in GB.'),
  clearance: length({ least: 0 }).prefault(JOB_DEFAULTS.clearance).describe('Clearance of obstacles that give none of their own, mm.'),
  scans: scans.describe('The scans, by name.'),
  datum: datum
    .nullish()
    .describe(
      'The frame of everything else in the job and of all results: x forward, y left, z up. Every coordinate here but those of "datum" itself and of "place" is in it. Left out: the frame in which the scans are placed.',
    ),
  before: before
    .nullish()
    .describe(
      'The vehicle before the work as a job of its own, when no scan of the removed part alone is there: a job file, or { job: .., place: .. }. What was not free in it counts as reclaimed.',
    ),
  region: region.prefault({}).describe('Where the body may be at all; everything named here holds together.'),
  barriers: barriers.nullish().describe('Discs laid across openings, to keep the envelope on one side.'),
  start: point()
    .nullish()
    .describe('A point inside the void, mm; when left out, the void where the removed part was, else the largest free piece.'),
  least_radius: length({ above: 0 })
    .prefault(JOB_DEFAULTS.least_radius)
    .describe('Radius of the smallest ball that must roll into every corner of the envelope, mm.'),
  tank: tank.prefault({}).describe('The tank that fills the envelope; false leaves it out.'),
  make: make.prefault({}).describe('What the make command writes for the workshop.'),
  passages: passages.nullish().describe('Hoses, looms and pipes that are to be led past everything.'),
  stowage: stowage.prefault(false).describe('What a box or a bag in the envelope would hold; true or settings.'),
  ways_in: waysIn
    .prefault(false)
    .describe('Whether a body of that shape can be put in, along which straight ways, and what must come off; true or settings.'),
  fit: fit.prefault({}).describe('Limits of the small move that a trial fit of a finished body may make.'),
  tubes: tubes.prefault(false).describe('Round tubes along and through the envelope, and the bores that they need; true or settings.'),
});

/**
 * A job after parsing: every default filled in, lengths in mm, plain JSON. Written out and parsed again it is the same job.
 * What was not asked for is null, false or an empty list.
 */
export interface Job {
  readonly voidgauge: typeof JOB_VERSION;
  readonly name: string;
  /** Unit of scan files that carry none and of scans whose own `units` is null. */
  readonly units: LengthUnit;
  /** Fine cell, mm. */
  readonly step: number;
  /** How far a scanned surface may be off, mm. */
  readonly accuracy: number;
  /** Memory budget, GB (1e9 bytes). */
  readonly memory: number;
  /** Default clearance, mm; every scan already carries its own. */
  readonly clearance: number;
  /** By name, in the order of the file. */
  readonly scans: Readonly<Record<string, JobScan>>;
  /** The frame of all coordinates but those of `place`; null: as the scans are placed. */
  readonly datum: JobDatum | null;
  /** The other state of the vehicle; null without one. */
  readonly before: JobBefore | null;
  readonly region: JobRegion;
  readonly barriers: readonly JobBarrier[];
  /** mm, or null: choose one. */
  readonly start: Vec3 | null;
  /** mm */
  readonly least_radius: number;
  readonly tank: JobTank | false;
  readonly make: JobMake;
  readonly passages: readonly JobPassage[];
  readonly stowage: JobStowage | false;
  readonly ways_in: JobWays | false;
  readonly tubes: JobTubes | false;
  readonly fit: JobFit;
}

/** Reads and checks the text of a job file. Throws a Fault that names file:line:column of the first thing wrong and lists the rest. */
export function parseJob(text: string, fileName: string): Job {
  const source = readYaml(text, fileName);
  const result = jobSection.safeParse(source.value);
  if (!result.success) throw faultOf(problemsOf(result.error, source), source);
  const raw = result.data;
  const problems: Problem[] = [];
  const report: Report = (path, detail) => problems.push({ path, ...detail });
  checkScans(raw.scans, report);
  checkDatum(raw.datum, raw.scans, report);
  checkBefore(raw.before, raw.scans, report);
  checkRegion(raw.region, raw.scans, report);
  checkWays(raw.ways_in, raw.scans, report);
  checkMake(raw.make, { tank: raw.tank !== false, ways_in: raw.ways_in !== false }, report);
  const job = complete(raw, fileName);
  checkStart(job.start, job.region, report);
  if (problems.length) throw faultOf(problems, source);
  return job;
}

function complete(raw: z.output<typeof jobSection>, fileName: string): Job {
  return {
    voidgauge: JOB_VERSION,
    name: raw.name ?? baseName(fileName),
    units: raw.units,
    step: raw.step,
    accuracy: raw.accuracy,
    memory: raw.memory,
    clearance: raw.clearance,
    scans: Object.fromEntries(Object.entries(raw.scans).map(([name, s]) => [name, completeScan(s, raw.clearance)])),
    datum: raw.datum ?? null,
    before: raw.before ?? null,
    region: completeRegion(raw.region, raw.scans),
    barriers: raw.barriers ?? [],
    start: raw.start ?? null,
    least_radius: raw.least_radius,
    tank: completeTank(raw.tank),
    make: completeMake(raw.make),
    passages: completePassages(raw.passages ?? []),
    stowage: completeStowage(raw.stowage),
    ways_in: completeWays(raw.ways_in),
    tubes: completeTubes(raw.tubes),
    fit: completeFit(raw.fit),
  };
}

const baseName = (path: string): string => path.replace(/^.*[\\/]/, '').replace(/\.[^.]*$/, '') || 'job';

/** JSON Schema (draft 2020-12) of the job file as it is written, for editors; every key has a description with its unit. */
export function jobSchema(): object {
  return { ...z.toJSONSchema(jobSection, { io: 'input' }), title: 'Voidgauge job file' };
}

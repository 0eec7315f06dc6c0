import type { Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import { writeNrrd } from '../io/write-nrrd.ts';
import { MOST_STEP_FACES } from '../io/write-step.ts';
import type { Job } from '../job/job.ts';
import type { JobMake } from '../job/schema-make.ts';
import { type Certificate, type CertificateObstacle, certify } from '../make/certificate.ts';
import { type Seed, seedMesh } from '../make/seed.ts';
import { CAUTIONS, type InputResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { isObstacle } from '../space/slack.ts';
import { type Drawn, drawForWorkshop, type Subject } from './drawings.ts';
import { loadScans } from './load.ts';
import { writeMesh } from './mesh-files.ts';
import { type Files, Run } from './run.ts';
import { findSpace, type Space, type SpaceOptions } from './space.ts';
import { fillTank } from './tank.ts';
import { type Tooled, tool } from './tooling.ts';
import { bodyOfWay, findWays, spaceOfWay, type WaysMeasured } from './ways.ts';

/** What is said of a seed mesh beside its files: plain JSON. */
export interface SeedReport {
  /** Name of its files without the ending. */
  readonly name: string;
  readonly of: JobMake['of'];
  readonly faces: number;
  readonly volume_l: number;
  /** What it lacks of the field's volume. */
  readonly loss_percent: number;
  /** Estimate of how far simplifying moved the surface inward. */
  readonly error_mm: number;
  readonly certificate: Certificate;
}

export interface Made extends Drawn, Tooled {
  readonly seeds: readonly SeedReport[];
  /** By name, in the order made. */
  readonly files: ReadonlyMap<string, Uint8Array>;
  readonly job: Job;
  readonly inputs: readonly InputResult[];
  readonly step_mm: number;
  readonly notes: readonly Note[];
  readonly cautions: readonly string[];
}

export interface MakeOptions extends SpaceOptions {
  readonly version: string;
  /** ISO 8601 time for file headers that ask for one. */
  readonly time: string;
}

/**
 * What leaves for the workshop: the seed mesh in the formats that the job asks for, certified clear of every obstacle's scan, and what else it
 * asks. Throws a Fault when no mesh can be certified: nothing that is not clear leaves.
 */
export async function makeFiles(job: Job, files: Files, context: Context, options: MakeOptions): Promise<Made> {
  const run = new Run(context);
  const whole = await findSpace(job, files, run, options);
  const asked = job.make;
  const ways = job.ways_in && waysMatter(job) ? await findWays({ ...job.ways_in, bodies: 1 }, whole, run) : null;
  if (ways) run.done('ways in');
  const space = ways ? await spaceOfWay(whole, ways, run) : whole;
  const subject = await subjectOf(space, ways, run);
  const body = asked.of === 'cavity' ? await cavityField(job, space, run) : subject.body;
  const obstacles = certificateObstacles(space.obstacles);
  const about = { tool: { name: 'voidgauge', version: options.version }, job: job.name, units: 'mm', inputs: hashes(space.inputs) };
  const writing = { out: new Map<string, Uint8Array>(), about, time: options.time };
  const seeds: SeedReport[] = [];
  let first: Seed | undefined;
  for (const { name, faces, formats } of orders(asked)) {
    // Faces of half a cell's error keep 0.3 % of the volume; fewer faces need as much error as they need.
    const error = asked.error ?? (faces < asked.faces ? 2 * space.step : undefined);
    const seed = await seedMesh(body, { faces, fairing: asked.fairing, error, obstacles }, context);
    first ??= seed;
    if (formats.length > 0) seeds.push(reportOf(name, asked.of, seed));
    run.notes.push(...seed.notes);
    for (const format of formats) await writeMesh(format, name, seed.mesh, writing);
  }
  run.done('seed mesh');
  if (first) run.notes.push(...takenAtRest(space.obstacles));
  if (asked.slack) writing.out.set('slack.nrrd', writeNrrd(space.free, { content: 'slack, mm, positive = free', gzip: true }));
  const drawn = await drawForWorkshop(asked, subject, run, writing.out);
  const tooled = first ? await tool(asked, { mesh: first.mesh, drawn }, run, writing) : {};
  return {
    ...drawn,
    ...tooled,
    seeds,
    files: writing.out,
    job,
    inputs: space.inputs,
    step_mm: space.step,
    notes: run.notes,
    cautions: CAUTIONS,
  };
}

/**
 * Meshes to be made: the one asked for, and for STEP one of fewer faces where that is needed. What is told of moulds and what is printed comes from
 * the first, so it is made for them too when no file of it is wanted.
 */
function orders({ faces, formats, mould, print }: JobMake): { name: string; faces: number; formats: JobMake['formats'] }[] {
  const small = formats.includes('step') && faces > MOST_STEP_FACES;
  const first = small ? formats.filter((f) => f !== 'step') : formats;
  return [
    ...(first.length > 0 || mould || print ? [{ name: 'seed', faces, formats: first }] : []),
    ...(small ? [{ name: 'seed-small', faces: Math.floor(0.9 * MOST_STEP_FACES), formats: ['step' as const] }] : []),
  ];
}

/** Of a rib kit the slots follow the way in, where the job asks for ways. */
const waysMatter = ({ ways_in, make }: Job): boolean =>
  (ways_in && ways_in.use !== null) || make.of === 'body' || (make.ribs !== false && !make.ribs.along);

/** What is drawn, and made when the job does not ask for a cavity: the envelope, or the greatest body that goes in along the chosen way. */
async function subjectOf(space: Space, ways: WaysMeasured | null, run: Run): Promise<Subject> {
  const { job } = space;
  const chosen = ways?.chosen;
  const along = chosen?.direction;
  if (job.make.of !== 'body' || (job.ways_in && job.ways_in.use !== null)) return { space, body: space.envelope, along };
  if (!chosen || !(chosen.keptPercent > 0))
    throw new Fault({
      code: 'make-no-body',
      what: 'No body can be put in along a straight way, so none can be made.',
      hint: 'say which parts come off (comes_off), or make: { of: envelope }',
      exit: 3,
    });
  run.notes.push({
    code: 'make-body',
    text: `What is made is the part of the envelope that goes in along the way chosen, ${chosen.keptPercent.toFixed(0)} % of it.`,
  });
  return { space, body: await bodyOfWay(space, chosen, run.context), along };
}

async function cavityField(job: Job, space: Space, run: Run): Promise<Field> {
  if (!job.tank) throw new Error('a job that makes a cavity has a tank');
  const { cavity } = await fillTank(job.tank, space, run);
  run.done('tank');
  return cavity;
}

/** Every obstacle near the region with the clearance that the job asks of it, doubt included. */
export const certificateObstacles = (scans: readonly Scan[]): CertificateObstacle[] =>
  scans.map((s): CertificateObstacle => {
    const common = { name: s.name, clearance: s.settings.clearance + s.settings.doubt };
    return s.points > 0
      ? { ...common, cloud: { origin: s.mesh.origin, positions: s.mesh.positions }, radius: s.radius }
      : { ...common, mesh: s.mesh, solid: s.settings.solid === 'solid' };
  });

/** A certificate is proven against the scans as they were taken; the envelope keeps clear of the sweep. */
const takenAtRest = (scans: readonly Scan[]): Note[] =>
  scans
    .filter((s) => s.settings.motion.length > 0)
    .map((s) => ({
      code: 'certified-at-rest',
      text: `The certificate holds "${s.name}" as it was scanned, not through its motion.`,
      where: s.name,
    }));

const hashes = (inputs: readonly InputResult[]) => inputs.map((i) => ({ scan: i.scan, file: i.file, sha256: i.sha256 }));

function reportOf(name: string, of: JobMake['of'], seed: Seed): SeedReport {
  if (!seed.certificate) throw new Error('a seed mesh without obstacles has no certificate');
  return {
    name,
    of,
    faces: seed.faces,
    volume_l: seed.volume_mm3 / 1e6,
    loss_percent: seed.loss_percent,
    error_mm: seed.error_mm,
    certificate: seed.certificate,
  };
}

export interface Certified {
  readonly certificate: Certificate;
  readonly inputs: readonly InputResult[];
  readonly notes: readonly Note[];
}

/** The certificate of any closed mesh (mm, in the job's place) against the job's obstacles. */
export async function certifyMesh(body: Mesh, job: Job, files: Files, context: Context): Promise<Certified> {
  const run = new Run(context);
  const { scans, inputs } = await loadScans(job, files, run);
  const certificate = await certify(body, certificateObstacles(scans.filter(isObstacle)), context);
  run.done('certificate');
  run.notes.push(...takenAtRest(scans));
  return { certificate, inputs, notes: run.notes };
}

import type { Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import { write3mf } from '../io/write-3mf.ts';
import { writeGlb } from '../io/write-glb.ts';
import { writeNrrd } from '../io/write-nrrd.ts';
import { writeObj } from '../io/write-obj.ts';
import { writePly } from '../io/write-ply.ts';
import { MOST_STEP_FACES, writeStep } from '../io/write-step.ts';
import { writeStl } from '../io/write-stl.ts';
import type { Job } from '../job/job.ts';
import type { JobMake } from '../job/schema-make.ts';
import { type Certificate, type CertificateObstacle, certify } from '../make/certificate.ts';
import { type Seed, seedMesh } from '../make/seed.ts';
import { CAUTIONS, type InputResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { isObstacle } from '../space/slack.ts';
import { type Drawn, drawForWorkshop } from './drawings.ts';
import { loadScans } from './load.ts';
import { type Files, Run } from './run.ts';
import { findSpace, type SpaceOptions } from './space.ts';
import { fillTank } from './tank.ts';
import { findWays, spaceOfWay } from './ways.ts';

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

export interface Made extends Drawn {
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
 * What leaves for the workshop: the seed mesh in the formats that the job asks for, certified clear of every obstacle's scan. Throws a
 * Fault when no mesh can be certified: nothing that is not clear leaves.
 */
export async function makeFiles(job: Job, files: Files, context: Context, options: MakeOptions): Promise<Made> {
  const run = new Run(context);
  const whole = await findSpace(job, files, run, options);
  const space = job.ways_in !== false && job.ways_in.use ? await spaceOfWay(whole, await findWays(job.ways_in, whole, run), run) : whole;
  const asked = job.make;
  const body = asked.of === 'cavity' ? await cavityField(job, space, run) : space.envelope;
  const obstacles = certificateObstacles(space.obstacles);
  const about = { tool: { name: 'voidgauge', version: options.version }, job: job.name, units: 'mm', inputs: hashes(space.inputs) };
  const out = new Map<string, Uint8Array>();
  const seeds: SeedReport[] = [];
  for (const { name, faces, formats } of orders(asked)) {
    // Faces of half a cell's error keep 0.3 % of the volume; fewer faces need as much error as they need.
    const error = asked.error ?? (faces < asked.faces ? 2 * space.step : undefined);
    const seed = await seedMesh(body, { faces, fairing: asked.fairing, error, obstacles }, context);
    seeds.push(reportOf(name, asked.of, seed));
    run.notes.push(...seed.notes);
    for (const format of formats) out.set(`${name}.${format}`, await encode(format, name, seed.mesh, about, options.time));
  }
  run.done('seed mesh');
  run.notes.push(...takenAtRest(space.obstacles));
  if (asked.slack) out.set('slack.nrrd', writeNrrd(space.free, { content: 'slack, mm, positive = free', gzip: true }));
  const drawn = await drawForWorkshop(asked, space, run, out);
  return { ...drawn, seeds, files: out, job, inputs: space.inputs, step_mm: space.step, notes: run.notes, cautions: CAUTIONS };
}

/** Meshes to be made: the one asked for, and for STEP one of fewer faces where that is needed. */
function orders({ faces, formats }: JobMake): { name: string; faces: number; formats: JobMake['formats'] }[] {
  const small = formats.includes('step') && faces > MOST_STEP_FACES;
  const first = small ? formats.filter((f) => f !== 'step') : formats;
  return [
    ...(first.length > 0 ? [{ name: 'seed', faces, formats: first }] : []),
    ...(small ? [{ name: 'seed-small', faces: Math.floor(0.9 * MOST_STEP_FACES), formats: ['step' as const] }] : []),
  ];
}

async function cavityField(job: Job, space: Parameters<typeof fillTank>[1], run: Run): Promise<Field> {
  if (!job.tank)
    throw new Fault({
      code: 'make-cavity',
      what: 'The seed mesh is to be made of the cavity, but the job has no tank.',
      hint: 'make: { of: envelope }, or give the job a tank',
    });
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

async function encode(
  format: JobMake['formats'][number],
  name: string,
  mesh: Mesh,
  about: Readonly<Record<string, unknown>>,
  time: string,
): Promise<Uint8Array> {
  if (format === 'stl') return writeStl(mesh, `voidgauge ${name}, mm`);
  if (format === 'glb') return writeGlb([{ name, mesh, colour: [0.1, 0.45, 0.7, 1] }], about);
  if (format === '3mf') return write3mf([{ name, mesh }], `voidgauge ${name}`);
  if (format === 'ply') return writePly(mesh, [`voidgauge ${name}, mm`]);
  if (format === 'obj') return writeObj([{ name, mesh }], [`voidgauge ${name}`]);
  return writeStep(mesh, { name, time });
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

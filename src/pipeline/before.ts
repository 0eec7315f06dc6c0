import { allocateF32, type Context } from '../core/context.ts';
import { Fault, nearestWord } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { joinMeshes } from '../core/mesh.ts';
import { type Job, parseJob } from '../job/job.ts';
import type { JobBefore } from '../job/schema-before.ts';
import { placingOf } from '../job/schema-place.ts';
import type { JobScan } from '../job/schema-scans.ts';
import type { InputResult } from '../report/result.ts';
import { moveBy, type Rigid, turnBy } from '../scan/place.ts';
import { rigidOf } from '../scan/placing.ts';
import { isGiven, movedScan, type Scan } from '../scan/scan.ts';
import { isObstacle, lowerToSlack, obstaclesNear } from '../space/slack.ts';
import { cornersHere } from './datum.ts';
import { loadScans } from './load.ts';
import { placeOne, type ReadScan } from './place.ts';
import { type Files, Run } from './run.ts';

/** The vehicle before the work: its obstacles, in this job's frame. */
export interface Before {
  readonly job: string;
  readonly scans: readonly Scan[];
  readonly inputs: readonly InputResult[];
}

/** Reads the job of the other state and puts its scans where they stand in this one's frame; null when the job names none. */
export async function loadBefore(job: Job, scans: readonly Scan[], files: Files, run: Run): Promise<Before | null> {
  if (!job.before) return null;
  const name = job.before.job;
  const text = new TextDecoder().decode(await (await files.open(name)).bytes());
  const other = parseJob(text, name);
  const there = new Run(run.context);
  const loaded = await loadScans(other, besideOf(name, files), there);
  run.notes.push(...there.notes.map((n) => ({ ...n, text: `Before the work: ${n.text}` })));
  run.placings.push(...there.placings);
  const stood = loaded.scans.filter(isObstacle);
  const move = await moveOf(job, { before: job.before, stood, inputs: loaded.inputs }, scans, { files, run });
  return { job: name, scans: move ? stood.map((s) => movedWhole(s, move)) : stood, inputs: loaded.inputs };
}

/** Files as the other job names them: beside itself. */
function besideOf(job: string, files: Files): Files {
  const folder = job.replace(/[^\\/]*$/, '');
  return { open: (name) => files.open(/^([\\/]|[A-Za-z]:)/.test(name) ? name : folder + name) };
}

interface There {
  readonly before: JobBefore;
  readonly stood: readonly Scan[];
  readonly inputs: readonly InputResult[];
}

/** The motion from the other job's frame into this one's; null when they are the same. */
async function moveOf(
  job: Job,
  { before, stood, inputs }: There,
  scans: readonly Scan[],
  { files, run }: { readonly files: Files; readonly run: Run },
): Promise<Rigid | null> {
  const { place } = before;
  if (!place) return null;
  if (isGiven(place)) return rigidOf(place);
  const start = rigidOf(placingOf(place.move, place.turn));
  const shared = sharedScan(before, place.onto, stood);
  const sha256 = inputs.find((i) => i.scan === shared.name)?.sha256 ?? inputs.map((i) => i.sha256).join(' ');
  const own = new Map(scans.map((s): [string, ReadScan] => [s.name, { scan: s, sha256: '' }]));
  const asked = { ...movedScan(shared, start), name: `before (${shared.name})` };
  const { placing, result } = await placeOne({ scan: asked, sha256, fit: place, start, at: cornersHere(job, scans) }, own, files, run);
  run.placings.push(result);
  return placing;
}

/** What of the other state is laid onto this one. */
function sharedScan(before: JobBefore, onto: string | null, stood: readonly Scan[]): Scan {
  const wanted = before.scan ?? onto;
  const found = stood.find((s) => s.name === wanted);
  if (found) return found;
  if (before.scan === null)
    return { ...stood[0], name: 'all', mesh: joinMeshes(stood.map((s) => s.mesh)), triangles: stood.reduce((n, s) => n + s.triangles, 0) };
  const near = nearestWord(
    before.scan,
    stood.map((s) => s.name),
  );
  throw new Fault({
    code: 'before-no-scan',
    what: `"${before.scan}" is not one of the obstacles of the job before the work.`,
    expected: `one of: ${stood.map((s) => s.name).join(', ')}`,
    hint: near ? `did you mean "${near}"?` : undefined,
    where: before.job,
  });
}

/** A scan moved with the joints that it turns and slides on. */
function movedWhole(scan: Scan, move: Rigid): Scan {
  const motion: JobScan['motion'] = scan.settings.motion.map((j) => ({
    ...j,
    ...(j.turn ? { turn: { ...j.turn, about: [moveBy(move, j.turn.about[0]), moveBy(move, j.turn.about[1])] as const } } : {}),
    ...(j.slide ? { slide: { ...j.slide, along: turnBy(move.rows, j.slide.along) } } : {}),
  }));
  return { ...movedScan(scan, move), settings: { ...scan.settings, motion } };
}

/** What was free in both states: the free field, lowered by what stood there before, in memory of the context's pool. */
export async function freeBefore(before: Before | null, free: Field, radius: number, context: Context): Promise<Field | null> {
  if (!before) return null;
  const data = allocateF32(context.pool, free.data.length);
  data.set(free.data);
  const field: Field = { grid: free.grid, data };
  await lowerToSlack(field, obstaclesNear(before.scans, free.grid), [0, radius], context);
  return field;
}

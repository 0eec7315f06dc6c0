import { isAbsolute, join } from 'node:path';
import { parentPort, workerData } from 'node:worker_threads';
import { gzipSync } from 'node:zlib';
import type { Context } from '../src/core/context.ts';
import type { Mesh } from '../src/core/mesh.ts';
import { dipChartsCsv, dipCsv, senderCsv } from '../src/fill/dip.ts';
import { routesCsv } from '../src/fit/csv.ts';
import { writeGlb } from '../src/io/write-glb.ts';
import { writeStl } from '../src/io/write-stl.ts';
import type { Job } from '../src/job/job.ts';
import { type SentError, sendError } from '../src/parallel/messages.ts';
import { closestApproaches } from '../src/pipeline/closest.ts';
import { drawnParts } from '../src/pipeline/drawn.ts';
import type { MakeOptions } from '../src/pipeline/make.ts';
import { type Files, type Measured, type MeasureOptions, measure } from '../src/pipeline/measure.ts';
import { placingsText } from '../src/pipeline/place.ts';
import { sheetOf } from '../src/pipeline/sheet.ts';
import type { StudyLists } from '../src/pipeline/study.ts';
import { coarseFields } from '../src/report/coarse.ts';
import { DRAWING_FILE } from '../src/report/files.ts';
import { type TankResult, withCautions } from '../src/report/result.ts';
import type { Scan } from '../src/scan/scan.ts';
import { moves, sweptMesh } from '../src/space/moving.ts';
import { isObstacle, standOff } from '../src/space/slack.ts';
import { readBody } from './body.ts';
import { digestedSource } from './files.ts';
import { threadPool } from './pool.ts';
import { drawnScans, writeScene } from './scene.ts';

/** What the thread is asked to do. */
export type Order = Common & (MeasureOrder | MakeOrder | CertifyOrder | SurveyOrder | FitOrder | CommonOrder | StudyOrder);

interface Common {
  readonly job: Job;
  /** The job file's folder: its scans are named from there. */
  readonly folder: string;
  readonly workers: number;
  /** Set to other than 0 from outside: searches end with their best so far. */
  readonly enough?: Int32Array;
}

export interface MeasureOrder {
  readonly ask: 'measure';
  readonly options: MeasureOptions;
  /** Whether meshes are wanted too. */
  readonly meshes: boolean;
}

export interface MakeOrder {
  readonly ask: 'make';
  readonly options: MakeOptions;
}

export interface CertifyOrder {
  readonly ask: 'certify';
  /** Path of the mesh file. */
  readonly mesh: string;
}

export interface SurveyOrder {
  readonly ask: 'survey';
  readonly scansOnly: boolean;
}

export interface StudyOrder {
  readonly ask: 'study';
  readonly lists: StudyLists;
  readonly step?: number;
}

export interface CommonOrder {
  readonly ask: 'common';
  /** The further vehicles; the order's own job is the first. */
  readonly others: readonly { readonly job: Job; readonly folder: string }[];
  readonly step: number | undefined;
}

export interface FitOrder {
  readonly ask: 'fit';
  /** Path of the body's file. */
  readonly mesh: string;
}

/** What comes of an order: plain JSON values, and files by name. */
export interface Done<T> {
  readonly value: T;
  readonly files: ReadonlyMap<string, Uint8Array>;
}

/** What it says. The last message is what was done or an error. */
export type Said = { readonly progress: readonly [stage: string, done: number] } | Done<unknown> | { readonly error: SentError };

/**
 * The whole computation, in a thread of its own: so that the main thread stays free to draw progress and to end at once when it is told
 * to, whatever runs here.
 */
async function run(order: Order): Promise<void> {
  const say = (said: Said, transfer: readonly ArrayBuffer[] = []): void => parentPort?.postMessage(said, transfer);
  const pool = threadPool(order.workers);
  try {
    const progress = (stage: string, done: number): void => say({ progress: [stage, done] });
    const done = await answer(order, { pool, progress, cancelled: () => false, enough: order.enough });
    const buffers = [...done.files.values()].flatMap(({ buffer }) => (buffer instanceof ArrayBuffer ? [buffer] : []));
    say(done, [...new Set(buffers)]);
  } catch (error) {
    say({ error: sendError(error) });
  } finally {
    await pool.close();
  }
}

/** What an order needs is loaded when it comes: a run that only measures starts a quarter of a second earlier. */
async function answer(order: Order, context: Context): Promise<Done<unknown>> {
  const files = filesIn(order.folder);
  if (order.ask === 'make') {
    const { makeFiles } = await import('../src/pipeline/make.ts');
    const { files: made, ...value } = await makeFiles(order.job, files, context, order.options);
    return { value, files: made };
  }
  if (order.ask === 'certify') {
    const { certifyMesh } = await import('../src/pipeline/make.ts');
    const body = await readBody(order.mesh, order.job.units);
    const certified = await certifyMesh(body.mesh, order.job, files, context);
    return { value: { ...certified, mesh: body.about }, files: new Map() };
  }
  if (order.ask === 'common') {
    const { commonRoom } = await import('../src/pipeline/common.ts');
    const vehicles = [order, ...order.others].map((v) => ({ job: v.job, files: filesIn(v.folder) }));
    const { result, envelope } = await commonRoom(vehicles, context, { step: order.step });
    const about = { jobs: vehicles.map((v) => v.job.name) };
    const glb = await writeGlb([{ name: 'common envelope', mesh: envelope, colour: [0.1, 0.45, 0.7, 1] }], about);
    const stl = writeStl(envelope, 'voidgauge common envelope, mm');
    return {
      value: result,
      files: new Map([
        ['common.stl', stl],
        ['common.glb', glb],
      ]),
    };
  }
  if (order.ask === 'fit') {
    const { tryBody } = await import('../src/pipeline/trial.ts');
    const body = await readBody(order.mesh, order.job.units);
    const value = { ...(await tryBody(body.mesh, order.job, files, context)), mesh: body.about };
    const drawn = await writeGlb([{ name: 'fitted body', mesh: body.mesh, colour: [0.6, 0.3, 0.1, 1] }], { file: body.about.file });
    return { value, files: new Map([['fit-body.glb', drawn]]) };
  }
  if (order.ask === 'study') {
    const { study } = await import('../src/pipeline/study.ts');
    return { value: await study(order.job, order.lists, files, { context, step: order.step }), files: new Map() };
  }
  if (order.ask === 'survey') {
    const { survey } = await import('../src/pipeline/survey.ts');
    return { value: await survey(order.job, files, context, order), files: new Map() };
  }
  let scans: ReturnType<typeof drawnScans> | undefined;
  const placed = (read: readonly Scan[]): void => {
    scans = drawnScans(read, context.pool);
    scans.catch(() => {});
  };
  const measured = await measure(order.job, files, context, { ...order.options, ...(order.meshes ? { placed } : {}) });
  if (!scans) return { value: measured.result, files: new Map() };
  const [written, closest] = await Promise.all([meshFiles(measured, scans, context), closestApproaches(measured, context)]);
  return { value: { ...measured.result, closest }, files: written };
}

const filesIn = (folder: string): Files => ({ open: (name) => digestedSource(isAbsolute(name) ? name : join(folder, name)) });

async function meshFiles(
  measured: Measured,
  scans: ReturnType<typeof drawnScans>,
  context: Context,
): Promise<Map<string, Uint8Array<ArrayBuffer>>> {
  const { envelope, cavity, result } = measured;
  // The workers are at these while this thread writes.
  const dials = coarseFields(measured.coarse, context);
  dials.catch(() => {});
  const parts = drawnParts(measured.drawn, context);
  parts.catch(() => {});
  const files = new Map([['envelope.stl', writeStl(envelope, 'voidgauge envelope, mm')]]);
  const about = { tool: result.tool, job: result.job.name, inputs: result.inputs.map((i) => ({ file: i.file, sha256: i.sha256 })) };
  files.set('envelope.glb', await writeGlb([{ name: 'envelope', mesh: envelope, colour: [0.1, 0.45, 0.7, 1] }], about));
  if (cavity) files.set('cavity.stl', writeStl(cavity, 'voidgauge cavity, mm'));
  if (measured.body) files.set('body.stl', writeStl(measured.body, 'voidgauge body, what goes the way in, mm'));
  for (const [name, csv] of result.tank ? tankCharts(result.tank) : []) files.set(name, new TextEncoder().encode(withCautions(csv)));
  if (result.routes) files.set('routes.csv', new TextEncoder().encode(routesCsv(result.routes)));
  files.set(DRAWING_FILE, new TextEncoder().encode(sheetOf(measured, context)));
  const swept: { name: string; mesh: Mesh }[] = [];
  for (const s of measured.scans.filter((scan) => moves(scan) && isObstacle(scan))) {
    const { mesh } = await sweptMesh(s, standOff(s), 2 * result.grid.step_mm, context);
    swept.push({ name: `swept-${s.name}`, mesh });
    files.set(`swept-${s.name}.stl`, writeStl(mesh, `voidgauge room of ${s.name} in motion with its clearance, mm`.slice(0, 79)));
  }
  if (result.placings) files.set('placings.json', new TextEncoder().encode(placingsText(result.placings)));
  files.set('scene.glb', await writeScene(measured, { scans, parts, swept }, context.pool));
  const coarse = await dials;
  files.set('coarse.json', new TextEncoder().encode(JSON.stringify(coarse.header)));
  files.set('coarse.bin', new Uint8Array(gzipSync(coarse.bytes)));
  return files;
}

/** What is read off a dip chart or a sender, as CSV by file name. */
function tankCharts({ dip, dip_attitudes: dips = [], sender }: TankResult): [string, string][] {
  return [
    ['dip.csv', dipCsv(dip)],
    ...(dips.length > 0 ? [['dip-attitudes.csv', dipChartsCsv(dips)] satisfies [string, string]] : []),
    ...(sender ? [['sender.csv', senderCsv(sender)] satisfies [string, string]] : []),
  ];
}

await run(workerData as Order);

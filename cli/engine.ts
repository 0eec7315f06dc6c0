import { isAbsolute, join } from 'node:path';
import { parentPort, workerData } from 'node:worker_threads';
import { gzipSync } from 'node:zlib';
import type { Context } from '../src/core/context.ts';
import { writeGlb } from '../src/io/write-glb.ts';
import { writeStl } from '../src/io/write-stl.ts';
import type { Job } from '../src/job/job.ts';
import { type SentError, sendError } from '../src/parallel/messages.ts';
import { type Files, type Measured, type MeasureOptions, measure } from '../src/pipeline/measure.ts';
import { coarseFields } from '../src/report/coarse.ts';
import type { Result } from '../src/report/result.ts';
import { digestedSource } from './files.ts';
import { threadPool } from './pool.ts';
import { writeScene } from './scene.ts';

/** What the thread is asked to do. */
export interface Order {
  readonly job: Job;
  /** The job file's folder: its scans are named from there. */
  readonly folder: string;
  readonly options: MeasureOptions;
  readonly workers: number;
  /** Whether meshes are wanted too. */
  readonly meshes: boolean;
}

/** What it says. The last message is a result or an error. */
export type Said =
  | { readonly progress: readonly [stage: string, done: number] }
  | { readonly result: Result; readonly files: ReadonlyMap<string, Uint8Array> }
  | { readonly error: SentError };

/**
 * The whole computation, in a thread of its own: so that the main thread stays free to draw progress and to end at once when it is told
 * to, whatever runs here.
 */
async function run(order: Order): Promise<void> {
  const say = (said: Said, transfer: readonly ArrayBuffer[] = []): void => parentPort?.postMessage(said, transfer);
  const pool = threadPool(order.workers);
  try {
    const progress = (stage: string, done: number): void => say({ progress: [stage, done] });
    const context = { pool, progress, cancelled: () => false };
    const measured = await measure(order.job, filesIn(order.folder), context, order.options);
    const files = order.meshes ? await meshFiles(measured, context) : new Map<string, Uint8Array<ArrayBuffer>>();
    say(
      { result: measured.result, files },
      [...files.values()].map((bytes) => bytes.buffer),
    );
  } catch (error) {
    say({ error: sendError(error) });
  } finally {
    await pool.close();
  }
}

const filesIn = (folder: string): Files => ({ open: (name) => digestedSource(isAbsolute(name) ? name : join(folder, name)) });

async function meshFiles(measured: Measured, context: Context): Promise<Map<string, Uint8Array<ArrayBuffer>>> {
  const { envelope, cavity, result } = measured;
  const files = new Map([['envelope.stl', writeStl(envelope, 'voidgauge envelope, mm')]]);
  const about = { tool: result.tool, job: result.job.name, inputs: result.inputs.map((i) => ({ file: i.file, sha256: i.sha256 })) };
  files.set('envelope.glb', await writeGlb([{ name: 'envelope', mesh: envelope, colour: [0.1, 0.45, 0.7, 1] }], about));
  if (cavity) files.set('cavity.stl', writeStl(cavity, 'voidgauge cavity, mm'));
  files.set('scene.glb', await writeScene(measured));
  const coarse = await coarseFields(measured.coarse, context);
  files.set('coarse.json', new TextEncoder().encode(JSON.stringify(coarse.header)));
  files.set('coarse.bin', new Uint8Array(gzipSync(coarse.bytes)));
  return files;
}

await run(workerData as Order);

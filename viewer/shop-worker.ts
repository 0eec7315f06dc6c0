import { gzipSync } from 'fflate';
import { webPool } from '#pool';
import { Fault } from '../src/core/fault.ts';
import type { Mesh } from '../src/core/mesh.ts';
import { writeStl } from '../src/io/write-stl.ts';
import { parseJob } from '../src/job/job.ts';
import { closestApproaches } from '../src/pipeline/closest.ts';
import { type DrawnPart, drawnParts } from '../src/pipeline/drawn.ts';
import { type Files, type Measured, measure } from '../src/pipeline/measure.ts';
import { sheetOf } from '../src/pipeline/sheet.ts';
import { coarseFields } from '../src/report/coarse.ts';
import { DRAWING_FILE } from '../src/report/files.ts';

/** A drawing's part as it crosses threads. */
export interface SentThing {
  readonly name: string;
  readonly kind: 'scan' | 'removed' | 'envelope' | 'cavity' | DrawnPart['kind'];
  readonly mesh: Mesh;
  readonly clearance?: number;
}

export interface ShopOrder {
  /** The job file's text and name. */
  readonly job: string;
  readonly jobName: string;
  readonly files: readonly File[];
  readonly workers: number;
  readonly version: string;
}

export type ShopSaid =
  | { readonly stage: string; readonly done: number }
  | { readonly files: ReadonlyMap<string, Uint8Array<ArrayBuffer>>; readonly things: readonly SentThing[] }
  | { readonly fault: string };

/**
 * The main job in the page: the same pipeline as on the command line, over files that were dropped. Ended from outside, by ending
 * this thread.
 */
async function run(order: ShopOrder): Promise<void> {
  const say = (said: ShopSaid): void => postMessage(said);
  const pool = webPool(order.workers);
  try {
    const job = parseJob(order.job, order.jobName);
    const context = { pool, progress: (stage: string, done: number) => say({ stage, done }), cancelled: () => false };
    const measured = await measure(job, filesAmong(order.files), context, { version: order.version });
    const coarse = await coarseFields(measured.coarse, context);
    const parts = await drawnParts(measured.drawn, context);
    const result = { ...measured.result, closest: await closestApproaches(measured, context) };
    const files = resultFiles({ ...measured, result }, coarse);
    files.set(DRAWING_FILE, new TextEncoder().encode(sheetOf(measured, context)));
    say({ files, things: thingsOf(measured, parts) });
  } catch (e) {
    say({ fault: e instanceof Fault ? e.toText() : `${e instanceof Error ? e.message : String(e)}` });
  } finally {
    await pool.close();
  }
}

/** Files are found by their own names, whatever folder the job names before them. */
const filesAmong = (files: readonly File[]): Files => ({
  open: async (name) => {
    const file = files.find((f) => f.name === name.replace(/^.*[\\/]/, ''));
    if (!file)
      throw new Fault({
        code: 'file-missing',
        what: 'A scan that the job names was not dropped.',
        where: name,
        got: files.map((f) => f.name).join(', ') || 'no files',
        hint: 'drop it together with the job',
      });
    const bytes = new Uint8Array(await file.arrayBuffer());
    return { name: file.name, size: bytes.length, bytes: async () => bytes, digest: () => sha256(bytes) };
  },
});

async function sha256(bytes: Uint8Array<ArrayBuffer>): Promise<string> {
  const hash = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
  return [...hash].map((b) => b.toString(16).padStart(2, '0')).join('');
}

function resultFiles(
  { result, envelope, cavity }: Measured,
  coarse: Awaited<ReturnType<typeof coarseFields>>,
): Map<string, Uint8Array<ArrayBuffer>> {
  const text = (value: unknown): Uint8Array<ArrayBuffer> => new TextEncoder().encode(`${JSON.stringify(value, null, 2)}\n`);
  const files = new Map([
    ['result.json', text(result)],
    ['envelope.stl', writeStl(envelope, 'voidgauge envelope, mm')],
    ['coarse.json', text(coarse.header)],
    ['coarse.bin', gzipSync(coarse.bytes)],
  ]);
  if (cavity) files.set('cavity.stl', writeStl(cavity, 'voidgauge cavity, mm'));
  return files;
}

function thingsOf({ scans, envelope, cavity }: Measured, parts: readonly DrawnPart[]): SentThing[] {
  const things: SentThing[] = scans.map((s) => ({
    name: s.name,
    kind: s.settings.role === 'removed' ? 'removed' : 'scan',
    mesh: plain(s.mesh),
    clearance: s.settings.clearance,
  }));
  things.push({ name: 'envelope', kind: 'envelope', mesh: plain(envelope) });
  if (cavity) things.push({ name: 'cavity', kind: 'cavity', mesh: plain(cavity) });
  for (const { name, kind, mesh } of parts) things.push({ name, kind, mesh: plain(mesh) });
  return things;
}

/** A copy on memory of its own, which the drawing may change. */
const plain = (m: Mesh): Mesh => ({ origin: m.origin, positions: new Float32Array(m.positions), indices: new Uint32Array(m.indices) });

addEventListener('message', (e: MessageEvent<ShopOrder>) => run(e.data));

import { randomBytes, timingSafeEqual } from 'node:crypto';
import { stat } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { basename, dirname, isAbsolute, join, resolve } from 'node:path';
import { Fault } from '../src/core/fault.ts';
import { changedJob } from '../src/job/changes.ts';
import { type Job, parseJob } from '../src/job/job.ts';
import type { Result } from '../src/report/result.ts';
import { type Running, startEngine } from './compute.ts';
import { checkOutFolder, readText, writeFolder } from './files.ts';
import { originOf, resultFiles } from './result-folder.ts';
import { VERSION } from './version.ts';

/** How far a run that the page asked for is. */
export type AgainState =
  | { readonly state: 'none' | 'stopped' }
  | { readonly state: 'running'; readonly stage: string; readonly done: number }
  | { readonly state: 'failed'; readonly says: string }
  /** `page` is the way of the new result's page, from the server's root; `folder` the name of the new folder. */
  | { readonly state: 'done'; readonly page: string; readonly folder: string };

/** What the page is told. */
export type AgainAnswer = AgainState & {
  /** To be sent back with every order. */
  readonly token: string;
  /** Why there can be no run; missing when there can. */
  readonly why?: string;
  /** Fine cell of a run, mm. */
  readonly step_mm?: number;
};

/**
 * Measures a shown result's job again with what the page's dials say, at the job's own step, into a new folder beside the old one. One run at
 * a time.
 */
export class Again {
  /** Result folders by the way under which the page shows them: '' is the first. */
  readonly folders: Map<string, string>;
  private readonly token = randomBytes(24).toString('base64url');
  /** Folder of the job's scans, when it is not the one that the results tell. */
  private readonly scans: string | undefined;
  private running: Running<Result> | undefined;
  private now: AgainState = { state: 'none' };

  constructor(out: string, scans?: string) {
    this.folders = new Map([['', resolve(out)]]);
    this.scans = scans;
  }

  /** Whether the token is the one that was handed out. */
  knows(token: unknown): boolean {
    const [a, b] = [Buffer.from(typeof token === 'string' ? token : ''), Buffer.from(this.token)];
    return a.length === b.length && timingSafeEqual(a, b);
  }

  async answer(way: string): Promise<AgainAnswer> {
    const about = await this.sourceOf(way).then(
      ({ job }) => ({ step_mm: job.step }),
      (error: unknown) => ({ why: sentenceOf(error) }),
    );
    return { token: this.token, ...about, ...this.now };
  }

  /** Starts a run for the result shown under `way`; throws a Fault when that cannot be. */
  async start(way: string, changes: string): Promise<void> {
    if (this.running)
      throw new Fault({ code: 'again-busy', what: 'A run is already going on.', hint: 'stop it first, or wait until it is done' });
    const { job, folder } = await this.sourceOf(way);
    const changed = changedJob(job, changes);
    await checkOutFolder(await this.target(), false);
    // Asked again: another order may have come in between.
    if (this.running) throw new Fault({ code: 'again-busy', what: 'A run is already going on.' });
    this.now = { state: 'running', stage: 'reading scans', done: 0 };
    const running = startEngine<Result>(
      { ask: 'measure', job: changed, folder, options: { version: VERSION }, workers: availableParallelism(), meshes: true },
      (stage, done) => {
        if (this.running === running) this.now = { state: 'running', stage, done };
      },
    );
    this.running = running;
    this.finish(running, folder).catch((error: unknown) => {
      if (this.running !== running) return;
      this.running = undefined;
      this.now = { state: 'failed', says: wordsOf(error) };
    });
  }

  private async finish(running: Running<Result>, folder: string): Promise<void> {
    const done = await running.done;
    if (this.running !== running) return;
    const target = await this.target();
    await writeFolder(target, resultFiles(done, target, { folder }));
    const way = `again-${this.folders.size}`;
    this.folders.set(way, target);
    this.running = undefined;
    this.now = { state: 'done', page: `${way}/`, folder: basename(target) };
  }

  /** Ends a run; nothing of it is kept. */
  async stop(): Promise<void> {
    const { running } = this;
    if (!running) return;
    this.running = undefined;
    this.now = { state: 'stopped' };
    await running.stop();
  }

  /** The first folder beside the first one whose name is not taken: OUT-2, OUT-3, … */
  private async target(): Promise<string> {
    for (let n = 2; ; n++) {
      const path = `${this.folders.get('')}-${n}`;
      if (!(await stat(path).catch(() => undefined))) return path;
    }
  }

  /** The job behind a result, checked, and where its scans are. */
  private async sourceOf(way: string): Promise<{ job: Job; folder: string }> {
    const out = this.folders.get(way);
    if (out === undefined) throw new Fault({ code: 'again-none', what: 'There is no such result.' });
    const folder = this.scans ?? (await originOf(out));
    if (folder === undefined)
      throw new Fault({
        code: 'again-origin',
        what: 'The results do not say where their scan files are.',
        hint: 'voidgauge view OUT --scans FOLDER, the folder of the job file',
      });
    const path = join(out, 'result.json');
    const { job: text } = JSON.parse(await readText(path, 'a result')) as { job?: unknown };
    const job = parseJob(JSON.stringify(text ?? null), path);
    for (const { file } of Object.values(job.scans))
      if (!(await stat(isAbsolute(file) ? file : join(folder, file)).catch(() => undefined)))
        throw new Fault({
          code: 'again-scans',
          what: `The scan ${basename(file)} is no longer where it was.`,
          where: dirname(isAbsolute(file) ? file : join(folder, file)),
          hint: 'voidgauge view OUT --scans FOLDER, the folder of the job file',
        });
    return { job, folder };
  }
}

const wordsOf = (error: unknown): string =>
  error instanceof Fault ? error.toText() : error instanceof Error ? error.message : String(error);

/** The same on one line. */
const sentenceOf = (error: unknown): string =>
  error instanceof Fault ? `${error.message}${error.detail.hint ? ` Try: ${error.detail.hint}` : ''}` : wordsOf(error);

import { receiveError } from '../src/parallel/messages.ts';
import type { Done, Order, Said } from './engine.ts';
import { showProgress } from './progress.ts';
import { endOnSignals } from './report.ts';
import { spawnThread } from './spawn.ts';
import { SCANS_ONLY, wholeRun } from './stages.ts';

/** Stages whose searches have an answer at any time: the first Ctrl-C in them ends the search, not the run. */
const SEARCHES: readonly string[] = ['stowage'];

/** The run at work, as far as signals concern it; a process may run several, one after the other. */
let current: { readonly end: () => void; readonly hold: () => boolean } | undefined;

/**
 * Runs the engine's thread to its end, with progress on stderr. A signal ends the process at once; but the first Ctrl-C while stowage is searched
 * for ends that search with its best so far, and the run goes on to write it.
 */
export async function compute<T>(order: Order): Promise<Done<T>> {
  const shown = showProgress(process.stderr);
  const enough = new Int32Array(new SharedArrayBuffer(4));
  let searching = false;
  const hold = (): boolean => {
    if (!searching || Atomics.load(enough, 0) !== 0) return false;
    Atomics.store(enough, 0, 1);
    shown.end();
    process.stderr.write('The search ends with its best so far; Ctrl-C again stops the run.\n');
    return true;
  };
  if (!current)
    endOnSignals(
      () => current?.end(),
      () => current?.hold() ?? false,
    );
  current = { end: shown.end, hold };
  const heard = (stage: string, done: number): void => {
    const before = searching;
    searching = SEARCHES.includes(stage) && done < 1;
    if (!searching || before || Atomics.load(enough, 0) !== 0) return;
    shown.end();
    process.stderr.write('Ctrl-C now ends the search for stowage with its best so far.\n');
  };
  return startEngine<T>({ ...order, enough }, shown.progress, heard).done.finally(() => {
    searching = false;
    shown.end();
  });
}

/** A run of the engine's thread: its end, and how to stop it before that (`done` is then rejected). */
export interface Running<T> {
  readonly done: Promise<Done<T>>;
  stop(): Promise<unknown>;
}

type Told = (stage: string, done: number) => void;

/** Starts the engine's thread; `progress` is told the stage and the share of the whole that is done, 0..1, `heard` the share of the stage. */
export function startEngine<T>(order: Order, progress: Told, heard: Told = () => {}): Running<T> {
  const whole = order.ask === 'survey' && order.scansOnly ? wholeRun(SCANS_ONLY) : wholeRun();
  const thread = spawnThread(new URL('./engine.ts', import.meta.url), { workerData: order });
  const done = new Promise<Done<T>>((resolve, reject) => {
    thread.on('message', (said: Said) => {
      if ('progress' in said) {
        heard(...said.progress);
        const { stage, done } = whole(...said.progress);
        progress(stage, done);
      } else if ('error' in said) reject(receiveError(said.error));
      // The order says what its answer is.
      else resolve(said as Done<T>);
    });
    thread.on('error', reject);
    thread.on('exit', (code) => reject(new Error(`the computing thread ended without a result (code ${code})`)));
  });
  return { done, stop: () => thread.terminate() };
}

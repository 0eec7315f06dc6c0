import { receiveError } from '../src/parallel/messages.ts';
import type { Done, Order, Said } from './engine.ts';
import { showProgress } from './progress.ts';
import { endOnSignals } from './report.ts';
import { spawnThread } from './spawn.ts';
import { wholeRun } from './stages.ts';

/** Runs the engine's thread to its end, with progress on stderr; a signal ends the process at once. */
export async function compute<T>(order: Order): Promise<Done<T>> {
  const shown = showProgress(process.stderr);
  endOnSignals(shown.end);
  return startEngine<T>(order, shown.progress).done.finally(shown.end);
}

/** A run of the engine's thread: its end, and how to stop it before that (`done` is then rejected). */
export interface Running<T> {
  readonly done: Promise<Done<T>>;
  stop(): Promise<unknown>;
}

/** Starts the engine's thread; `progress` is told the stage and the share of the whole that is done, 0..1. */
export function startEngine<T>(order: Order, progress: (stage: string, done: number) => void): Running<T> {
  const whole = wholeRun();
  const thread = spawnThread(new URL('./engine.ts', import.meta.url), { workerData: order });
  const done = new Promise<Done<T>>((resolve, reject) => {
    thread.on('message', (said: Said) => {
      if ('progress' in said) {
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

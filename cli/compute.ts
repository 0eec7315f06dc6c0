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
  return engine<T>(order, shown.progress).finally(shown.end);
}

function engine<T>(order: Order, progress: (stage: string, done: number) => void): Promise<Done<T>> {
  const whole = wholeRun();
  const thread = spawnThread(new URL('./engine.ts', import.meta.url), { workerData: order });
  return new Promise((resolve, reject) => {
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
}

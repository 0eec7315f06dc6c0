import { spawn } from '#spawn';
import type { CoarseHeader } from '../src/report/coarse.ts';
import { gunzip, type Source } from './data.ts';
import type { Dials, QuickResult, Settings } from './quick.ts';

export type ToWorker =
  | {
      readonly id: number;
      readonly header: CoarseHeader;
      readonly bytes: ArrayBuffer;
      readonly settings: Settings;
    }
  | { readonly id: number; readonly dials: Dials };

export type FromWorker =
  | { readonly id: number; readonly result: QuickResult; readonly done: boolean }
  | { readonly id: number; readonly error: string };

/** Recomputes in a worker; only the newest turn is answered, and it as it grows. */
export class Engine {
  private readonly worker: Worker;
  private id = 0;
  private answer: { result: (r: QuickResult, done: boolean) => void; error: (text: string) => void } | undefined;

  /** Takes the coarse fields of a result; rejects with a sentence when they cannot be had. */
  static async open(source: Source, header: CoarseHeader, settings: Settings): Promise<Engine> {
    const bytes = await gunzip(await source.read('coarse.bin'));
    return new Engine({ id: 0, header, bytes, settings });
  }

  private constructor(first: ToWorker & { bytes: ArrayBuffer }) {
    this.worker = spawn();
    this.worker.addEventListener('message', (event: MessageEvent<FromWorker>) => {
      const { data } = event;
      if (data.id !== this.id && !(data.id === 0 && 'error' in data)) return;
      if ('error' in data) this.answer?.error(data.error);
      else this.answer?.result(data.result, data.done);
    });
    this.worker.addEventListener('error', (e) => this.answer?.error(e.message || 'the second thread did not start'));
    this.worker.postMessage(first, [first.bytes]);
  }

  turn(dials: Dials, answer: { result: (r: QuickResult, done: boolean) => void; error: (text: string) => void }): void {
    this.answer = answer;
    this.worker.postMessage({ id: ++this.id, dials } satisfies ToWorker);
  }
}

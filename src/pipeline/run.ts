import { type Context, checkCancelled } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import type { ByteSource } from '../io/source.ts';
import type { DatumResult } from '../scan/datum.ts';
import type { PlacingResult } from '../scan/placing.ts';

/** A scan file as the pipeline takes it: its bytes, and their SHA-256 (hex) once they have been read. */
export interface JobFile extends ByteSource {
  digest(): Promise<string>;
}

export interface Files {
  /** Opens a file by the name that the job gives it. */
  open(name: string): Promise<JobFile>;
}

/** Clock and notes of one run. */
export class Run {
  readonly timings: Record<string, number> = {};
  readonly notes: Note[] = [];
  /** Of the scans whose place was found. */
  readonly placings: PlacingResult[] = [];
  /** The frame that the scans were moved into; null without one of the job's own. */
  datum: DatumResult | null = null;
  readonly context: Context;
  private last = performance.now();

  constructor(context: Context) {
    this.context = context;
  }

  /** A stage that runs beside others: its time is its own, from start to end. */
  async beside<T>(stage: string, work: Promise<T>): Promise<T> {
    const from = performance.now();
    const value = await work;
    this.timings[stage] = Math.round(performance.now() - from) / 1000;
    this.context.progress(stage, 1);
    checkCancelled(this.context);
    return value;
  }

  /** Ends a stage: its time is kept, and a cancelled run stops here. */
  done(stage: string): void {
    const now = performance.now();
    this.timings[stage] = Math.round(now - this.last) / 1000;
    this.last = now;
    this.context.progress(stage, 1);
    checkCancelled(this.context);
  }
}

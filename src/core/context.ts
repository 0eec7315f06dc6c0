import { Fault } from './fault.ts';

/**
 * A pure function that may run here or in a worker. Arguments and result are plain, cloneable data; bulk data are typed
 * arrays that the pool may share between threads. `name` finds the same function in a worker.
 */
export interface Task<A, R> {
  readonly name: string;
  readonly run: (args: A) => R | Promise<R>;
}

/** Runs tasks. The bytes that come out never depend on `size`. */
export interface Pool {
  /** How many tasks run at once; 1 means inline. */
  readonly size: number;
  /** Runs `task` once for each argument; results in the order of the arguments. The first failure rejects. */
  map<A, R>(task: Task<A, R>, args: readonly A[]): Promise<R[]>;
  /** Memory that every task sees: shared where the platform has it, plain otherwise. */
  allocate(bytes: number): ArrayBufferLike;
  close(): Promise<void>;
}

/** What a long computation needs of its surroundings. */
export interface Context {
  readonly pool: Pool;
  /** Called with a stage's name and the share of it that is done, 0..1. */
  progress(stage: string, done: number): void;
  /** Looked at between slabs; when set, the run ends with a Fault `cancelled`. */
  readonly cancelled: () => boolean;
  /** One number in memory that all threads share: once it is not 0, searches that have an answer at any time end with their best so far. */
  readonly enough?: Int32Array;
}

export function checkCancelled(context: Context): void {
  if (context.cancelled()) throw new Fault({ code: 'cancelled', what: 'The run was cancelled; nothing was written.', exit: 1 });
}

/** What a task that is a whole computation works with: this thread alone, on plain memory. */
export const ALONE: Context = {
  pool: {
    size: 1,
    map: inTurn,
    allocate: (bytes) => new ArrayBuffer(bytes),
    close: async () => {},
  },
  progress: () => {},
  cancelled: () => false,
};

/** Runs a task here for one argument after another. */
export async function inTurn<A, R>(task: Task<A, R>, args: readonly A[]): Promise<R[]> {
  const out: R[] = [];
  for (const a of args) out.push(await task.run(a));
  return out;
}

/** Runs a task once. */
export async function once<A, R>(pool: Pool, task: Task<A, R>, args: A): Promise<R> {
  return (await pool.map(task, [args]))[0];
}

export const allocateF32 = (pool: Pool, n: number): Float32Array => new Float32Array(pool.allocate(n * 4));
export const allocateI32 = (pool: Pool, n: number): Int32Array => new Int32Array(pool.allocate(n * 4));

/** Splits 0..n into about `parts` runs [from, to). */
export function slabs(n: number, parts: number): { from: number; to: number }[] {
  const count = Math.max(1, Math.min(n, parts));
  return Array.from({ length: count }, (_, i) => ({ from: Math.floor((i * n) / count), to: Math.floor(((i + 1) * n) / count) }));
}

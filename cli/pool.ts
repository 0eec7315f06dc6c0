import type { Worker } from 'node:worker_threads';
import type { Pool, Task } from '../src/core/context.ts';
import { inlinePool } from '../src/parallel/inline.ts';
import { type Reply, receiveError } from '../src/parallel/messages.ts';
import { spawnThread } from './spawn.ts';

/** A task that waits or runs. */
interface Call {
  readonly name: string;
  readonly args: unknown;
  /** Called once, with the reply or with what went wrong. */
  readonly done: (outcome: { value: unknown } | { error: Error }) => void;
}

/**
 * A pool of `size` threads over shared memory; below 2 everything runs here. Threads start with the first task. They do not keep the
 * process alive while they have nothing to do. After `close`, or once a thread has died, every further `map` rejects.
 */
export function threadPool(size: number): Pool {
  return size < 2 ? inlinePool : new ThreadPool(Math.floor(size));
}

class ThreadPool implements Pool {
  readonly size: number;
  private readonly threads: Worker[] = [];
  private readonly idle: Worker[] = [];
  private readonly waiting: Call[] = [];
  private readonly running = new Map<number, Call>();
  private broken: Error | undefined;
  private nextId = 1;

  constructor(size: number) {
    this.size = size;
  }

  allocate(bytes: number): ArrayBufferLike {
    return new SharedArrayBuffer(bytes);
  }

  /** The first failure drops what still waits of this map; it is reported once the rest of the map has come to an end, so memory is quiet by then. */
  map<A, R>(task: Task<A, R>, args: readonly A[]): Promise<R[]> {
    if (this.broken) return Promise.reject(this.broken);
    return new Promise((resolve, reject) => {
      const results = new Array<R>(args.length);
      const own = new Set<Call>();
      let failure: Error | undefined;
      let left = args.length;
      const settle = (): void => {
        if (left === 0) failure ? reject(failure) : resolve(results);
      };
      args.forEach((arg, i) => {
        const call: Call = {
          name: task.name,
          args: arg,
          done: (outcome) => {
            left--;
            if ('value' in outcome) results[i] = outcome.value as R;
            else if (!failure) {
              failure = outcome.error;
              left -= this.drop(own);
            }
            settle();
          },
        };
        own.add(call);
        this.waiting.push(call);
      });
      this.dispatch();
      settle();
    });
  }

  async close(): Promise<void> {
    this.fail(new Error('the pool is closed'));
    await Promise.all(this.threads.map((thread) => thread.terminate()));
  }

  /** Takes the calls of `own` out of the queue; returns how many there were. */
  private drop(own: ReadonlySet<Call>): number {
    const before = this.waiting.length;
    const keep = this.waiting.filter((call) => !own.has(call));
    this.waiting.splice(0, before, ...keep);
    return before - keep.length;
  }

  private dispatch(): void {
    while (this.waiting.length > 0) {
      const thread = this.idle.pop() ?? (this.threads.length < this.size ? this.start() : undefined);
      if (!thread) return;
      const call = this.waiting.shift()!;
      const id = this.nextId++;
      this.running.set(id, call);
      thread.ref();
      try {
        thread.postMessage({ id, name: call.name, args: call.args });
      } catch (error) {
        // Arguments that cannot be sent: the thread is still good.
        this.running.delete(id);
        this.rest(thread);
        call.done({ error: error instanceof Error ? error : new Error(String(error)) });
      }
    }
  }

  private start(): Worker {
    const thread = spawnThread(new URL('./worker.ts', import.meta.url));
    this.threads.push(thread);
    thread.on('message', (reply: Reply) => {
      const call = this.running.get(reply.id);
      this.running.delete(reply.id);
      this.rest(thread);
      call?.done('error' in reply ? { error: receiveError(reply.error) } : { value: reply.value });
      this.dispatch();
    });
    thread.on('error', (error) => this.fail(error instanceof Error ? error : new Error(String(error))));
    thread.on('exit', (code) => this.fail(new Error(`a worker thread ended by itself (code ${code})`)));
    return thread;
  }

  private rest(thread: Worker): void {
    thread.unref();
    this.idle.push(thread);
  }

  /** Nothing more can run: everything that waits or runs fails with `error`. */
  private fail(error: Error): void {
    if (this.broken) return;
    this.broken = error;
    const calls = [...this.running.values(), ...this.waiting];
    this.running.clear();
    this.waiting.length = 0;
    for (const call of calls) call.done({ error });
  }
}

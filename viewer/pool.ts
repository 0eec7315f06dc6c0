import type { Pool, Task } from '../src/core/context.ts';
import { inlinePool } from '../src/parallel/inline.ts';
import { type Reply, type Request, receiveError } from '../src/parallel/messages.ts';

interface Call {
  readonly request: Request;
  readonly done: (reply: Reply) => void;
}

/** A pool of web workers over shared memory; where the page may not share memory, everything runs here. */
export function webPool(size: number): Pool {
  return size < 2 || typeof SharedArrayBuffer === 'undefined' || !globalThis.crossOriginIsolated ? inlinePool : new WebPool(size);
}

class WebPool implements Pool {
  readonly size: number;
  private readonly idle: Worker[] = [];
  private readonly workers: Worker[] = [];
  private readonly waiting: Call[] = [];
  private readonly running = new Map<Worker, Call>();
  private nextId = 1;

  constructor(size: number) {
    this.size = size;
  }

  allocate(bytes: number): ArrayBufferLike {
    return new SharedArrayBuffer(bytes);
  }

  /** Reports the first failure once all calls of this map have ended, so that memory is quiet by then. */
  async map<A, R>(task: Task<A, R>, args: readonly A[]): Promise<R[]> {
    const replies = await Promise.all(args.map((a) => this.call(task.name, a)));
    return replies.map((r) => {
      if ('error' in r) throw receiveError(r.error);
      return r.value as R;
    });
  }

  async close(): Promise<void> {
    for (const w of this.workers) w.terminate();
    this.workers.length = 0;
    this.idle.length = 0;
  }

  private call(name: string, args: unknown): Promise<Reply> {
    return new Promise((done) => {
      this.waiting.push({ request: { id: this.nextId++, name, args }, done });
      this.dispatch();
    });
  }

  private dispatch(): void {
    while (this.waiting.length > 0) {
      const worker = this.idle.pop() ?? (this.workers.length < this.size ? this.start() : undefined);
      const call = worker && this.waiting.shift();
      if (!worker || !call) return;
      this.running.set(worker, call);
      worker.postMessage(call.request);
    }
  }

  private start(): Worker {
    const worker = new Worker(new URL('./pool-worker.ts', import.meta.url), { type: 'module' });
    this.workers.push(worker);
    const end = (reply: (id: number) => Reply): void => {
      const call = this.running.get(worker);
      this.running.delete(worker);
      this.idle.push(worker);
      call?.done(reply(call.request.id));
      this.dispatch();
    };
    worker.addEventListener('message', (e: MessageEvent<Reply>) => end(() => e.data));
    worker.addEventListener('error', (e) => end((id) => ({ id, error: { message: e.message || 'a worker did not start' } })));
    return worker;
  }
}

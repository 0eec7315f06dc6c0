import { Worker, type WorkerOptions } from 'node:worker_threads';

/** Starts a file of ours as a thread, named by its source (`new URL('./worker.ts', import.meta.url)`): built, that is the .js beside it; from source, a loader for TypeScript goes first. */
export function spawnThread(source: URL, options: WorkerOptions = {}): Worker {
  if (!import.meta.url.endsWith('.ts')) return new Worker(new URL(source.href.replace(/\.ts$/, '.js')), options);
  return new Worker(new URL('./from-source.mjs', import.meta.url), { ...options, argv: [source.href] });
}

import { Worker, type WorkerOptions } from 'node:worker_threads';

/** Starts cli/<name> as a thread: built, a plain .js file; from source, by way of a loader for TypeScript. */
export function spawnThread(name: 'worker' | 'engine', options: WorkerOptions = {}): Worker {
  if (!import.meta.url.endsWith('.ts')) return new Worker(new URL(`./${name}.js`, import.meta.url), options);
  const file = new URL(`./${name}.ts`, import.meta.url).href;
  return new Worker(new URL('./from-source.mjs', import.meta.url), { ...options, argv: [file] });
}

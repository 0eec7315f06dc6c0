/** A worker from its own file, for the served page. */
export const spawn = (): Worker => new Worker(new URL('./worker.ts', import.meta.url), { type: 'module' });

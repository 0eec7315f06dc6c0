/** Workers from their own files, for the served page. */
export const spawn = (): Worker => new Worker(new URL('./worker.ts', import.meta.url), { type: 'module' });
export const spawnShop = async (): Promise<Worker> => new Worker(new URL('./shop-worker.ts', import.meta.url), { type: 'module' });

import InsideWorker from './worker.ts?worker&inline';

/** A worker from within the page's own script, for the single file. */
export const spawn = (): Worker => new InsideWorker();

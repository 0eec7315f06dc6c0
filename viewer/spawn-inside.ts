import InsideShop from './shop-worker.ts?worker&inline';
import InsideWorker from './worker.ts?worker&inline';

/** Workers from within the page's own script, for the single file. */
export const spawn = (): Worker => new InsideWorker();
export const spawnShop = (): Worker => new InsideShop();

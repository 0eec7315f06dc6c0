import { fromBase64, gunzip } from './data.ts';
import InsideWorker from './worker.ts?worker&inline';

/** Workers from within the page itself, for the single file. */
export const spawn = (): Worker => new InsideWorker();

/** The main job's program lies beside the page's own, packed: a page that holds a result has none. */
export async function spawnShop(): Promise<Worker> {
  const packed = document.querySelector('script[data-part="shop-worker"]')?.textContent;
  if (!packed) throw new Error('This page shows a result; it cannot measure.');
  const code = await gunzip(fromBase64(packed));
  return new Worker(URL.createObjectURL(new Blob([code], { type: 'text/javascript' })));
}

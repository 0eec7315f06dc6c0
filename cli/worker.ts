import { parentPort } from 'node:worker_threads';
import { answer, type Request } from '../src/parallel/messages.ts';

// A pool's thread: answers the requests that the pool sends, one at a time.
parentPort?.on('message', async (request: Request) => parentPort?.postMessage(await answer(request)));

import { parentPort } from 'node:worker_threads';
import { answer, ownMemory, type Request } from '../src/parallel/messages.ts';

// A pool's thread: answers the requests that the pool sends, one at a time.
parentPort?.on('message', async (request: Request) => {
  const reply = await answer(request);
  parentPort?.postMessage(reply, ownMemory(reply));
});

import { answer, type Request } from '../src/parallel/messages.ts';

/** One thread of the page's pool: runs the task that it is sent, on shared memory, and says how it ended. */
addEventListener('message', async (e: MessageEvent<Request>) => {
  postMessage(await answer(e.data));
});

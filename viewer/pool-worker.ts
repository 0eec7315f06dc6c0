import { answer, ownMemory, type Request } from '../src/parallel/messages.ts';

/** One thread of the page's pool: runs the task that it is sent, on shared memory, and says how it ended. */
addEventListener('message', async (e: MessageEvent<Request>) => {
  const reply = await answer(e.data);
  postMessage(reply, { transfer: ownMemory(reply) });
});

import { parentPort } from 'node:worker_threads';
import { answer, type Request } from '../src/parallel/messages.ts';

// A pool's thread: answers requests one after the other.
parentPort?.on('message', (request: Request) => parentPort?.postMessage(answer(request)));

import { Fault, type FaultDetail } from '../core/fault.ts';
import { findTask } from './tasks.ts';

/** What a pool sends to a worker: run the task `name` on `args`. */
export interface Request {
  readonly id: number;
  readonly name: string;
  readonly args: unknown;
}

/** An error in a form that crosses threads; a Fault keeps its detail. */
export interface SentError {
  readonly message: string;
  readonly stack?: string;
  readonly fault?: FaultDetail;
}

/** What comes back, with the request's id. */
export type Reply = { readonly id: number; readonly value: unknown } | { readonly id: number; readonly error: SentError };

/** Runs a request where it arrives. Never rejects: what goes wrong is in the reply. */
export async function answer(request: Request): Promise<Reply> {
  const { id, name, args } = request;
  try {
    const task = await findTask(name);
    return { id, value: await task.run(args as never) };
  } catch (error) {
    return { id, error: sendError(error) };
  }
}

export function sendError(error: unknown): SentError {
  if (error instanceof Fault) return { message: error.message, stack: error.stack, fault: error.detail };
  if (error instanceof Error) return { message: `${error.name}: ${error.message}`, stack: error.stack };
  return { message: String(error) };
}

export function receiveError(sent: SentError): Error {
  if (sent.fault) return new Fault(sent.fault);
  const error = new Error(sent.message);
  if (sent.stack) error.stack = sent.stack;
  return error;
}

/** The memory that a reply's typed arrays stand in: nobody here needs it any more, so it goes along instead of being copied. Shared memory stays. */
export function ownMemory(reply: Reply): ArrayBuffer[] {
  const found = new Set<ArrayBuffer>();
  const look = (value: unknown, deep: number): void => {
    if (ArrayBuffer.isView(value)) {
      if (value.buffer instanceof ArrayBuffer) found.add(value.buffer);
    } else if (typeof value === 'object' && value !== null && deep > 0) for (const v of Object.values(value)) look(v, deep - 1);
  };
  look('value' in reply ? reply.value : null, DEEPEST);
  return [...found];
}

/** Results hold their bulk data no deeper than this: a field in a pair, say. */
const DEEPEST = 3;

import { type Context, inTurn, type Pool } from '../core/context.ts';

/** Runs every task here, one after the other, on plain memory. */
export const inlinePool: Pool = {
  size: 1,
  map: inTurn,
  allocate: (bytes) => new ArrayBuffer(bytes),
  close: async () => {},
};

/** A context with no workers, no progress and no cancel: for tests and short jobs. */
export const inlineContext: Context = { pool: inlinePool, progress: () => {}, cancelled: () => false };

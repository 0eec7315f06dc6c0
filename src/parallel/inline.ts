import { ALONE, type Context, type Pool } from '../core/context.ts';

/** Runs every task here, one after the other, on plain memory. */
export const inlinePool: Pool = ALONE.pool;

/** A context with no workers, no progress and no cancel: for tests and short jobs. */
export const inlineContext: Context = ALONE;

import type { Pool } from '../src/core/context.ts';
import { inlinePool } from '../src/parallel/inline.ts';

/** A page opened from disk may not share memory: everything runs in its second thread. */
export const webPool = (_size: number): Pool => inlinePool;

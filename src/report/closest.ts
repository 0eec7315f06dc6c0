import type { Vec3 } from '../core/vec.ts';

/** Where an obstacle comes nearest to the envelope. */
export interface ClosestResult {
  readonly scan: string;
  /** On the obstacle. */
  readonly at_mm: Vec3;
  /** On the envelope. */
  readonly to_mm: Vec3;
  /** Between the two; for a moving part the least of the poses looked at. */
  readonly gap_mm: number;
  /** What the job asks to be kept clear. */
  readonly asked_mm: number;
}

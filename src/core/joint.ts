import type { Vec3 } from './vec.ts';

/** A hinge or a slide of a moving part. */
export interface Joint {
  readonly kind: 'turn' | 'slide';
  /** A point on the axis, mm; of no account for a slide. */
  readonly at: Vec3;
  /** Unit vector: axis, or direction of travel. */
  readonly along: Vec3;
  /** Least and greatest value: radians, or mm. */
  readonly from: number;
  readonly to: number;
}

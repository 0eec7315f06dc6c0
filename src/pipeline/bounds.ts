import { MM3_PER_LITRE } from '../core/units.ts';
import type { Bounded } from '../fill/bounded.ts';

/** Bounded litres of a volume, mm3, and the same at twice the step, mm3. */
export type Bounds = (fine: number, rough: number) => Bounded;

/** Makes bounded litres from a volume and the same at twice the step: their difference, and area times accuracy. */
export const boundsFrom =
  (mm2: number, accuracy: number): Bounds =>
  (fine, rough) => {
    const off = Math.abs(fine - rough) + mm2 * accuracy;
    return { value: fine / MM3_PER_LITRE, low: Math.max(0, fine - off) / MM3_PER_LITRE, high: (fine + off) / MM3_PER_LITRE };
  };

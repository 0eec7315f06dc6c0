import { MM3_PER_LITRE } from '../core/units.ts';

/** A figure with the least and the most that it may truly be. */
export interface Bounded {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

/** Litres from mm3, `doubt` mm3 either way; never less than nothing. */
export function litres(mm3: number, doubt: number): Bounded {
  const value = mm3 / MM3_PER_LITRE;
  const by = Math.abs(doubt) / MM3_PER_LITRE;
  return { value, low: Math.max(0, value - by), high: value + by };
}

/** The amount times `k`, a share from 0 to 1 that has no doubt of its own. */
export const shareOf = (a: Bounded, k: number): Bounded => ({ value: a.value * k, low: a.low * k, high: a.high * k });

/** What is left of `a` without `b`, each at its worst against the other; never less than nothing. */
export const less = (a: Bounded, b: Bounded): Bounded => ({
  value: Math.max(0, a.value - b.value),
  low: Math.max(0, a.low - b.high),
  high: Math.max(0, a.high - b.low),
});

/** `x` to `digits` significant figures. */
export const significant = (x: number, digits: number): number => (x === 0 ? 0 : Number(x.toPrecision(digits)));

/** Outside diameters that tube is commonly sold in (common practice, no standard): a hint to what was measured, no claim. */
const MM_SIZES = [6, 8, 10, 12, 15, 16, 18, 20, 22, 25, 28, 30, 32, 35, 38, 40, 42, 45, 48, 50, 55, 60];
const INCH_SIZES: readonly (readonly [string, number])[] = [
  ['1/4', 0.25],
  ['3/8', 0.375],
  ['1/2', 0.5],
  ['5/8', 0.625],
  ['3/4', 0.75],
  ['7/8', 0.875],
  ['1', 1],
  ['1 1/8', 1.125],
  ['1 1/4', 1.25],
  ['1 3/8', 1.375],
  ['1 1/2', 1.5],
  ['1 5/8', 1.625],
  ['1 3/4', 1.75],
  ['2', 2],
];

export interface SizeHint {
  /** Such as "28 mm" or "1 1/8 in". */
  readonly size: string;
  /** Measured less nominal, mm. */
  readonly off: number;
}

/** The nearest common size in mm and in inches, nearer one first. */
export function commonSizes(diameter: number): readonly [SizeHint, SizeHint] {
  const mm = MM_SIZES.map((s) => ({ size: `${s} mm`, off: diameter - s }));
  const inch = INCH_SIZES.map(([name, s]) => ({ size: `${name} in`, off: diameter - 25.4 * s }));
  const nearest = (list: readonly SizeHint[]): SizeHint => list.reduce((a, b) => (Math.abs(b.off) < Math.abs(a.off) ? b : a));
  const [a, b] = [nearest(mm), nearest(inch)];
  return Math.abs(a.off) <= Math.abs(b.off) ? [a, b] : [b, a];
}

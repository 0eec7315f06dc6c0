/** Length units that workshop files carry, and their size in mm. */
export const MM_PER = { mm: 1, cm: 10, m: 1000, in: 25.4, ft: 304.8, um: 0.001 } as const;

export type LengthUnit = keyof typeof MM_PER;

export const LENGTH_UNITS = Object.keys(MM_PER) as LengthUnit[];

export const MM3_PER_LITRE = 1e6;
export const MM2_PER_DM2 = 1e4;
export const RADIANS_PER_DEGREE = Math.PI / 180;

/** "12", "12 mm", "1.5in", '1.5"' -> mm; a bare number is taken in `unit`. NaN when it is not a length. */
export function parseLength(text: string, unit: LengthUnit = 'mm'): number {
  const m = /^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([a-z"]*)\s*$/.exec(text);
  if (!m) return Number.NaN;
  const name = m[2] === '"' ? 'in' : m[2] === '' ? unit : m[2];
  return Object.hasOwn(MM_PER, name) ? Number(m[1]) * MM_PER[name as LengthUnit] : Number.NaN;
}

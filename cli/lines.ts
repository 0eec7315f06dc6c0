import type { Bounded } from '../src/report/result.ts';

/** Widest line, characters. */
export const WIDTH = 80;

/** A row of the table: a name, and columns of figures. */
export const row = (name: string, ...columns: readonly string[]): string =>
  (
    (name.length > 34 ? `${name.slice(0, 31)}...` : name).padEnd(34) +
    columns.map((c) => (c.length < 10 ? c.padStart(10) : ` ${c}`)).join('')
  ).trimEnd();

/** Value, low and high with the decimals that the bounds allow. */
export function boundedText({ value, low, high }: Bounded): [string, string, string] {
  const digits = decimals({ value, low, high });
  const unit = 10 ** digits;
  // The small slack keeps 13.3 from becoming 13.2 by its binary form.
  const down = Math.floor(low * unit + 1e-6) / unit;
  const up = Math.ceil(high * unit - 1e-6) / unit;
  return [value.toFixed(digits), Math.max(0, down).toFixed(digits), up.toFixed(digits)];
}

/** Decimals that the bounds allow, at most three. */
export function decimals({ value, low, high }: Bounded): number {
  const half = Math.max(high - value, value - low);
  return half > 0 ? Math.min(3, Math.max(0, Math.ceil(-Math.log10(half) - 1e-9))) : 3;
}

/** A line that begins with a word of its own. */
export const labelled = (label: string, text: string): string[] => wrap(text, label.padEnd(11));

/** Breaks a text into lines of at most 80, the first after `lead`, the others under it. */
export function wrap(text: string, lead: string, under = ' '.repeat(lead.length)): string[] {
  const lines: string[] = [];
  let line = lead;
  let bare = true;
  for (const word of text
    .replace(/[\p{Cc}\s]+/gu, ' ')
    .trim()
    .split(' ')) {
    if (!bare && line.length + 1 + word.length > WIDTH) {
      lines.push(line);
      [line, bare] = [under, true];
    }
    line += bare ? word : ` ${word}`;
    bare = false;
  }
  return [...lines, line];
}

/** A number as it was given. */
export const num = (v: number): string => String(Number(v.toPrecision(6)));

/** Three significant digits, without an exponent. */
export const sized = (v: number): string => String(Number(v.toPrecision(3)));

export const at = (p: readonly number[]): string => `[${p.map((v) => Math.round(v)).join(', ')}]`;
export const count = (n: number, word: string): string => `${n} ${word}${n === 1 ? '' : 's'}`;

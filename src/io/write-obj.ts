import type { Mesh } from '../core/mesh.ts';
import { joinBytes } from './bytes.ts';

/** A name that stays one word in an OBJ file. */
const word = (name: string): string =>
  name
    .trim()
    .replace(/[\s\\]+/g, '_')
    .replace(/^#/, '_') || 'part';

/** Nine significant digits tell any two float32 apart; about an origin more are needed. */
const digits = (v: number, far: boolean): string => String(far ? v : Number(v.toPrecision(9)));

/** OBJ text in mm, one object a part (blanks in names become underscores, since a blank would make two names of one). */
export function writeObj(
  parts: readonly { readonly name: string; readonly mesh: Mesh }[],
  comments: readonly string[] = [],
): Uint8Array<ArrayBuffer> {
  const encoder = new TextEncoder();
  const pieces: Uint8Array[] = [];
  let lines: string[] = [...comments, 'lengths in mm'].map((c) => `# ${c.replace(/[\r\n\\]+/g, ' ')}\n`);
  // Strings of a few MB at a time: one string of everything could pass the longest there is.
  const flush = (least: number): void => {
    if (lines.length <= least) return;
    pieces.push(encoder.encode(lines.join('')));
    lines = [];
  };
  let base = 1;
  for (const { name, mesh } of parts) {
    const { origin: o, positions: p, indices: t } = mesh;
    const far = o.some((v) => v !== 0);
    lines.push(`o ${word(name)}\n`);
    for (let i = 0; i < p.length; i += 3) {
      lines.push(`v ${digits(p[i] + o[0], far)} ${digits(p[i + 1] + o[1], far)} ${digits(p[i + 2] + o[2], far)}\n`);
      flush(65536);
    }
    for (let i = 0; i < t.length; i += 3) {
      lines.push(`f ${t[i] + base} ${t[i + 1] + base} ${t[i + 2] + base}\n`);
      flush(65536);
    }
    base += p.length / 3;
  }
  flush(0);
  return joinBytes(pieces);
}

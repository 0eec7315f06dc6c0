import * as z from 'zod';
import { type DeepReadonly, length, type Report, section } from './schema-parts.ts';

/** Defaults are common practice for a printer that melts a thread: 0.2 mm all round lets a peg in by hand. */
const printSection = section({
  volume: z
    .tuple([length({ above: 0 }), length({ above: 0 }), length({ above: 0 })], { error: 'three lengths [x, y, z] in mm' })
    .prefault([220, 220, 220])
    .describe('What the printer can print, [x, y, z] in mm.'),
  peg_diameter: length({ least: 2 }).prefault(8).describe('Diameter of the pegs that locate one part on the next, mm.'),
  peg_length: length({ least: 2 }).prefault(10).describe('How far a peg stands out, mm.'),
  gap: length({ least: 0 }).prefault(0.2).describe('Gap all round between a peg and its hole, mm.'),
  wall: length({ least: 0.5 }).prefault(3).describe('Least material round a peg and its hole, mm.'),
});

/** Part of the section `make`. */
export const print = z.union([z.boolean(), printSection], { error: 'true, false or { volume: [220, 220, 220] }' });

type RawPrint = z.output<typeof print>;

/** The stand-in to be printed in parts: lengths mm. */
export type JobPrint = DeepReadonly<z.output<typeof printSection>>;

export const completePrint = (raw: RawPrint): JobPrint | false => (raw === true ? printSection.parse({}) : raw);

/** A printer must be larger than its pegs are long. */
export function checkPrint(raw: RawPrint, report: Report): void {
  if (typeof raw === 'boolean') return;
  const least = 2 * (raw.peg_length + raw.wall);
  if (Math.min(...raw.volume) > least) return;
  report(['make', 'print', 'volume'], {
    code: 'job-print-volume',
    what: 'The printer has no room for parts with such pegs.',
    got: `${raw.volume.join(' x ')} mm`,
    expected: `more than ${least} mm each way`,
    hint: 'name a larger printer, or shorter pegs',
  });
}

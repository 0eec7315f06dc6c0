import * as z from 'zod';
import { type DeepReadonly, length, type Report, section } from './schema-parts.ts';
import { axis } from './schema-sections.ts';

const pair = (what: string) => z.tuple([length({ above: 0 }), length({ above: 0 })], { error: what });

/** Defaults are common practice for laser-cut board: sheets of 3 mm, a cut of 0.1 to 0.3 mm. */
const ribsSection = section({
  thickness: length({ above: 0 }).prefault(3).describe('Thickness of the sheet, mm; measure it, board is often off.'),
  spacing: length({ above: 0 }).prefault(60).describe('Spacing aimed at between ribs of a family, mm.'),
  fit: length({ least: 0 }).prefault(0.1).describe('What a slot is wider than the sheet is thick, mm.'),
  kerf: length({ least: 0 }).prefault(0.15).describe('Width of the cut, mm; cut lines are moved out by half of it.'),
  relief: length({ least: 0 }).prefault(0.8).describe('Radius of the relief in the corners of slot ends, mm; 0 for none.'),
  draw_in: length({ least: 0.1 }).prefault(0.5).describe('How far ribs are drawn in from the body, mm.'),
  hand_hole: z
    .union([z.literal(false), pair('false, or [width, height] in mm')], { error: 'false, or [width, height] in mm' })
    .prefault([90, 30])
    .describe('Hole for a hand in a middle rib of each family, [width, height] in mm; false for none.'),
  sheet: pair('[width, height] in mm').prefault([600, 400]).describe('Size of the sheet, [width, height] in mm.'),
  margin: length({ least: 0 }).prefault(5).describe("Kept free along the sheet's edge, mm."),
  gap: length({ least: 0 }).prefault(3).describe('Kept free between parts on a sheet, mm.'),
  along: axis()
    .nullish()
    .describe(
      'Direction along which the slots run and half of the ribs are put on; best the way out. When left out: the best way in, or x, y or z.',
    ),
});

/** Part of the section `make`. */
export const ribs = z.union([z.boolean(), ribsSection], { error: 'true, false or { thickness: 3, sheet: [600, 400] }' });

type RawRibs = z.output<typeof ribsSection>;

/** The rib kit asked for: lengths mm, along a unit vector or null. */
export type JobRibs = DeepReadonly<Omit<RawRibs, 'along'> & { along: NonNullable<RawRibs['along']> | null }>;

export function completeRibs(raw: RawRibs | boolean): JobRibs | false {
  if (raw === false) return false;
  const given = raw === true ? ribsSection.parse({}) : raw;
  return { ...given, along: given.along ?? null };
}

/** A sheet must have room between its margins for a rib that two others cross; what is known before anything is measured. */
export function checkRibs(raw: RawRibs | boolean, report: Report): void {
  if (typeof raw === 'boolean') return;
  const { sheet, margin, spacing, thickness } = raw;
  const room = Math.min(...sheet) - 2 * margin;
  if (room <= spacing)
    report(['make', 'ribs', 'sheet'], {
      code: 'job-ribs-sheet',
      what: 'The sheet has no room for a rib that reaches from one crossing to the next.',
      got: `${sheet.join(' x ')} mm, ${margin} mm of it kept free along each edge`,
      expected: `more than ${spacing + 2 * margin} mm each way: the spacing of the ribs and both margins`,
      hint: 'name the sheet that you have, or a smaller spacing',
    });
  if (spacing <= 3 * thickness)
    report(['make', 'ribs', 'spacing'], {
      code: 'job-ribs-spacing',
      what: 'Ribs so near each other leave no material between their slots.',
      got: `${spacing} mm`,
      expected: `more than three thicknesses of the sheet, ${3 * thickness} mm`,
    });
}

import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { volume } from '../field/integrate.ts';
import { drawingPage } from '../make/drawing.ts';
import { sections } from '../make/sections.ts';
import { extentAlong } from '../make/stations.ts';
import { everySecond } from '../space/envelope.ts';
import type { Measured } from './measure.ts';
import type { Space } from './space.ts';

/** Sections on the sheet that goes with a result. */
const SHEET_SECTIONS = 6;

/** The drawing page that goes with a result: three views and sections of envelope and cavity, from cells of twice the step. */
export function sheetOf({ drawn, fields }: Pick<Measured, 'drawn' | 'fields'>, context: Context): string {
  const { space } = drawn;
  const body = space.double.envelope;
  const cavity = fields.cavity ? everySecond(fields.cavity) : undefined;
  const axis: Vec3 = [1, 0, 0];
  const [low, high] = extentAlong(body, axis);
  const at = Array.from({ length: SHEET_SECTIONS }, (_, i) => Math.round(low + ((i + 0.5) / SHEET_SECTIONS) * (high - low)));
  const cut = sections({ body, cavity }, { axis, every: high - low, at, round: 0, tolerance: 0.5 }, context);
  return drawingPage(body, cut, { paper: 'A4', ...titleOf({ space, body: space.envelope }) });
}

/** What stands in a drawing's title block. */
export const titleOf = ({ space: { job, envelope, step }, body }: { readonly space: Space; readonly body: Field }) => ({
  title: job.name,
  facts: [
    `${body === envelope ? 'envelope' : 'body that goes in'} ${(volume(body) / MM3_PER_LITRE).toFixed(2)} l, step ${step} mm`,
    'from scans: check against the vehicle before making',
  ],
});

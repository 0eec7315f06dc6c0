import * as z from 'zod';
import { dot, type Vec3 } from '../core/vec.ts';
import { direction, length, point, section, turns } from './schema-parts.ts';
import { determinant, nearestRotation, type Rows, turnRows } from './turn.ts';

/** How a scan is placed, as three rows [r, r, r, t]: p' = R p + t, mm, after the file's unit has been turned into mm. */
type Placing = [[number, number, number, number], [number, number, number, number], [number, number, number, number]];

const row = z.tuple([z.number(), z.number(), z.number(), z.number()], { error: 'a row of four numbers' });
const MATRIX = 'a matrix of three or four rows with four numbers each, or { move: [..], turn: [..] }';

const matrix = z
  .array(row)
  .min(3, { error: MATRIX })
  .max(4, { error: MATRIX })
  .transform((rows, context): Placing => {
    const refuse = (message: string, hint?: string): void => void context.addIssue({ code: 'custom', message, params: { hint } });
    if (rows.length === 4 && rows[3].some((v, i) => v !== (i === 3 ? 1 : 0)))
      refuse('[0, 0, 0, 1] as the last row', 'give the matrix by rows');
    const part = (i: number): Vec3 => [rows[i][0], rows[i][1], rows[i][2]];
    const turned = rigid([part(0), part(1), part(2)], refuse);
    return [0, 1, 2].map((i) => [...turned[i], rows[i][3]]) as Placing;
  });

/** Typed digits leave a rotation a little off: up to 2e-3 it is set right, beyond that refused, since a scan is never stretched. */
function rigid(m: Rows, refuse: (message: string, hint?: string) => void): Rows {
  const gram = [dot(m[0], m[0]) - 1, dot(m[1], m[1]) - 1, dot(m[2], m[2]) - 1, dot(m[0], m[1]), dot(m[1], m[2]), dot(m[2], m[0])];
  const off = Math.max(...gram.map(Math.abs));
  if (determinant(m) < 0)
    refuse('a rotation without mirroring', 'one axis is reversed; a left-hand scan cannot be placed as a right-hand one');
  else if (off > 2e-3) refuse('a pure rotation (rows of length 1 at right angles)', 'a change of scale belongs in the scan\'s "units"');
  else return off < 1e-12 ? m : nearestRotation(m);
  return m;
}

const moveTurn = section({
  move: point().prefault([0, 0, 0]).describe('Shift, mm, made after the turn.'),
  turn: turns().prefault([0, 0, 0]).describe('Turns about the fixed axes x, then y, then z, degrees.'),
}).transform(({ move, turn }): Placing => turnRows(turn).map((r, i) => [...r, move[i]]) as Placing);

/** Where a scan stands: a matrix by rows, or a turn and a shift. */
export const place = z.union([matrix, moveTurn], { error: MATRIX });

const turn = section({
  about: z
    .tuple([point(), point()], { error: 'two points [p, q] on the axis' })
    .describe('Two points on the axis, mm; seen from the second, positive turns are counter-clockwise.'),
  from: z.number().describe('Least turn, degrees; 0 is as scanned.'),
  to: z.number().describe('Greatest turn, degrees.'),
});

const slide = section({
  along: direction().describe('Direction of travel.'),
  from: length().describe('Least travel along it, mm; 0 is as scanned.'),
  to: length().describe('Greatest travel, mm.'),
});

const joint = section({
  turn: turn.optional().describe('A hinge: the scan turns about an axis.'),
  slide: slide.optional().describe('A slide: the scan moves along a line.'),
}).transform((j, context) => {
  const refuse = (message: string, path: string[] = []): void => void context.addIssue({ code: 'custom', message, path });
  if (!j.turn === !j.slide) refuse('either "turn" or "slide"');
  const range = j.turn ?? j.slide;
  if (range && range.from > range.to) refuse('"from" that is not more than "to"', [j.turn ? 'turn' : 'slide', 'from']);
  if (j.turn && same(j.turn.about[0], j.turn.about[1])) refuse('two points that differ', ['turn', 'about']);
  return j;
});

const same = (p: Vec3, q: Vec3): boolean => p.every((v, a) => v === q[a]);

/** One joint or two; the second carries the first (steering carries the fork that slides in it). */
export const motion = z
  .union([joint, z.array(joint).max(2, { error: 'at most two joints' })], {
    error: 'a joint, { turn: ... } or { slide: ... }, or a list of two',
  })
  .transform((m) => (Array.isArray(m) ? m : [m]));

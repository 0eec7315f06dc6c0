import * as z from 'zod';
import { dot, type Vec3 } from '../core/vec.ts';
import { direction, length, point, section, turns } from './schema-parts.ts';
import { determinant, nearestRotation, type Rows, turnRows } from './turn.ts';

/** How a scan is placed, as three rows [r, r, r, t]: p' = R p + t, mm, after the file's unit has been turned into mm. */
export type Placing = [[number, number, number, number], [number, number, number, number], [number, number, number, number]];

const row = z.tuple([z.number(), z.number(), z.number(), z.number()], { error: 'a row of four numbers' });
const MATRIX = 'a matrix of three or four rows with four numbers each, or { move: [..], turn: [..] }, { onto: scan }, { targets: .. }';

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

const file = (what: string) => z.string({ error: what }).min(1, { error: what });

const targetLists = section({
  own: file('the file of the sticker centres in this scan').describe("Sticker centres in this scan's own frame, CSV or XYZ."),
  fixed: file('the file of the sticker centres that stay').describe(
    'The same stickers where they belong, CSV or XYZ; in any order, some may be missing.',
  ),
});

const placeSection = section({
  move: point().prefault([0, 0, 0]).describe('Shift, mm, made after the turn.'),
  turn: turns().prefault([0, 0, 0]).describe('Turns about the fixed axes x, then y, then z, degrees.'),
  onto: z
    .string({ error: 'the name of a scan' })
    .nullish()
    .describe('Fit by the surfaces that both share to this scan; move and turn give a start within 50 mm and 10 degrees.'),
  targets: targetLists.nullish().describe('Fit by stickers that were measured in both scans.'),
  from: file('a file of placings').nullish().describe('A placings.json that an earlier run wrote.'),
  tolerance: length({ above: 0 }).nullish().describe('How far two distances between stickers may differ, mm; 1 when left out.'),
  limit: length({ above: 0 }).nullish().describe('Expected error, mm, from which a fitted placing is a doubt; 0.25 when left out.'),
}).transform((p, context) => {
  const ways = [p.onto, p.targets, p.from].filter((w) => w !== undefined && w !== null).length;
  const refuse = (message: string, path: string[] = []): void => void context.addIssue({ code: 'custom', message, path });
  if (ways > 1) refuse('one of "onto", "targets" and "from"');
  if (ways === 0 && p.limit) refuse('no limit: a placing that is given is not fitted', ['limit']);
  if (p.tolerance && !p.targets) refuse('no tolerance without "targets"', ['tolerance']);
  if (ways === 0) return placingOf(p.move, p.turn);
  const { move, turn } = p;
  return {
    move,
    turn,
    onto: p.onto ?? null,
    targets: p.targets ?? null,
    from: p.from ?? null,
    tolerance: p.tolerance ?? null,
    limit: p.limit ?? null,
  };
});

/** Rows of a turn and a shift after it. */
export const placingOf = (move: Vec3, turn: Vec3): Placing => turnRows(turn).map((r, i) => [...r, move[i]]) as Placing;

/** Where a scan stands: a matrix by rows, a turn and a shift, or how that is found. */
export const place = z.union([matrix, placeSection], { error: MATRIX });

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

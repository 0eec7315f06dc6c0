import * as z from 'zod';
import { type DeepReadonly, direction, length, type Report, section } from './schema-parts.ts';

/** Least slack kept while a body slides in: it moves by hand, past parts that do not move (common practice). */
const SLIDING = 2;

const whole = (least: number, most: number) =>
  z
    .int({ error: `a whole number from ${least} to ${most}` })
    .min(least, { error: `at least ${least}` })
    .max(most, { error: `at most ${most}` });

const waysSection = section({
  clearance: length({ least: 0 }).prefault(SLIDING).describe('Clearance kept from everything while the body slides in, mm.'),
  directions: whole(6, 5000).prefault(200).describe('How many directions are tried before the best are refined.'),
  bodies: whole(1, 10).prefault(3).describe('For how many ways that differ the body itself is worked out.'),
  put_on: z
    .record(z.string(), direction(), { error: 'scans by name, each with the direction [x, y, z] in which it is put on' })
    .nullish()
    .describe('Parts that are put on after the body is in, each with the direction in which it moves to its place.'),
  use: z
    .union([z.literal('best'), direction()], { error: 'best, or a direction [x, y, z] along which the body slides out' })
    .nullish()
    .describe(
      'The body is only what slides out this way, best or a direction [x, y, z]: the tank is made of that part of the envelope. Left out: of the whole.',
    ),
});

export const waysIn = z.union([z.boolean(), waysSection], { error: 'true, false or { clearance: ..., put_on: ... }' });

type RawWays = z.output<typeof waysSection>;

/** What is asked of the search for ways in; lengths mm, directions unit vectors. */
export type JobWays = DeepReadonly<
  Omit<RawWays, 'put_on' | 'use'> & { put_on: NonNullable<RawWays['put_on']>; use: NonNullable<RawWays['use']> | null }
>;

export function completeWays(raw: RawWays | boolean): JobWays | false {
  if (raw === false) return false;
  const given = raw === true ? waysSection.parse({}) : raw;
  return { ...given, put_on: given.put_on ?? {}, use: given.use ?? null };
}

export function checkWays(raw: RawWays | boolean, scans: Readonly<Record<string, unknown>>, report: Report): void {
  if (typeof raw === 'boolean') return;
  for (const name of Object.keys(raw.put_on ?? {}))
    if (!(name in scans))
      report(['ways_in', 'put_on', name], {
        code: 'job-reference',
        what: 'A part that is put on afterwards is no scan of this job.',
        got: name,
        expected: `one of: ${Object.keys(scans).join(', ')}`,
      });
}

import * as z from 'zod';
import { type DeepReadonly, length, point, section } from './schema-parts.ts';

const count = z.int({ error: 'a whole number of at least 1' }).min(1, { error: 'a whole number of at least 1' }).prefault(1);
const name = z.string({ error: 'a name' }).min(1, { error: 'a name' });

const box = section({
  name: name.describe('What it is called.'),
  size: z.tuple([length({ above: 0 }), length({ above: 0 }), length({ above: 0 })], { error: 'three lengths' }).describe('Its sides, mm.'),
  count: count.describe('How many of it are to go in.'),
});
const cylinder = section({
  name: name.describe('What it is called.'),
  diameter: length({ above: 0 }).describe('mm'),
  length: length({ above: 0 }).describe('mm'),
  count: count.describe('How many of it are to go in.'),
});

const stowageSection = section({
  lining: length({ least: 0 }).prefault(0).describe('Thickness of the box, bag or lining inside the envelope, mm.'),
  largest: z.boolean({ error: 'true or false' }).prefault(true).describe('Find the largest ball, upright cylinder and box.'),
  blocks: z
    .boolean({ error: 'true or false' })
    .prefault(true)
    .describe('Count reference blocks of 200 x 100 x 50 mm, one litre each (ISO 3832).'),
  luggage: z.boolean({ error: 'true or false' }).prefault(false).describe('Try the luggage pieces of SAE J1100.'),
  items: z
    .array(
      z.union([box, cylinder], { error: '{ name: ..., size: [..], count: .. } or { name: ..., diameter: .., length: .., count: .. }' }),
      {
        error: 'a list of items',
      },
    )
    .nullish()
    .describe('What else is to go in together: a bottle, a first-aid kit.'),
  opening: point().nullish().describe('A point in the opening, mm: items must reach their places from there by straight moves.'),
  seconds: z
    .number({ error: 'seconds' })
    .min(0, { error: 'at least 0' })
    .max(3600, { error: 'at most 3600' })
    .prefault(10)
    .describe('How long each search may take, s.'),
});

export const stowage = z.union([z.boolean(), stowageSection], { error: 'true, false or { lining: ..., items: [...] }' });

type RawStowage = z.output<typeof stowageSection>;

/** What is to be stowed; lengths mm, seconds s. */
export type JobStowage = DeepReadonly<
  Omit<RawStowage, 'items' | 'opening'> & { items: NonNullable<RawStowage['items']>; opening: NonNullable<RawStowage['opening']> | null }
>;

export function completeStowage(raw: RawStowage | boolean): JobStowage | false {
  if (raw === false) return false;
  const given = raw === true ? stowageSection.parse({}) : raw;
  return { ...given, items: given.items ?? [], opening: given.opening ?? null };
}

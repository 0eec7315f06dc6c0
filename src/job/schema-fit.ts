import * as z from 'zod';
import { type DeepReadonly, length, section } from './schema-parts.ts';

const each = <T extends z.ZodType>(one: T) => z.union([one, z.tuple([one, one, one])], { error: 'one value, or three: along x, y, z' });

const degrees = z
  .number({ error: 'an angle in degrees' })
  .min(0, { error: 'an angle of at least 0 degrees' })
  .max(20, { error: 'an angle of at most 20 degrees: the search is for small moves' });

const SECONDS = 'false, or 1 to 3600 seconds';

const fitSection = section({
  shift: each(length({ least: 0 }))
    .prefault(5)
    .describe('How far a finished body may be shifted to fit better, each way, mm: one length, or three along x, y, z.'),
  turn_in: z
    .union([z.literal(false), z.number().min(1, { error: SECONDS }).max(3600, { error: SECONDS })], { error: SECONDS })
    .prefault(false)
    .describe('Seconds to search for a way in with shifts and turns where no straight one is found; false: only straight ways.'),
  turn: each(degrees).prefault(2).describe('How far it may be turned, each way, degrees: one angle, or three about x, y, z.'),
});

export const fit = fitSection;

type Three<T> = readonly [T, T, T];

/** How far a finished body may be moved in a trial fit: mm and degrees, about x, y, z; and how long to search for a way of turning it in, s. */
export type JobFit = DeepReadonly<{ shift: Three<number>; turn: Three<number>; turn_in: number | false }>;

const three = (v: number | Three<number>): Three<number> => (typeof v === 'number' ? [v, v, v] : v);

export const completeFit = (raw: z.output<typeof fitSection>): JobFit => ({
  shift: three(raw.shift),
  turn: three(raw.turn),
  turn_in: raw.turn_in,
});

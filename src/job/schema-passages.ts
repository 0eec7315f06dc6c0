import * as z from 'zod';
import { length, point, section } from './schema-parts.ts';

const passage = section({
  name: z.string({ error: 'a name' }).min(1, { error: 'a name' }).describe('What it is called: fuel hose, loom.'),
  diameter: length({ above: 0 }).describe('Outside diameter, mm.'),
  clearance: length({ least: 0 }).prefault(5).describe('Kept from every scan, mm; wiring gets 5 to 10 mm (common practice).'),
  from: point().describe('Where it begins, mm.'),
  to: point().describe('Where it ends, mm.'),
  bend_radius: length({ least: 0 })
    .nullish()
    .describe('Least bend radius of its centre line, mm; three diameters when left out (common practice for rubber hose; the maker says).'),
  ends: length({ least: 0 })
    .nullish()
    .describe('Within this of either end no clearance is asked, because it is joined to something there, mm; one diameter when left out.'),
  through: z
    .boolean({ error: 'true or false' })
    .prefault(true)
    .describe('Whether it may run through the envelope, which then needs a tunnel; false keeps it outside.'),
});

export const passages = z.array(passage, { error: 'a list of { name: ..., diameter: ..., from: ..., to: ... }' });

type RawPassage = z.output<typeof passage>;

/** A hose or loom that is to be led; lengths mm. */
export type JobPassage = Readonly<Omit<RawPassage, 'bend_radius' | 'ends'> & { bend_radius: number; ends: number }>;

export const completePassages = (raw: readonly RawPassage[]): JobPassage[] =>
  raw.map((p) => ({ ...p, bend_radius: p.bend_radius ?? 3 * p.diameter, ends: p.ends ?? p.diameter }));

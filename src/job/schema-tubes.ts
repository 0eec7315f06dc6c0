import * as z from 'zod';
import { type DeepReadonly, length, section } from './schema-parts.ts';

const tubesSection = section({
  noise: length({ above: 0 }).prefault(0.15).describe('Scatter of the scanned points, mm.'),
  least: length({ above: 0 }).prefault(8).describe('Least outside diameter of a tube, mm.'),
  most: length({ above: 0 }).prefault(80).describe('Greatest outside diameter of a tube, mm.'),
});

export const tubes = z.union([z.boolean(), tubesSection], { error: 'true, false or { noise: ..., least: ..., most: ... }' });

/** What is asked of the search for tubes, mm. */
export type JobTubes = DeepReadonly<z.output<typeof tubesSection>>;

export const completeTubes = (raw: JobTubes | boolean): JobTubes | false => (raw === true ? tubesSection.parse({}) : raw);

import * as z from 'zod';
import { type DeepReadonly, type Report, section } from './schema-parts.ts';
import { place } from './schema-place.ts';
import { checkScanName, type RawScan } from './schema-scans.ts';

const NAME = { error: 'the name of a job file' };
const file = z.string(NAME).min(1, NAME);

const beforeSection = section({
  job: file.describe('The job of the other state; looked for beside this job file, its scans beside it.'),
  place: place
    .nullish()
    .describe(
      "Where the other job's frame (its datum, when it has one) stands in this one's (after the datum): a matrix, { move, turn }, { onto: a scan of this job }, { targets: .. } or { from: placings.json }. Left out: both are the same frame.",
    ),
  scan: z
    .string({ error: 'the name of a scan' })
    .min(1)
    .nullish()
    .describe(
      'The scan of the other job that is laid onto this one\'s; when left out the one of the same name as "onto", else all its obstacles.',
    ),
});

/** The vehicle before the work, as a job of its own: what was not free then and is now counts as reclaimed. */
export const before = z
  .union([file, beforeSection], { error: 'the name of a job file, or { job: ..., place: ... }' })
  .transform((b) =>
    typeof b === 'string' ? { job: b, place: null, scan: null } : { job: b.job, place: b.place ?? null, scan: b.scan ?? null },
  );

export type JobBefore = DeepReadonly<z.output<typeof before>>;

/** The scan that the other state is laid onto must be one of this job's. */
export function checkBefore(b: JobBefore | null | undefined, all: Readonly<Record<string, RawScan>>, report: Report): void {
  const how = b?.place;
  if (how && 'onto' in how && how.onto !== null) checkScanName(how.onto, all, { path: ['before', 'place', 'onto'], report });
}

import type { Context } from '../core/context.ts';
import { type Box3, isEmptyBox, unionBox, type Vec3 } from '../core/vec.ts';
import type { Job } from '../job/job.ts';
import { type Datum, datumOf } from '../scan/datum.ts';
import { cornersOf } from '../scan/motion.ts';
import { inverse, moveBy, type Rigid } from '../scan/place.ts';
import { boxOfScans, isGiven, movedScan, type Scan } from '../scan/scan.ts';
import { regionBox } from '../space/region.ts';
import type { ReadScan } from './place.ts';
import type { Run } from './run.ts';

const all = (scans: ReadonlyMap<string, ReadScan>): Scan[] => [...scans.values()].map((s) => s.scan);

/**
 * The job's datum before the scans are placed, so that a placing knows where the region will be; null when the job has none or when it
 * comes from a scan whose own place is yet to be found.
 */
export function earlyDatum(job: Job, scans: ReadonlyMap<string, ReadScan>, context: Context): Datum | null {
  if (!job.datum) return null;
  const waits = (name: string): boolean => {
    const { place } = job.scans[name];
    return place !== null && !isGiven(place);
  };
  return job.datum.symmetry?.scan.some(waits) ? null : datumOf(job.datum, all(scans), context);
}

/** Moves all scans, which are in place, into the job's datum; a doubt about it becomes a note. */
export function intoDatum(job: Job, scans: Map<string, ReadScan>, early: Datum | null, run: Run): void {
  if (!job.datum) return;
  // What the points give is told anew, since whether they are upright hangs on where the scans are.
  const { move, result } = early && job.datum.symmetry ? early : datumOf(job.datum, all(scans), run.context);
  for (const [name, { scan, sha256 }] of scans) scans.set(name, { sha256, scan: movedScan(scan, move) });
  run.datum = result;
  for (const d of result.doubts) run.notes.push({ code: 'datum-doubt', text: `Datum: ${d}.` });
}

/**
 * Where the error of a placing matters, mm in the scans' frame: the corners of the region's box, or of all scans where the region cannot
 * be told before they stand.
 */
export function regionCorners(job: Job, scans: ReadonlyMap<string, ReadScan>, datum: Datum | null): Vec3[] {
  const stand = all(scans);
  const there = datum ? stand.map((s) => ({ ...s, box: movedBox(s.box, datum.move) })) : stand;
  if (job.datum !== null && datum === null) return cornersOf(boxOfScans(stand));
  const corners = cornersHere(job, there);
  return datum ? corners.map((c) => moveBy(inverse(datum.move), c)) : corners;
}

/** The same once everything is in the job's frame. */
export function cornersHere(job: Job, scans: readonly Scan[]): Vec3[] {
  const box = regionBox(job.region, scans);
  return cornersOf(isEmptyBox(box) || box.max[0] - box.min[0] > 1e5 ? boxOfScans(scans) : box);
}

/** The box about a box that was moved. */
function movedBox(box: Box3, move: Rigid): Box3 {
  return cornersOf(box)
    .map((c) => moveBy(move, c))
    .map((p) => ({ min: p, max: p }))
    .reduce(unionBox);
}

import * as z from 'zod';
import { checkCancelled } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import { MM_PER } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { readScan } from '../io/read.ts';
import { type Placing, placingOf } from '../job/schema-place.ts';
import type { JobScan } from '../job/schema-scans.ts';
import { after, inverse, quantiles, type Rigid, targetError } from '../scan/place.ts';
import { placeBySurface } from '../scan/place-surface.ts';
import { placeByTargets } from '../scan/place-targets.ts';
import { type PlacingResult, rigidOf, rowsOf } from '../scan/placing.ts';
import { isGiven, movedScan, type Scan } from '../scan/scan.ts';
import type { Files, Run } from './run.ts';

type Fit = Exclude<NonNullable<JobScan['place']>, readonly unknown[]>;

/** Expected error, mm, above which a placing is a doubt. */
const LIMIT = 0.25;
/** And above which the scan stands nowhere: the fit has failed. */
const FAILED = 2;

/** A scan that was read, with the digest of its file. */
export interface ReadScan {
  readonly scan: Scan;
  readonly sha256: string;
}

/**
 * Places the scans whose place has to be found, each after the scan that it is laid onto; replaces them in `scans`. They come in at
 * the start that the job gives. `corners` are the points at which the error is asked, mm. Throws a Fault when a fit fails; a poor
 * one becomes a note.
 */
export async function placeScans(
  scans: Map<string, ReadScan>,
  corners: () => readonly Vec3[],
  files: Files,
  run: Run,
): Promise<PlacingResult[]> {
  const results: PlacingResult[] = [];
  const placed = new Set<string>();
  const place = async (name: string): Promise<void> => {
    const { scan, sha256 } = scans.get(name)!;
    const fit = scan.settings.place;
    if (placed.has(name)) return;
    placed.add(name);
    if (!fit || isGiven(fit)) return;
    if (fit.onto !== null) await place(fit.onto);
    const start = rigidOf(placingOf(fit.move, fit.turn));
    const { placing, result } = await placeOne({ scan, sha256, fit, start, at: corners() }, scans, files, run);
    scans.set(name, { sha256, scan: movedScan(scan, after(placing, inverse(start))) });
    results.push(result);
  };
  for (const name of scans.keys()) await place(name);
  return results;
}

/** Finds one scan's place among the others, which stand; a poor fit becomes a note, a useless one a Fault. */
export async function placeOne(
  asked: Asked,
  others: ReadonlyMap<string, ReadScan>,
  files: Files,
  run: Run,
): Promise<{ placing: Rigid; result: PlacingResult }> {
  checkCancelled(run.context);
  const { placing, ...about } = await findPlacing(asked, others, files, run);
  const result: PlacingResult = { scan: asked.scan.name, matrix: rowsOf(placing), sha256: asked.sha256, ...about };
  check(result, asked.fit.limit ?? LIMIT, run);
  return { placing, result };
}

/** A doubtful placing becomes a note, a useless one a Fault. */
function check(p: PlacingResult, limit: number, run: Run): void {
  const error = p.error_mm ?? 0;
  if (error > Math.max(FAILED, 4 * limit))
    throw new Fault({
      code: 'place-too-loose',
      what: `Scan "${p.scan}" is not held well enough where the body will be.`,
      got: `an expected error of ${error.toFixed(2)} mm at the region's corners${p.weakest ? `; weakest: ${p.weakest.direction}` : ''}`,
      expected: `at most ${Math.max(FAILED, 4 * limit)} mm, better ${limit} mm`,
      hint: 'scan more of what both scans share, or measure more stickers, spread round the region',
      where: p.scan,
    });
  const doubts = [...p.doubts];
  if (error > limit && !doubts.some((d) => d.includes('only known to')))
    doubts.push(`its place is only known to ${error.toFixed(2)} mm in the region (limit ${limit} mm)`);
  for (const d of doubts) run.notes.push({ code: 'placing-doubt', text: `Placing of "${p.scan}": ${d}.`, where: p.scan });
}

/** A scan whose place is to be found. */
interface Asked {
  /** As moved by `start`. */
  readonly scan: Scan;
  readonly sha256: string;
  readonly fit: Fit;
  readonly start: Rigid;
  /** Points at which the error is asked, mm. */
  readonly at: readonly Vec3[];
}

type Found = Omit<PlacingResult, 'scan' | 'matrix' | 'sha256'> & { readonly placing: Rigid };

async function findPlacing(asked: Asked, scans: ReadonlyMap<string, ReadScan>, files: Files, run: Run): Promise<Found> {
  const { fit } = asked;
  if (fit.from !== null) return fromFile(asked, fit.from, files);
  if (fit.targets !== null) return byTargets(asked, fit.targets, files);
  return bySurface(asked, scans.get(fit.onto!)!.scan, run);
}

function bySurface({ scan, fit, start, at }: Asked, onto: Scan, run: Run): Found {
  for (const s of [scan, onto])
    if (s.triangles === 0)
      throw new Fault({
        code: 'place-cloud',
        what: `Scan "${s.name}" is a cloud of points: it has no surface that could be laid onto another.`,
        expected: 'scans with triangles',
        hint: 'place it by targets, or export it with faces',
        where: s.settings.file,
      });
  const found = placeBySurface(scan.mesh, onto.mesh, { at, limit: fit.limit ?? LIMIT, where: scan.settings.file }, run.context);
  return {
    placing: after(found.placing, start),
    by: 'surface',
    onto: onto.name,
    residual_mm: { median: found.median, p95: found.p95 },
    error_mm: Math.max(...found.errorAt),
    overlap_percent: 100 * found.overlap,
    weakest: { direction: found.weakestDirection, strength: found.weakest },
    doubts: found.doubts,
  };
}

async function byTargets({ scan, fit, at }: Asked, { own, fixed }: NonNullable<Fit['targets']>, files: Files): Promise<Found> {
  const [moving, still] = [await readTargets(own, scan, files), await readTargets(fixed, scan, files)];
  const found = placeByTargets(moving, still, {
    ...(fit.tolerance === null ? {} : { tolerance: fit.tolerance }),
    where: own,
  });
  const matched = found.pairs.map(([, f]) => still[f]);
  return {
    placing: found.placing,
    by: 'targets',
    onto: fixed,
    residual_mm: quantiles(found.residuals),
    error_mm: Math.max(...at.map((p) => targetError(matched, found.rms, p))),
    targets: { matched: found.pairs.length, own: moving.length, fixed: still.length, scale_error_percent: 100 * found.scaleError },
    doubts: found.doubts,
  };
}

/** Centres of stickers, mm: any file that reads as points, in the scan's unit unless it carries its own. */
async function readTargets(name: string, scan: Scan, files: Files): Promise<Vec3[]> {
  const read = await readScan(await files.open(name));
  const k = MM_PER[read.unit ?? scan.unit];
  return read.parts.flatMap(({ cloud, mesh }) => {
    const points = cloud ?? mesh;
    if (!points) return [];
    const { origin, positions: p } = points;
    return Array.from(
      { length: p.length / 3 },
      (_, i): Vec3 => [(origin[0] + p[i * 3]) * k, (origin[1] + p[i * 3 + 1]) * k, (origin[2] + p[i * 3 + 2]) * k],
    );
  });
}

const row = z.tuple([z.number(), z.number(), z.number(), z.number()]);
const placingsFile = z.looseObject({
  voidgauge_placings: z.literal(1),
  placings: z.array(
    z.looseObject({ scan: z.string(), sha256: z.string(), matrix: z.tuple([row, row, row]), error_mm: z.number().nullable() }),
  ),
});

/** The file that keeps placings for later runs. */
export const placingsText = (placings: readonly PlacingResult[]): string =>
  `${JSON.stringify({ voidgauge_placings: 1, placings }, null, 2)}\n`;

async function fromFile({ scan, sha256 }: Asked, name: string, files: Files): Promise<Found> {
  const known = readPlacings(new TextDecoder().decode(await (await files.open(name)).bytes()), name);
  const mine = known.find((p) => p.scan === scan.name && p.sha256 === sha256);
  if (!mine) {
    const stale = known.some((p) => p.scan === scan.name);
    throw new Fault({
      code: stale ? 'placing-stale' : 'placing-missing',
      what: stale
        ? `The placing of "${scan.name}" in this file belongs to another version of ${scan.settings.file}.`
        : `This file holds no placing of "${scan.name}".`,
      ...(stale ? {} : { got: known.map((p) => p.scan).join(', ') || 'none' }),
      expected: stale ? 'the scan file that was placed' : `a placing of "${scan.name}"`,
      hint: 'place it anew with "onto" or "targets"',
      where: name,
    });
  }
  return { placing: rigidOf(mine.matrix), by: 'file', onto: name, residual_mm: null, error_mm: mine.error_mm, doubts: [] };
}

function readPlacings(text: string, name: string): { scan: string; sha256: string; matrix: Placing; error_mm: number | null }[] {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    value = undefined;
  }
  const parsed = placingsFile.safeParse(value);
  if (parsed.success) return parsed.data.placings;
  throw new Fault({
    code: 'placings-file',
    what: 'This is no file of placings.',
    expected: 'a placings.json as a run with -o writes it',
    where: name,
  });
}

import { checkCancelled } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import { meshIn } from '../core/mesh.ts';
import { readScan } from '../io/read.ts';
import type { Job } from '../job/job.ts';
import type { InputResult } from '../report/result.ts';
import { leftPiecesNote, type PiecesTaken } from '../scan/pieces.ts';
import { makeScan, type Scan } from '../scan/scan.ts';
import { type Specks, speckNote } from '../scan/specks.ts';
import { checkOrientation, checkUnits } from '../space/checks.ts';
import { earlyDatum, intoDatum, regionCorners } from './datum.ts';
import { placeScans, type ReadScan } from './place.ts';
import type { Files, Run } from './run.ts';

export interface LoadOptions {
  /** Scans of any size and either way round are wanted: they are only looked over. */
  readonly anySize?: boolean;
}

/** Reads every file once and makes the job's scans of it. */
export async function loadScans(
  job: Job,
  files: Files,
  run: Run,
  options: LoadOptions = {},
): Promise<{ scans: Scan[]; inputs: InputResult[] }> {
  const entries = Object.entries(job.scans);
  const names = [...new Set(entries.map(([, s]) => s.file))];
  const scans = new Map<string, ReadScan>();
  const specks: Specks[] = [];
  for (const [i, name] of names.entries()) {
    run.context.progress('reading scans', i / names.length);
    checkCancelled(run.context);
    const file = await files.open(name);
    const read = await readScan(file);
    run.notes.push(...read.notes);
    const sha256 = await file.digest();
    for (const [scanName, settings] of entries) {
      if (settings.file !== name) continue;
      const scan = await makeScan(scanName, settings, read, { unit: job.units, specks, context: run.context });
      scans.set(scanName, { scan, sha256 });
    }
  }
  const early = earlyDatum(job, scans, run.context);
  run.placings.push(...(await placeScans(scans, () => regionCorners(job, scans, early), files, run)));
  intoDatum(job, scans, early, run);
  run.notes.push(...speckNote(specks), ...leftPieces(job, scans));
  const kept = entries.map(([n]) => scans.get(n)!.scan).filter((s) => s.settings.role !== 'ignore');
  // Every task that takes a scan reads the same memory.
  const ordered = kept.map((s): Scan => ({ ...s, mesh: meshIn(run.context.pool, s.mesh) }));
  if (!options.anySize) {
    checkUnits(ordered);
    for (const s of ordered) if (s.settings.role === 'removed') checkOrientation(s);
  }
  run.done('reading scans');
  const inputs = entries.map(([name, { file }]): InputResult => {
    const { scan, sha256 } = scans.get(name)!;
    const { triangles, points, unit, box } = scan;
    return { scan: name, file, sha256, triangles, points, unit, box_mm: box };
  });
  return { scans: ordered, inputs };
}

/** Pieces of files that some scans take pieces of and no scan takes whole. */
function leftPieces(job: Job, scans: ReadonlyMap<string, ReadScan>): Note[] {
  const takings = new Map<string, { readonly file: string; readonly taken: PiecesTaken[] }>();
  const whole = new Set<string>();
  for (const [name, { file, groups }] of Object.entries(job.scans)) {
    const chosen = scans.get(name)?.scan.chosen;
    const of = groups ? `${groups.join(', ')} of ${file}` : file;
    if (chosen) takings.set(of, { file, taken: [...(takings.get(of)?.taken ?? []), chosen] });
    else whole.add(of);
  }
  const left = [...takings].filter(([of, { file }]) => !whole.has(of) && !whole.has(file));
  return left.flatMap(([of, { taken }]) => leftPiecesNote(of, taken));
}

import { basename, dirname, resolve } from 'node:path';
import type { Command } from 'commander';
import { boxOfPositions, meshBox } from '../../src/core/mesh.ts';
import { MM_PER } from '../../src/core/units.ts';
import { type Box3, emptyBox, scale, unionBox } from '../../src/core/vec.ts';
import { readScan, type ScanFile } from '../../src/io/read.ts';
import { guessUnit } from '../../src/job/guess.ts';
import { type NewScan, renderNewJob, scanName, suggestRole } from '../../src/job/new-job.ts';
import { checkOutFile, fileSource, nameFrom, writeWhole } from '../files.ts';
import { showProgress } from '../progress.ts';
import { endOnSignals, print } from '../report.ts';

interface Options {
  output?: string;
  force?: boolean;
}

export function addNew(program: Command): void {
  program
    .command('new')
    .argument('<scan...>', 'scan files: STL, PLY, OBJ, GLB or glTF, also packed with gzip')
    .description('write a job file for these scans, with comments, for editing')
    .option('-o, --output <file>', 'where to write it (default: print it)')
    .option('-f, --force', 'write over an existing file')
    .action(run);
}

/** What one file holds, as far as a new job needs it; its mesh is let go at once. */
interface Found {
  readonly path: string;
  readonly file: Pick<ScanFile, 'format' | 'unit'>;
  /** In the file's unit. */
  readonly box: Box3;
  readonly groups: readonly string[];
}

async function run(paths: readonly string[], options: Options): Promise<void> {
  endOnSignals();
  // Before the scans are read, which may take a while.
  if (options.output) await checkOutFile(options.output, options.force === true);
  const shown = showProgress(process.stderr);
  const found: Found[] = [];
  try {
    for (const [i, path] of paths.entries()) {
      shown.progress(`reading ${basename(path)}`, i / paths.length);
      found.push(await look(path));
    }
  } finally {
    shown.end();
  }
  const folder = options.output ? dirname(options.output) : '.';
  const text = renderNewJob(basename(resolve(folder)), describe(found, folder));
  if (!options.output) return print(text);
  await writeWhole(options.output, text, options.force === true);
  process.stderr.write(`${options.output} is written. Check the units and the roles in it, then: voidgauge measure ${options.output}\n`);
}

async function look(path: string): Promise<Found> {
  const file = await readScan(await fileSource(path));
  const boxes = file.parts.flatMap((p) => [
    ...(p.mesh ? [meshBox(p.mesh)] : []),
    ...(p.cloud ? [boxOfPositions(p.cloud.origin, p.cloud.positions)] : []),
  ]);
  return {
    path,
    file: { format: file.format, unit: file.unit },
    box: boxes.reduce(unionBox, emptyBox()),
    groups: file.parts.map((p) => p.name),
  };
}

/** Files that do not say their unit are taken to share one: they were scanned together. */
function describe(found: readonly Found[], folder: string): NewScan[] {
  const guess = guessUnit(found.filter((f) => !f.file.unit).reduce((box, f) => unionBox(box, f.box), emptyBox()));
  const names: string[] = [];
  return found.map(({ path, file, box, groups }) => {
    const name = scanName(path, names);
    names.push(name);
    const unit = file.unit ?? guess.unit;
    const reason = file.unit ? `${file.format} says its unit: ${file.unit}` : guess.reason;
    const mm: Box3 = { min: scale(box.min, MM_PER[unit]), max: scale(box.max, MM_PER[unit]) };
    return {
      name,
      file: nameFrom(folder, path),
      unit,
      reason,
      carried: file.unit !== null,
      box: mm,
      role: suggestRole(name, found.length),
      groups,
    };
  });
}

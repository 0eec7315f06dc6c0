import { createHash } from 'node:crypto';
import { availableParallelism } from 'node:os';
import { dirname, join } from 'node:path';
import type { Command } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { parseJob } from '../../src/job/job.ts';
import { MAKE_OUTPUTS, type MakeOutput, onlyOutputs } from '../../src/job/schema-make.ts';
import type { Made, SeedReport } from '../../src/pipeline/make.ts';
import { DRAWING_FILE, FOAM_FILE, PRINT_FILE, SCALED_NAME, SECTION_FILES } from '../../src/report/files.ts';
import { compute } from '../compute.ts';
import { checkOutFolder, readText, writeFolder } from '../files.ts';
import { num, row, sized, wrap } from '../lines.ts';
import { stepLength, workerCount } from '../options.ts';
import { print } from '../report.ts';
import { isFolder, type MeasuredJob, measuredJob, WORKSHOP } from '../results.ts';
import { drawnLines } from '../rows-drawn.ts';
import { tooledLines } from '../rows-tooled.ts';
import { VERSION } from '../version.ts';

interface Options
  extends Partial<Readonly<Record<'seed' | 'stepFile' | 'sections' | 'drawing' | 'ribs' | 'print' | 'mould' | 'slack', boolean>>> {
  output?: string;
  json?: boolean;
  step?: number;
  workers?: number;
  force?: boolean;
}

export function addMake(program: Command): void {
  program
    .command('make')
    .argument('<job>', 'job file, YAML, or the folder with the results of a measure run; the job\'s section "make" says what is made')
    .description('make the files for the workshop: the seed mesh, certified clear of every scan')
    .option(
      '-o, --output <folder>',
      'write the files, their certificates and manifest.json into this folder (default for a folder of results: workshop in it)',
    )
    .option('--seed', 'the seed mesh; this and the next seven, when given, are made instead of what the job says')
    .option('--step-file', 'the seed mesh as a STEP solid of at most 5,000 faces')
    .option('--sections', 'outlines at stations, DXF and SVG')
    .option('--drawing', 'the drawing page')
    .option('--ribs', 'the rib kit')
    .option('--print', 'the body in parts for a printer, with pegs')
    .option('--mould', 'what to know before a plug or a mould is paid for')
    .option('--slack', 'the slack field, NRRD')
    .option('--json', 'print the manifest instead of a table')
    .option('--step <length>', "size of a fine cell (default: the job's, or that of the results)", stepLength)
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .option('-f, --force', 'write over earlier files in the folder')
    .action(run);
}

/** Files that a run may write; with --force, those of an earlier run that the new one does not have go. */
const MADE = [
  'manifest.json',
  'slack.nrrd',
  DRAWING_FILE,
  PRINT_FILE,
  FOAM_FILE,
  ...SECTION_FILES,
  'ribs-assembly.svg',
  ...Array.from({ length: 40 }, (_, i) => [`ribs-sheet-${i + 1}.dxf`, `ribs-sheet-${i + 1}.svg`]).flat(),
  ...['seed', 'seed-small', SCALED_NAME].flatMap((n) =>
    ['stl', 'glb', '3mf', 'ply', 'obj', 'step', 'certificate.json'].map((e) => `${n}.${e}`),
  ),
];

async function run(path: string, options: Options): Promise<void> {
  const { job: whole, folder, step, edited } = await jobOf(path);
  const out = options.output ?? ((await isFolder(path)) ? join(path, WORKSHOP) : undefined);
  if (out === undefined)
    throw new Fault({ code: 'no-output', what: 'It is not said where the files shall go.', expected: 'a folder: -o FOLDER', where: path });
  const picked = MAKE_OUTPUTS.filter((o) => options[keyOf(o)]);
  const job = picked.length > 0 ? { ...whole, make: onlyOutputs(whole.make, picked) } : whole;
  await checkOutFolder(out, options.force === true);
  if (edited) process.stderr.write('The job file has changed since it was measured: the job is taken as it was then.\n');
  const { value: made, files } = await compute<Omit<Made, 'files'>>({
    ask: 'make',
    job,
    folder,
    options: { step: options.step ?? step, version: VERSION, time: new Date().toISOString().slice(0, 19) },
    workers: options.workers ?? availableParallelism(),
  });
  const all = withManifest(made, files);
  await writeFolder(out, all, MADE);
  await print(options.json ? String(all.get('manifest.json')) : table(made, [...all.keys()]));
  process.stderr.write(`Written to ${out}.\n`);
}

/** The flag's name as the parser of the command line gives it. */
const keyOf = (o: MakeOutput): Exclude<keyof Options, 'output' | 'json' | 'step' | 'workers' | 'force'> =>
  o === 'step-file' ? 'stepFile' : o;

async function jobOf(path: string): Promise<Omit<MeasuredJob, 'step'> & { step?: number }> {
  if (await isFolder(path)) return measuredJob(path);
  return { job: parseJob(await readText(path, 'a job file'), path), folder: dirname(path), edited: false };
}

const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');
const hashOf = ([file, data]: readonly [string, string | Uint8Array]) => {
  const bytes = typeof data === 'string' ? Buffer.from(data) : data;
  return { file, bytes: bytes.length, sha256: sha256(bytes) };
};
const jsonText = (value: unknown): string => `${JSON.stringify(value, null, 2)}\n`;

/** The files with a certificate beside each mesh, and a manifest of all with their hashes. */
function withManifest(made: Omit<Made, 'files'>, files: ReadonlyMap<string, Uint8Array>): Map<string, string | Uint8Array> {
  const tool = { name: 'voidgauge', version: VERSION };
  const out = new Map<string, string | Uint8Array>(files);
  const hashes = [...files].map(hashOf);
  for (const { name, certificate, ...about } of made.seeds) {
    const own = hashes.filter((h) => h.file.startsWith(`${name}.`));
    out.set(
      `${name}.certificate.json`,
      jsonText({ tool, ...about, job: made.job.name, files: own, inputs: made.inputs, certificate, cautions: made.cautions }),
    );
  }
  // The certificates are files of the manifest too; it alone cannot name its own hash.
  const all = [...out].map(hashOf);
  const { seeds, ...rest } = made;
  const summary = seeds.map(({ certificate, ...s }) => ({ ...s, pass: certificate.pass }));
  out.set('manifest.json', jsonText({ version: 1, tool, files: all, seeds: summary, ...rest }));
  return out;
}

function table(made: Omit<Made, 'files'>, names: readonly string[]): string {
  const lines = made.seeds.flatMap(seedLines);
  lines.push(...drawnLines(made), ...tooledLines(made));
  lines.push('', ...wrap(`Files: ${names.join(', ')}`, ''));
  if (made.notes.length > 0) lines.push('', 'Notes', ...made.notes.flatMap((n) => wrap(n.text, '  - ')));
  lines.push('', ...made.cautions.flatMap((c) => wrap(c, '! ')));
  return `${lines.join('\n')}\n`;
}

function seedLines(s: SeedReport): string[] {
  return [
    ...wrap(
      `${s.name}: ${s.faces} faces, ${s.volume_l.toFixed(2)} l, ${s.loss_percent.toFixed(2)} % less than the ${s.of}; simplified by about ${sized(s.error_mm)} mm, only inward`,
      '',
    ),
    row('  closest to', 'is, mm', 'asked, mm', ''),
    ...s.certificate.obstacles.map((o) =>
      row(
        `  ${o.name}`,
        o.at_least_mm === null ? 'nothing' : (Math.floor(o.at_least_mm * 100) / 100).toFixed(2),
        num(o.asked_mm),
        o.pass ? 'clear' : 'TOO NEAR',
      ),
    ),
  ];
}

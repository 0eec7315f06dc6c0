import { readdir } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { dirname } from 'node:path';
import type { Command } from 'commander';
import { pathCsv } from '../../src/fit/csv.ts';
import type { TrialResult } from '../../src/fit/trial.ts';
import { type Job, parseJob } from '../../src/job/job.ts';
import type { Trial } from '../../src/pipeline/trial.ts';
import { CAUTIONS } from '../../src/report/result.ts';
import type { BodyAbout } from '../body.ts';
import { compute } from '../compute.ts';
import { checkOutFolder, checkReadable, readText, writeFolder } from '../files.ts';
import { workerCount } from '../options.ts';
import { print } from '../report.ts';
import { fitTable } from '../rows-fit.ts';
import { VERSION } from '../version.ts';

interface Options {
  output?: string;
  force?: boolean;
  against?: string[];
  json?: boolean;
  workers?: number;
}

export function addFit(program: Command): void {
  program
    .command('fit')
    .argument('<job>', 'job file, YAML, with the scans and their clearances')
    .argument('<body>', 'the finished body, a closed mesh in its place: STL, PLY, OBJ, GLB or 3MF')
    .description('hold a finished body against the scans: how near, what is wrong, whether it goes in, and where it would sit better')
    .option('--against <job...>', 'jobs of sister models: the same body at the same place in each')
    .option(
      '-o, --output <folder>',
      'write fit.json into this folder, and the path of a body that turns on its way in as a table; in the folder of a measure run, "view" and "report" then show the body on its way',
    )
    .option('-f, --force', 'write over earlier results in the folder')
    .option('--json', 'print everything as JSON instead of a table')
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .addHelpText('after', '\nExit code 3 when the body comes too near somewhere as it is placed, in any of the jobs.')
    .action(run);
}

/** What one vehicle says of the body. */
export interface FitAnswer extends Trial {
  readonly mesh: BodyAbout;
}

async function run(path: string, mesh: string, options: Options): Promise<void> {
  const paths = [path, ...(options.against ?? [])];
  // All that can be wrong with the command is told before the first long run.
  const jobs: Job[] = [];
  for (const p of paths) jobs.push(parseJob(await readText(p, 'a job file'), p));
  await checkReadable(mesh, 'a mesh');
  if (options.output !== undefined) await checkOutput(options.output, options.force === true);
  const workers = options.workers ?? availableParallelism();
  const answers: FitAnswer[] = [];
  let drawn: ReadonlyMap<string, Uint8Array> = new Map();
  for (const [i, job] of jobs.entries()) {
    const { value, files } = await compute<FitAnswer>({ ask: 'fit', job, folder: dirname(paths[i]), mesh, workers });
    answers.push(value);
    drawn = files;
  }
  const vehicles = answers.map(({ trial, inputs, notes }, i) => ({ job: jobs[i].name, file: paths[i], inputs, ...trial, notes }));
  const result = { tool: { name: 'voidgauge', version: VERSION }, mesh: answers[0].mesh, vehicles, cautions: CAUTIONS };
  const json = `${JSON.stringify(result, null, 2)}\n`;
  if (options.output !== undefined)
    await writeFolder(options.output, new Map<string, string | Uint8Array>([...filesOf(json, vehicles), ...drawn]), [
      ...OWN,
      ...jobs.map((_, i) => pathFile(i)),
    ]);
  await print(options.json ? json : fitTable(result));
  if (options.output !== undefined) process.stderr.write(`Written to ${options.output}.\n`);
  if (vehicles.some((v) => !v.as_placed.pass)) process.exitCode = 3;
}

/** Besides the paths. */
const OWN = ['fit.json', 'fit-body.glb'];

/** Beside the results of a measure run there is room for those of a fit; everything else must be new, empty or forced. */
async function checkOutput(out: string, force: boolean): Promise<void> {
  const held = await readdir(out).catch((): string[] => []);
  const added = held.includes('result.json') && !held.some((name) => OWN.includes(name) || /^path(-\d+)?\.csv$/.test(name));
  await checkOutFolder(out, force || added);
}

/** The first vehicle's path is path.csv, the second's path-2.csv. */
const pathFile = (i: number): string => (i === 0 ? 'path.csv' : `path-${i + 1}.csv`);

function filesOf(json: string, vehicles: readonly TrialResult[]): Map<string, string> {
  const files = new Map<string, string>([['fit.json', json]]);
  vehicles.forEach(({ way }, i) => {
    if (way.turned?.works) files.set(pathFile(i), pathCsv(way.turned.path));
  });
  return files;
}

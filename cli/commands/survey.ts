import { availableParallelism } from 'node:os';
import { basename, dirname, extname, resolve } from 'node:path';
import { type Command, Option } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { LENGTH_UNITS, type LengthUnit } from '../../src/core/units.ts';
import { type Job, parseJob } from '../../src/job/job.ts';
import { scanName } from '../../src/job/new-job.ts';
import type { Survey } from '../../src/pipeline/survey.ts';
import { compute } from '../compute.ts';
import { readText } from '../files.ts';
import { workerCount } from '../options.ts';
import { print } from '../report.ts';
import { surveyTable } from '../survey-table.ts';

interface Options {
  json?: boolean;
  units: LengthUnit;
  workers?: number;
}

export function addSurvey(program: Command): void {
  program
    .command('survey')
    .argument('<file...>', 'a job file, or scan files')
    .description('look scans over: holes, specks, doubled and flipped surface, noise; with a job, what to scan again')
    .option('--json', 'print it as JSON, with the borders of the holes')
    .addOption(new Option('--units <unit>', 'unit of scan files that carry none').choices(LENGTH_UNITS).default('mm'))
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .action(run);
}

const isJob = (path: string): boolean => ['.yaml', '.yml'].includes(extname(path).toLowerCase());

async function run(paths: readonly string[], options: Options): Promise<void> {
  const jobs = paths.filter(isJob);
  if (jobs.length > 0 && paths.length > 1)
    throw new Fault({
      code: 'survey-mixed',
      what: 'A job names its scans itself.',
      got: `${jobs[0]} and ${paths.length - 1} more`,
      expected: 'one job file, or scan files alone',
    });
  const scansOnly = jobs.length === 0;
  const job = scansOnly ? jobOf(paths, options.units) : parseJob(await readText(paths[0], 'a job file'), paths[0]);
  const { value } = await compute<Survey>({
    ask: 'survey',
    job,
    folder: scansOnly ? '.' : dirname(paths[0]),
    workers: options.workers ?? availableParallelism(),
    scansOnly,
  });
  await print(options.json ? `${JSON.stringify(value, null, 2)}\n` : surveyTable(value));
}

/** A job that does nothing but name these files. */
function jobOf(paths: readonly string[], units: LengthUnit): Job {
  const names: string[] = [];
  for (const path of paths) names.push(scanName(path, names));
  const scans = Object.fromEntries(paths.map((path, i) => [names[i], { file: resolve(path) }]));
  return parseJob(JSON.stringify({ voidgauge: 1, units, scans }), basename(paths[0]));
}

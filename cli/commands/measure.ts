import { availableParallelism } from 'node:os';
import { dirname } from 'node:path';
import type { Command } from 'commander';
import { JOB_DEFAULTS } from '../../src/job/defaults.ts';
import { parseJob } from '../../src/job/job.ts';
import type { Result } from '../../src/report/result.ts';
import { compute } from '../compute.ts';
import { checkOutFolder, readText, writeFolder } from '../files.ts';
import { stepLength, workerCount } from '../options.ts';
import { print } from '../report.ts';
import { knownFiles, resultFiles, resultText } from '../result-folder.ts';
import { resultTable } from '../table.ts';
import { VERSION } from '../version.ts';

interface Options {
  output?: string;
  json?: boolean;
  step?: number;
  workers?: number;
  quick?: boolean;
  force?: boolean;
}

export function addMeasure(program: Command): void {
  program
    .command('measure')
    .argument('<job>', 'job file, YAML')
    .description('measure the room that a job describes')
    .option('-o, --output <folder>', 'write result.json, the meshes and what "voidgauge view" shows into this folder')
    .option('--json', 'print the result as JSON instead of a table')
    .option('--step <length>', `size of a fine cell (default: the job's, else ${JOB_DEFAULTS.step} mm)`, stepLength)
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .option('--quick', 'twice the step: a first look in a fraction of the time')
    .option('-f, --force', 'write over earlier results in the folder')
    .action(run);
}

async function run(path: string, options: Options): Promise<void> {
  const job = parseJob(await readText(path, 'a job file'), path);
  if (options.output !== undefined) await checkOutFolder(options.output, options.force === true);
  const done = await compute<Result>({
    ask: 'measure',
    job,
    folder: dirname(path),
    options: { step: options.step, quick: options.quick, version: VERSION },
    workers: options.workers ?? availableParallelism(),
    meshes: options.output !== undefined,
  });
  const { output } = options;
  const all = output === undefined ? null : resultFiles(done, output, { folder: dirname(path), job: path });
  if (output !== undefined && all) await writeFolder(output, all, knownFiles(done.value));
  await print(options.json ? String(all?.get('result.json') ?? resultText(done.value)) : resultTable(done.value));
  process.stderr.write(
    options.output !== undefined
      ? `Written to ${options.output}. To see it: voidgauge view ${options.output}\n`
      : 'Nothing was written to disk; -o FOLDER keeps the result and its meshes.\n',
  );
}

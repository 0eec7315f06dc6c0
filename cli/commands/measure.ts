import { availableParallelism } from 'node:os';
import { dirname } from 'node:path';
import { type Command, InvalidArgumentError } from 'commander';
import { parseLength } from '../../src/core/units.ts';
import { JOB_DEFAULTS } from '../../src/job/defaults.ts';
import { parseJob } from '../../src/job/job.ts';
import { receiveError } from '../../src/parallel/messages.ts';
import type { Result } from '../../src/report/result.ts';
import type { Order, Said } from '../engine.ts';
import { checkOutFolder, readText, writeFolder } from '../files.ts';
import { showProgress } from '../progress.ts';
import { endOnSignals, print } from '../report.ts';
import { spawnThread } from '../spawn.ts';
import { wholeRun } from '../stages.ts';
import { resultTable } from '../table.ts';
import { VERSION } from '../version.ts';

/** Files that a run may write; with --force, those of an earlier run that the new one does not have go. */
const RESULT_FILES = ['result.json', 'envelope.stl', 'envelope.glb', 'cavity.stl', 'scene.glb', 'coarse.json', 'coarse.bin'];

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

function stepLength(text: string): number {
  const mm = parseLength(text);
  if (!(mm > 0)) throw new InvalidArgumentError('A step is a length of more than 0: a number in mm, or with a unit.');
  return mm;
}

function workerCount(text: string): number {
  const count = Number(text);
  if (!/^\d+$/.test(text) || count < 1 || count > 256)
    throw new InvalidArgumentError('The number of threads is a whole number from 1 to 256.');
  return count;
}

async function run(path: string, options: Options): Promise<void> {
  const job = parseJob(await readText(path, 'a job file'), path);
  if (options.output !== undefined) await checkOutFolder(options.output, options.force === true);
  const shown = showProgress(process.stderr);
  endOnSignals(shown.end);
  const { result, files } = await compute(
    {
      job,
      folder: dirname(path),
      options: { step: options.step, quick: options.quick, version: VERSION },
      workers: options.workers ?? availableParallelism(),
      meshes: options.output !== undefined,
    },
    shown.progress,
  ).finally(shown.end);
  const json = `${JSON.stringify(result, null, 2)}\n`;
  if (options.output !== undefined)
    await writeFolder(options.output, new Map<string, string | Uint8Array>([['result.json', json], ...files]), RESULT_FILES);
  await print(options.json ? json : resultTable(result));
  process.stderr.write(
    options.output !== undefined
      ? `Written to ${options.output}. To see it: voidgauge view ${options.output}\n`
      : 'Nothing was written to disk; -o FOLDER keeps the result and its meshes.\n',
  );
}

/** Runs the engine's thread to its end. */
function compute(
  order: Order,
  progress: (stage: string, done: number) => void,
): Promise<{ result: Result; files: ReadonlyMap<string, Uint8Array> }> {
  const whole = wholeRun();
  const thread = spawnThread(new URL('../engine.ts', import.meta.url), { workerData: order });
  return new Promise((resolve, reject) => {
    thread.on('message', (said: Said) => {
      if ('progress' in said) {
        const { stage, done } = whole(...said.progress);
        progress(stage, done);
      } else if ('error' in said) reject(receiveError(said.error));
      else resolve(said);
    });
    thread.on('error', reject);
    thread.on('exit', (code) => reject(new Error(`the computing thread ended without a result (code ${code})`)));
  });
}

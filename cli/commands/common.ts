import { availableParallelism } from 'node:os';
import { dirname } from 'node:path';
import type { Command } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { parseJob } from '../../src/job/job.ts';
import type { CommonResult } from '../../src/pipeline/common.ts';
import { CAUTIONS } from '../../src/report/result.ts';
import { compute } from '../compute.ts';
import { checkOutFolder, readText, writeFolder } from '../files.ts';
import { at, boundedText, count, decimals, labelled, num, row, sized, wrap } from '../lines.ts';
import { stepLength, workerCount } from '../options.ts';
import { print } from '../report.ts';
import { VERSION } from '../version.ts';

interface Options {
  output?: string;
  json?: boolean;
  step?: number;
  workers?: number;
  force?: boolean;
}

const FILES = ['common.json', 'common.stl', 'common.glb'];

export function addCommon(program: Command): void {
  program
    .command('common')
    .argument('<job...>', 'job files of two or more vehicles, their scans in one frame of reference')
    .description('find the room that is free in all of several vehicles, and what each of them costs')
    .option('-o, --output <folder>', 'write common.json and the meshes into this folder')
    .option('--json', 'print the result as JSON instead of a table')
    .option('--step <length>', "size of a cell (default: the largest of the jobs')", stepLength)
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .option('-f, --force', 'write over earlier results in the folder')
    .action(run);
}

async function run(paths: readonly string[], options: Options): Promise<void> {
  if (paths.length < 2)
    throw new Fault({
      code: 'common-one',
      what: 'Two jobs or more are needed.',
      got: paths.join(', '),
      hint: 'one vehicle alone is what "measure" is for',
    });
  const vehicles: { job: ReturnType<typeof parseJob>; folder: string }[] = [];
  for (const p of paths) vehicles.push({ job: parseJob(await readText(p, 'a job file'), p), folder: dirname(p) });
  if (options.output !== undefined) await checkOutFolder(options.output, options.force === true);
  const [{ job, folder }, ...others] = vehicles;
  const workers = options.workers ?? availableParallelism();
  const { value, files } = await compute<CommonResult>({ ask: 'common', job, folder, others, step: options.step, workers });
  const result = { tool: { name: 'voidgauge', version: VERSION }, jobs: vehicles.map((v) => v.job), ...value, cautions: CAUTIONS };
  const json = `${JSON.stringify(result, null, 2)}\n`;
  if (options.output !== undefined)
    await writeFolder(options.output, new Map<string, string | Uint8Array>([['common.json', json], ...files]), FILES);
  await print(options.json ? json : table(value));
  if (options.output !== undefined) process.stderr.write(`Written to ${options.output}.\n`);
}

function table({ common: c, vehicles, step_mm, dims, least_radius_mm, notes }: CommonResult): string {
  const digits = decimals(c.volume_l);
  const size = c.box_mm.min.map((v, a) => Math.round(c.box_mm.max[a] - v)).join(' x ');
  const lines = [
    ...wrap(`Room free in all of ${count(vehicles.length, 'vehicle')}`, ''),
    ...wrap(`cells of ${num(step_mm)} mm, ${dims.join(' x ')}; least radius ${num(least_radius_mm)} mm`, ''),
    '',
    row('', 'litres', 'from', 'to'),
    row('Common envelope', ...boundedText(c.volume_l)),
    '',
    row('Vehicle', 'alone', 'costs'),
    ...vehicles.map((v) => row(`  ${v.job}`, v.own_l.toFixed(digits), v.costs_l.toFixed(digits))),
    ...wrap('Costs: what the others would share more of if this one were left out.', '  '),
    '',
    ...labelled('Envelope', `${sized(c.area_dm2)} dm2 of surface, ${size} mm, ${count(c.through_holes, 'through-hole')}`),
    ...labelled('Ball', `the largest is ${sized(2 * c.largest_ball.radius_mm)} mm across, at ${at(c.largest_ball.centre_mm)}`),
    ...labelled('Start', `${at(c.start_mm)}: ${c.start_from}`),
  ];
  if (notes.length > 0) lines.push('', 'Notes', ...notes.flatMap((n) => wrap(n.text, '  - ')));
  lines.push('', ...CAUTIONS.flatMap((t) => wrap(t, '! ')));
  return `${lines.join('\n')}\n`;
}

import { mkdir, stat } from 'node:fs/promises';
import { availableParallelism } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { type Command, InvalidArgumentError } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { rowLitres, type StudyRow, studyCsv } from '../../src/fill/study.ts';
import { type Job, parseJob } from '../../src/job/job.ts';
import type { Study, StudyLists } from '../../src/pipeline/study.ts';
import { type Line, lineChart } from '../../src/report/chart.ts';
import { type Bounded, CAUTIONS, type Result, withCautions } from '../../src/report/result.ts';
import { compute } from '../compute.ts';
import { checkOutFolder, readText, writeFolder } from '../files.ts';
import { boundedText, num, wrap } from '../lines.ts';
import { stepLength, workerCount } from '../options.ts';
import { print } from '../report.ts';
import { resultFiles } from '../result-folder.ts';
import { VERSION } from '../version.ts';

interface Options {
  clearance?: number[];
  moreClearance?: number[];
  wall?: number[];
  leastRadius?: number[];
  output?: string;
  json?: boolean;
  step?: number;
  workers?: number;
  force?: boolean;
}

export function addStudy(program: Command): void {
  program
    .command('study')
    .argument('<job...>', 'a job to vary, or several jobs to measure one after the other')
    .description('litres for every combination of clearance, least radius and wall; or many jobs in one go')
    .option(
      '--clearance <list>',
      "the least clearance of the job's obstacles becomes this, the others keep their distance to it, mm",
      listOf(0),
    )
    .option('--more-clearance <list>', "mm added to every obstacle's clearance: 0,2,4 or from:to:step (default: 0)", listOf(-50))
    .option('--wall <list>', "walls, mm (default: the job's)", listOf(0.1))
    .option('--least-radius <list>', "least radii, mm (default: the job's)", listOf(0.1))
    .option('-o, --output <folder>', 'write study.csv, study.json and study.svg; for several jobs a folder of results each')
    .option('--json', 'print the rows as JSON instead of a table')
    .option('--step <length>', "size of a fine cell (default: the job's)", stepLength)
    .option('--workers <number>', `threads to compute with (default: one a core, here ${availableParallelism()})`, workerCount)
    .option('-f, --force', 'write over earlier files in the folder')
    .action((jobs: string[], options: Options) => (jobs.length === 1 ? vary(jobs[0], options) : measureAll(jobs, options)));
}

const MOST_VALUES = 100;

/** "0,2,4" or "from:to:step", mm; each at least `least`. */
export const listOf =
  (least: number) =>
  (text: string): number[] => {
    const range = /^(-?[\d.]+):(-?[\d.]+):([\d.]+)$/.exec(text.trim());
    const parts = text.split(',').map((t) => t.trim());
    let values = parts.map(Number);
    if (range) {
      const [from, to, step] = range.slice(1).map(Number);
      const count = step > 0 ? Math.floor((to - from) / step + 1e-9) + 1 : 0;
      values = count > 0 && count <= MOST_VALUES ? Array.from({ length: count }, (_, i) => Number((from + i * step).toFixed(6))) : [];
    } else if (parts.includes('')) values = [];
    if (values.length === 0 || values.length > MOST_VALUES || !values.every((v) => v >= least && v < 1e4))
      throw new InvalidArgumentError(
        `Values in mm, such as 3,4,5 or 2:8:1 (from:to:step), each at least ${least}, at most ${MOST_VALUES} of them.`,
      );
    return [...new Set(values)];
  };

async function vary(path: string, options: Options): Promise<void> {
  const job = parseJob(await readText(path, 'a job file'), path);
  if (options.output !== undefined) await checkOutFolder(options.output, options.force === true);
  const lists: StudyLists = {
    more: moreOf(job, options),
    radii: options.leastRadius ?? [job.least_radius],
    walls: options.wall ?? (job.tank ? [job.tank.wall] : []),
  };
  const workers = options.workers ?? availableParallelism();
  const { value } = await compute<Study>({ ask: 'study', job, folder: dirname(path), workers, lists, step: options.step });
  const json = `${JSON.stringify({ tool: { name: 'voidgauge', version: VERSION }, job: job.name, lists, ...value }, null, 2)}\n`;
  if (options.output !== undefined) {
    const files = new Map([
      ['study.json', json],
      ['study.csv', job.tank ? withCautions(studyCsv(value.rows)) : studyCsv(value.rows)],
      ['study.svg', chartOf(job, value.rows)],
    ]);
    await writeFolder(options.output, files, [...files.keys()]);
  }
  await print(options.json ? json : table(job, value));
  if (options.output !== undefined) process.stderr.write(`Written to ${options.output}.\n`);
}

/** What is added to every clearance: asked for as such, or by what the least of them becomes. */
function moreOf(job: Job, { clearance, moreClearance }: Options): number[] {
  if (!clearance) return moreClearance ?? [0];
  if (moreClearance)
    throw new Fault({
      code: 'study-clearance',
      what: 'Clearances are varied in two ways at once.',
      got: 'both --clearance and --more-clearance',
      expected: 'one of them',
    });
  const asked = Object.values(job.scans).flatMap((s) => (s.role === 'obstacle' ? [s.clearance] : []));
  const least = asked.length > 0 ? Math.min(...asked) : 0;
  return clearance.map((c) => Number((c - least).toFixed(6)));
}

/** Litres against clearance; a line for each radius and wall. */
function chartOf(job: Job, rows: readonly StudyRow[]): string {
  const lines = new Map<string, Line['points'][number][]>();
  const radii = new Set(rows.map((r) => r.least_radius_mm));
  for (const r of rows) {
    const wall = r.wall_mm === null ? 'envelope' : `wall ${num(r.wall_mm)}`;
    const name = radii.size > 1 ? `${wall}, radius ${num(r.least_radius_mm)}` : wall;
    lines.set(name, [...(lines.get(name) ?? []), { x: r.more_clearance_mm, y: rowLitres(r) }]);
  }
  const title = `${job.name}: ${job.tank ? 'rated volume' : 'envelope'}`;
  return lineChart(
    [...lines].map(([name, points]) => ({ name, points: points.toSorted((a, b) => a.x - b.x) })),
    { title, x: 'more clearance, mm', y: 'litres', foot: job.tank ? CAUTIONS[0] : undefined },
  );
}

function table(job: Job, { rows, notes, cautions, step_mm }: Study): string {
  const cell = (b: Bounded | null): string => (b ? boundedText(b)[0] : 'none').padStart(10);
  const lines = [
    ...wrap(`${job.name}: cells of ${num(step_mm)} mm`, ''),
    '',
    `${'more clearance'.padStart(14)}${'radius'.padStart(8)}${'wall'.padStart(8)}${'envelope'.padStart(12)}${'rated'.padStart(10)}${'usable'.padStart(10)}`,
    `${'mm'.padStart(14)}${'mm'.padStart(8)}${'mm'.padStart(8)}${'l'.padStart(12)}${'l'.padStart(10)}${'l'.padStart(10)}`,
    ...rows.map(
      (r) =>
        `${num(r.more_clearance_mm).padStart(14)}${num(r.least_radius_mm).padStart(8)}${(r.wall_mm === null ? '-' : num(r.wall_mm)).padStart(8)}  ${cell(r.envelope_l)}${cell(r.rated_l)}${cell(r.usable_l)}`,
    ),
  ];
  if (notes.length > 0) lines.push('', 'Notes', ...notes.flatMap((n) => wrap(n.text, '  - ')));
  lines.push('', ...cautions.flatMap((c) => wrap(c, '! ')));
  return `${lines.join('\n')}\n`;
}

/** Several jobs, each with all cores, a folder of results each. What is there already stays, so a run that was cut off goes on. */
async function measureAll(paths: readonly string[], options: Options): Promise<void> {
  const { output } = options;
  if (output === undefined || options.clearance || options.moreClearance || options.wall || options.leastRadius)
    throw new Fault({
      code: 'study-many',
      what: 'Several jobs are measured as they are, into a folder each.',
      got: output === undefined ? 'no folder' : 'lists of values',
      hint: output === undefined ? 'give a folder with -o' : 'vary one job at a time',
    });
  const named = paths.map((path) => ({ path, out: join(output, basename(path).replace(/\.ya?ml$/i, '')) }));
  const twice = named.find((a, i) => named.some((b, k) => k < i && b.out === a.out));
  if (twice)
    throw new Fault({
      code: 'study-many',
      what: 'Two jobs would go to one folder.',
      got: twice.path,
      hint: 'give the job files different names',
    });
  const jobs = await Promise.all(named.map(async (n) => ({ ...n, job: parseJob(await readText(n.path, 'a job file'), n.path) })));
  await checkOutFolder(output, true);
  await mkdir(output, { recursive: true });
  const lines: string[] = [];
  for (const { path, out, job } of jobs) {
    const there = await stat(join(out, 'result.json')).catch(() => undefined);
    if (there && !options.force) {
      lines.push(`${out}: already there, left as it is`);
      continue;
    }
    const done = await compute<Result>({
      ask: 'measure',
      job,
      folder: dirname(path),
      options: { step: options.step, version: VERSION },
      workers: options.workers ?? availableParallelism(),
      meshes: true,
    });
    const { value } = done;
    await writeFolder(out, resultFiles(done, out, { folder: dirname(path), job: path }));
    const rated = value.tank ? `, rated ${boundedText(value.tank.rated_l)[0]} l` : '';
    lines.push(`${out}: envelope ${boundedText(value.envelope.volume_l)[0]} l${rated}`);
  }
  lines.push('', ...CAUTIONS.flatMap((c) => wrap(c, '! ')));
  await print(`${lines.join('\n')}\n`);
}

import { stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { Fault } from '../src/core/fault.ts';
import { type Job, parseJob } from '../src/job/job.ts';
import { RESULT_VERSION, type Result } from '../src/report/result.ts';
import { checkResults, digestedSource, readText } from './files.ts';

/** A job as a measure run kept it. */
export interface MeasuredJob {
  readonly job: Job;
  /** The job file's folder. */
  readonly folder: string;
  /** Cell of the run, mm. */
  readonly step: number;
  /** Whether the job file now says something else (or cannot be read). */
  readonly edited: boolean;
}

/** Folder within that of the results for what is made from them. */
export const WORKSHOP = 'workshop';

/** Whether `path` is a folder: results of a measure run rather than a job file. */
export const isFolder = async (path: string): Promise<boolean> => (await stat(path).catch(() => undefined))?.isDirectory() === true;

/**
 * The job of the results in the folder `out`, once its scans are known to be the ones that were measured. Faults: `no-results`,
 * `results-bad` for a result that this version cannot take up, `inputs-changed` that names each scan that is another one now.
 */
export async function measuredJob(out: string): Promise<MeasuredJob> {
  await checkResults(out);
  const path = join(out, 'result.json');
  const { job: stored, inputs, source, grid } = await readResult(path);
  const job = parseJob(JSON.stringify(stored), path);
  const folder = resolve(out, source.folder);
  const file = source.job_file === undefined ? undefined : resolve(out, source.job_file);
  const changed: string[] = [];
  for (const { scan, file: name, sha256 } of inputs) {
    const found = await digestOf(resolve(folder, name));
    if (found === undefined) changed.push(`${scan} (${name}) is no longer there`);
    else if (found !== sha256) changed.push(`${scan} (${name}) is another file now`);
  }
  if (changed.length > 0)
    throw new Fault({
      code: 'inputs-changed',
      what: 'The scans are not those that were measured.',
      got: changed.join('; '),
      expected: `the files whose hashes are in ${path}`,
      where: out,
      hint: `voidgauge measure ${file ?? 'JOB'} -o ${out} --force`,
    });
  return { job, folder, step: grid.step_mm, edited: file !== undefined && (await isEdited(file, stored)) };
}

type Kept = Pick<Result, 'job' | 'inputs' | 'grid'> & Required<Pick<Result, 'source'>>;

async function readResult(path: string): Promise<Kept> {
  const bad = (got: string): Fault =>
    new Fault({
      code: 'results-bad',
      what: 'These results cannot be taken up again.',
      got,
      expected: `a result of version ${RESULT_VERSION} that was written with -o`,
      where: path,
      hint: 'voidgauge measure JOB -o OUT --force',
    });
  let value: Partial<Result> | null;
  try {
    value = JSON.parse(await readText(path, 'a result file'));
  } catch (error) {
    if (error instanceof Fault) throw error;
    throw bad('no JSON');
  }
  const { version, job, inputs, source, grid } = value ?? {};
  if (version !== RESULT_VERSION) throw bad(version === undefined ? 'no version' : `version ${version}`);
  if (!job || !Array.isArray(inputs) || !grid) throw bad('a part of it is missing');
  if (typeof source?.folder !== 'string') throw bad('a result that does not say where its scans lie');
  return { job, inputs, source, grid };
}

async function digestOf(path: string): Promise<string | undefined> {
  if (!(await stat(path).catch(() => undefined))) return undefined;
  return (await digestedSource(path)).digest();
}

/** Both as they were first read: what is written out and read again may have its keys in another order. */
async function isEdited(file: string, job: Job): Promise<boolean> {
  try {
    return JSON.stringify(parseJob(await readText(file, 'a job file'), file)) !== JSON.stringify(job);
  } catch (error) {
    if (error instanceof Fault) return true;
    throw error;
  }
}

import { join, relative, resolve, sep } from 'node:path';
import type { Result } from '../src/report/result.ts';
import { readText } from './files.ts';

/** Files that a run may write; with --force, those of an earlier run that the new one does not have go. */
const KNOWN = [
  'result.json',
  'envelope.stl',
  'envelope.glb',
  'cavity.stl',
  'body.stl',
  'dip.csv',
  'dip-attitudes.csv',
  'sender.csv',
  'routes.csv',
  'drawing.svg',
  'scene.glb',
  'placings.json',
  'coarse.json',
  'coarse.bin',
];

export const knownFiles = (result: Result): string[] => [...KNOWN, ...Object.keys(result.job.scans).map((name) => `swept-${name}.stl`)];

export const resultText = (result: Result): string => `${JSON.stringify(result, null, 2)}\n`;

/** Where a run's job came from: the folder that it names its scans from, and its file, unless it is a changed copy of one. */
export interface JobSource {
  readonly folder: string;
  readonly job?: string;
}

/** All files of a run's folder `out`. It names no more than the way from the one folder to the other. */
export function resultFiles(
  { value, files }: { readonly value: Result; readonly files: ReadonlyMap<string, Uint8Array> },
  out: string,
  { folder, job }: JobSource,
): Map<string, string | Uint8Array> {
  const way = (path: string): string => relative(resolve(out), resolve(path)).split(sep).join('/') || '.';
  const source = { folder: way(folder), ...(job === undefined ? {} : { job_file: way(job) }) };
  return new Map<string, string | Uint8Array>([['result.json', resultText({ ...value, source })], ...files]);
}

/** The folder that the job of the results in `out` names its scans from, or undefined where that was not kept. */
export async function originOf(out: string): Promise<string | undefined> {
  const { source } = JSON.parse(await readText(join(out, 'result.json'), 'a result')) as Partial<Result>;
  return source && resolve(out, source.folder);
}

import { readFile } from 'node:fs/promises';
import { isAbsolute, join, relative, resolve, sep } from 'node:path';
import type { Result } from '../src/report/result.ts';

/**
 * What a measure run leaves in its folder: result.json, the engine's files, and origin.json, which says where the job's scan files were, so that
 * the page can have the job run again. It names no more than the way from the one folder to the other.
 */
const ORIGIN = 'origin.json';

/** Files that a run may write; with --force, those of an earlier run that the new one does not have go. */
const KNOWN = [
  'result.json',
  ORIGIN,
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

/** All files of a run's folder `out`; `folder` is the one that the job names its scans from. */
export function resultFiles(
  { value, files }: { readonly value: Result; readonly files: ReadonlyMap<string, Uint8Array> },
  { out, folder }: { readonly out: string; readonly folder: string },
): Map<string, string | Uint8Array> {
  const way = relative(resolve(out), resolve(folder)).split(sep).join('/') || '.';
  return new Map<string, string | Uint8Array>([
    ['result.json', resultText(value)],
    [ORIGIN, `${JSON.stringify({ folder: way })}\n`],
    ...files,
  ]);
}

/** The folder that the job of the results in `out` names its scans from, or undefined where that was not kept. */
export async function originOf(out: string): Promise<string | undefined> {
  const text = await readFile(join(out, ORIGIN), 'utf8').catch(() => '');
  try {
    const { folder } = JSON.parse(text) as { folder?: unknown };
    return typeof folder === 'string' ? (isAbsolute(folder) ? folder : join(out, folder)) : undefined;
  } catch {
    return undefined;
  }
}

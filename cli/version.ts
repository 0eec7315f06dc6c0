import { existsSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** Folder of the package: the nearest one upwards that holds package.json, from source and built alike. */
export const PACKAGE_FOLDER = nearestPackage(dirname(fileURLToPath(import.meta.url)));

export const VERSION = String((JSON.parse(readFileSync(join(PACKAGE_FOLDER, 'package.json'), 'utf8')) as { version: unknown }).version);

function nearestPackage(folder: string): string {
  return existsSync(join(folder, 'package.json')) || folder === dirname(folder) ? folder : nearestPackage(dirname(folder));
}

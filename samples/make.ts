import { mkdir, rename, writeFile } from 'node:fs/promises';
import { pathToFileURL } from 'node:url';
import { writePly } from '../src/io/write-ply.ts';
import { writeStl } from '../src/io/write-stl.ts';
import { type Scan, scanQuad } from './scanner.ts';
import type { PartName } from './solids.ts';

/** The seed of the scans that the recorded figures belong to. */
export const SEED = 20;

/** Parts that are written as STL, as some scanning programs do; the others become PLY. */
const AS_STL: ReadonlySet<PartName> = new Set(['engine', 'exhaust', 'brace', 'airbox']);

export const fileOf = (name: PartName): string => `${name}.${AS_STL.has(name) ? 'stl' : 'ply'}`;

export const bytesOf = ({ name, mesh }: Scan): Uint8Array => {
  const title = `made-up quad, ${name}, mm`;
  return AS_STL.has(name) ? writeStl(mesh, title) : writePly(mesh, [title]);
};

/** Writes all scans into `folder`, each under a temporary name first; tells `say` what it is doing. */
export async function makeScans(folder: URL, say: (line: string) => void): Promise<void> {
  await mkdir(folder, { recursive: true });
  const scans = scanQuad({ seed: SEED }, (step) => say(`  ${step}`));
  let triangles = 0;
  for (const scan of scans) {
    const target = new URL(fileOf(scan.name), folder);
    const temporary = new URL(`${target.href}.tmp`);
    await writeFile(temporary, bytesOf(scan));
    await rename(temporary, target);
    const count = scan.mesh.indices.length / 3;
    triangles += count;
    say(`  ${fileOf(scan.name).padEnd(16)} ${count.toLocaleString('en').padStart(9)} triangles`);
  }
  say(`  ${scans.length} scans, ${triangles.toLocaleString('en')} triangles in all.`);
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href)
  await makeScans(new URL('./scans/', import.meta.url), (line) => console.log(line));

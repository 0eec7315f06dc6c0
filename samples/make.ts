import { mkdir, rename, writeFile } from 'node:fs/promises';
import { pathToFileURL } from 'node:url';
import type { Mesh } from '../src/core/mesh.ts';
import { scanQuad } from './scanner.ts';
import type { PartName } from './solids.ts';

/** The seed of the scans that the recorded figures belong to. */
export const SEED = 20;

/** Parts that are written as STL, as some scanning programs do; the others become PLY. */
const AS_STL: ReadonlySet<PartName> = new Set(['engine', 'exhaust', 'brace', 'airbox']);

export const fileOf = (name: PartName): string => `${name}.${AS_STL.has(name) ? 'stl' : 'ply'}`;

/** Binary STL: 80 bytes of header, a count, 50 bytes a triangle; normals are left zero, which readers take as "work it out". */
export function stlBytes(mesh: Mesh): Uint8Array {
  const count = mesh.indices.length / 3;
  const bytes = new Uint8Array(84 + 50 * count);
  bytes.set(new TextEncoder().encode('quad, made up, mm'));
  const view = new DataView(bytes.buffer);
  view.setUint32(80, count, true);
  let at = 84;
  for (let t = 0; t < mesh.indices.length; t += 3) {
    for (let e = 0; e < 9; e++) view.setFloat32(at + 12 + 4 * e, mesh.positions[3 * mesh.indices[t + Math.floor(e / 3)] + (e % 3)], true);
    at += 50;
  }
  return bytes;
}

/** Binary little-endian PLY: vertices x y z as float, faces as lists. */
export function plyBytes(mesh: Mesh): Uint8Array {
  const [vertices, faces] = [mesh.positions.length / 3, mesh.indices.length / 3];
  const head = new TextEncoder().encode(
    `ply\nformat binary_little_endian 1.0\ncomment quad, made up, mm\nelement vertex ${vertices}\nproperty float x\nproperty float y\nproperty float z\nelement face ${faces}\nproperty list uchar int vertex_indices\nend_header\n`,
  );
  const bytes = new Uint8Array(head.length + 12 * vertices + 13 * faces);
  bytes.set(head);
  const view = new DataView(bytes.buffer);
  let at = head.length;
  for (const v of mesh.positions) {
    view.setFloat32(at, v, true);
    at += 4;
  }
  for (let t = 0; t < mesh.indices.length; t += 3) {
    bytes[at++] = 3;
    for (let e = 0; e < 3; e++, at += 4) view.setInt32(at, mesh.indices[t + e], true);
  }
  return bytes;
}

/** Writes all scans into `folder` (each under a temporary name first); tells `say` what it is doing. */
export async function makeScans(folder: URL, say: (line: string) => void): Promise<void> {
  await mkdir(folder, { recursive: true });
  say('Scanning the made-up quad (about 10 seconds) ...');
  const scans = scanQuad({ seed: SEED }, (step) => say(`  ${step}`));
  let triangles = 0;
  for (const { name, mesh } of scans) {
    const file = fileOf(name);
    const bytes = file.endsWith('.stl') ? stlBytes(mesh) : plyBytes(mesh);
    await writeWhole(new URL(file, folder), bytes);
    triangles += mesh.indices.length / 3;
    say(`  ${file.padEnd(16)} ${String(mesh.indices.length / 3).padStart(8)} triangles`);
  }
  say(`  ${scans.length} scans, ${triangles} triangles in all.`);
}

async function writeWhole(target: URL, bytes: Uint8Array): Promise<void> {
  const temporary = new URL(`${target.href}.tmp`);
  await writeFile(temporary, bytes);
  await rename(temporary, target);
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href)
  await makeScans(new URL('./scans/', import.meta.url), (line) => console.log(line));

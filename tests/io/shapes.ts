import { createHash } from 'node:crypto';
import { expect } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { type Random, random } from '../../src/core/random.ts';
import { type ByteSource, readScan, type ScanFile } from '../../src/io/read.ts';
import { bytesSource } from '../../src/io/source.ts';

/** Torus of radii R and r, mm, closed and turned outwards, with `n` by `m` quads halved; corners moved by up to `noise`. */
export function torus(n: number, m: number, rng: Random = random(1), noise = 0): Mesh {
  const positions = new Float32Array(3 * n * m);
  const indices: number[] = [];
  for (let i = 0; i < n; i++)
    for (let j = 0; j < m; j++) {
      const [a, b] = [(2 * Math.PI * i) / n, (2 * Math.PI * j) / m];
      const k = 3 * (i * m + j);
      const r = 100 + 30 * Math.cos(b) + noise * rng.range(-1, 1);
      positions.set([r * Math.cos(a), r * Math.sin(a), 30 * Math.sin(b) + noise * rng.range(-1, 1)], k);
      const [p, q] = [i * m + j, ((i + 1) % n) * m + j];
      const [s, t] = [((i + 1) % n) * m + ((j + 1) % m), i * m + ((j + 1) % m)];
      indices.push(p, q, s, p, s, t);
    }
  return { origin: [0, 0, 0], positions, indices: Uint32Array.from(indices) };
}

/** Box from `lo` to `hi` mm, twelve triangles, turned outwards. */
export function box(lo: readonly number[], hi: readonly number[]): Mesh {
  const positions = Float32Array.from({ length: 24 }, (_, i) => ((i / 3) & (1 << (i % 3)) ? hi[i % 3] : lo[i % 3]));
  const indices = Uint32Array.from([
    0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4, 2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5,
  ]);
  return { origin: [0, 0, 0], positions, indices };
}

/** Corners of all triangles in file order, nine numbers each, float64. */
export function corners(mesh: Mesh): Float64Array {
  return Float64Array.from(
    { length: 3 * mesh.indices.length },
    (_, i) => mesh.positions[3 * mesh.indices[Math.floor(i / 3)] + (i % 3)] + mesh.origin[i % 3],
  );
}

export const text = (s: string): Uint8Array => new TextEncoder().encode(s);

/** Reads bytes under a name, whole. */
export const read = (name: string, bytes: Uint8Array | string): Promise<ScanFile> =>
  readScan(bytesSource(name, typeof bytes === 'string' ? text(bytes) : bytes));

/**
 * Lines of a comment, over 4 KB: readers look at that much at once to tell the format, so only what lies behind it is
 * really read in pieces.
 */
export const padding = (before: string): string => `${before}${'.'.repeat(90)}\n`.repeat(50);

/** The same bytes in pieces of random lengths 1..most. */
export function inPieces(name: string, bytes: Uint8Array, most: number, seed = 1): ByteSource {
  const rng = random(seed);
  return {
    name,
    size: bytes.length,
    bytes: async () => bytes,
    chunks: async function* () {
      for (let at = 0; at < bytes.length; ) {
        const n = 1 + rng.below(most);
        yield bytes.subarray(at, at + n);
        at += n;
      }
    },
  };
}

/** Names, origins and a hash of all arrays of the parts: equal when the parts are, and quick to compare. */
export function printOf(file: ScanFile): string[] {
  const hash = (a: Float32Array | Uint32Array | undefined): string =>
    a
      ? createHash('sha256')
          .update(new Uint8Array(a.buffer, a.byteOffset, a.byteLength))
          .digest('hex')
          .slice(0, 16)
      : '-';
  return file.parts.map(({ name, mesh, cloud }) =>
    [name, mesh?.origin ?? cloud?.origin, hash(mesh?.positions), hash(mesh?.indices), hash(cloud?.positions), hash(cloud?.normals)].join(
      ' ',
    ),
  );
}

/** The fault that reading gives; fails the test when there is none or when it does not say where and what. */
export async function faultOf(name: string, bytes: Uint8Array | string): Promise<Fault> {
  try {
    await read(name, bytes);
  } catch (e) {
    if (!(e instanceof Fault)) throw e;
    expect(e.detail.where).toContain(name);
    expect(e.detail.got ?? e.detail.expected).toBeTruthy();
    return e;
  }
  throw new Error('no fault');
}

/** Bytes with some of them replaced. */
export function patched(bytes: Uint8Array, at: number, values: readonly number[]): Uint8Array {
  const out = bytes.slice();
  out.set(values, at);
  return out;
}

export const bytesOfF32 = (v: number): number[] => [...new Uint8Array(Float32Array.of(v).buffer)];
export const bytesOfU32 = (v: number): number[] => [...new Uint8Array(Uint32Array.of(v).buffer)];

/** The bytes as an ArrayBuffer of their own, for loaders that want one. */
export const bufferOf = (bytes: Uint8Array): ArrayBuffer => new Uint8Array(bytes).buffer;

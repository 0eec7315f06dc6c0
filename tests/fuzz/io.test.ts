import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { type Random, random } from '../../src/core/random.ts';
import { readScan, type ScanFile } from '../../src/io/read.ts';
import { bytesSource } from '../../src/io/source.ts';
import { write3mf } from '../../src/io/write-3mf.ts';
import { writeGlb } from '../../src/io/write-glb.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { corners, inPieces, text } from '../io/shapes.ts';
import { type Seed, seedsOf } from './seeds.ts';

const WORDS = [
  'nan',
  '-nan',
  'inf',
  '1e999',
  '-1',
  '0',
  '4294967295',
  '99999999999999999999',
  '1e-400',
  '',
  '1.5',
  '2147483648',
  '-0',
  '9007199254740993',
  '"',
  '\\',
  '/',
  'null',
];
const NUMBERS = [0, 1, 2, 255, 65535, 0x7f800000, 0x7fc00000, 0x7fffffff, 0x80000000, 0xffffffff, 1e6];

/** One to four random changes: bytes, numbers in text or in place, cuts, repeats, and pieces of another file. */
function mutated(rng: Random, seed: Uint8Array, other: Uint8Array): Uint8Array {
  let b = Array.from(seed);
  for (let n = 1 + rng.below(4); n > 0; n--) {
    const at = rng.below(b.length + 1);
    const span = 1 + rng.below(rng.below(4) === 0 ? 200 : 8);
    switch (rng.below(9)) {
      case 0:
        b[Math.min(at, b.length - 1)] = rng.below(256);
        break;
      case 1:
        if (b.length > 0) b[Math.min(at, b.length - 1)] ^= 1 << rng.below(8);
        break;
      case 2:
        b.splice(at, span);
        break;
      case 3:
        b.splice(at, 0, ...b.slice(rng.below(b.length + 1)).slice(0, span));
        break;
      case 4:
        b.length = at;
        break;
      case 5: {
        const v = NUMBERS[rng.below(NUMBERS.length)];
        const size = [1, 2, 4][rng.below(3)];
        for (let k = 0; k < size && at + k < b.length; k++)
          b[at + k] = Math.floor(v / 256 ** (rng.below(2) === 0 ? k : size - 1 - k)) & 255;
        break;
      }
      case 6:
      case 7: {
        // The number or word at this place gives way to an odd one.
        let [lo, hi] = [at, at];
        const part = (c: number | undefined): boolean =>
          c !== undefined && ((c >= 48 && c <= 57) || c === 46 || c === 45 || (c >= 97 && c <= 122));
        while (lo > 0 && part(b[lo - 1])) lo--;
        while (hi < b.length && part(b[hi])) hi++;
        b.splice(lo, hi - lo, ...text(WORDS[rng.below(WORDS.length)]));
        break;
      }
      default:
        b.splice(at, span, ...Array.from(other.subarray(rng.below(other.length)).subarray(0, span)));
    }
    if (b.length === 0) b = [rng.below(256)];
  }
  return Uint8Array.from(b);
}

/** What every result must hold, whatever the file was. */
function checkFile(file: ScanFile, bytes: number): void {
  if (file.parts.length === 0 || file.format === '') throw new Error('nothing found');
  const names = new Set(file.parts.map((p) => p.name));
  if (names.size !== file.parts.length || names.has('')) throw new Error('names are not unique');
  let numbers = 0;
  for (const { mesh, cloud } of file.parts) {
    if (!mesh && !cloud) throw new Error('a part without content');
    for (const a of [mesh?.positions, cloud?.positions, cloud?.normals, mesh?.origin, cloud?.origin]) {
      if (a && !a.every(Number.isFinite)) throw new Error('a number that is not finite');
      numbers += a?.length ?? 0;
    }
    if (cloud && (cloud.positions.length % 3 !== 0 || cloud.positions.length === 0)) throw new Error('points are not whole');
    if (cloud?.normals && cloud.normals.length !== cloud.positions.length) throw new Error('normals and points differ in number');
    if (!mesh) continue;
    const { indices: t, positions } = mesh;
    numbers += t.length;
    if (t.length === 0 || t.length % 3 !== 0) throw new Error('triangles are not whole');
    for (let i = 0; i < t.length; i += 3) {
      if (Math.max(t[i], t[i + 1], t[i + 2]) * 3 >= positions.length) throw new Error('an index out of range');
      if (t[i] === t[i + 1] || t[i + 1] === t[i + 2] || t[i] === t[i + 2]) throw new Error('a repeated corner');
    }
  }
  if (numbers > 4096 + 4096 * bytes) throw new Error('far more than the file can hold');
}

/** 'read' or the fault's code; anything else is thrown on, with the seed's number. */
async function outcome(name: string, bytes: Uint8Array, label: string): Promise<string> {
  try {
    const file = await readScan(bytes.length % 7 === 0 ? inPieces(name, bytes, 97) : bytesSource(name, bytes));
    checkFile(file, bytes.length);
    return 'read';
  } catch (e) {
    if (e instanceof Fault) {
      if (!e.detail.where?.includes(name) || e.toText() === '') throw new Error(`${label}: a fault that does not say where: ${e.toText()}`);
      return e.code;
    }
    throw new Error(`${label}: ${e instanceof Error ? e.stack : String(e)}`);
  }
}

let seeds: Record<string, readonly Seed[]>;

beforeAll(async () => {
  seeds = await seedsOf();
});

describe('mutated files', () => {
  // Draco sets up a fresh decoder for each file, a hundred times the work of the others, so these get fewer unless VOIDGAUGE_FUZZ says how many.
  const long = Number(process.env['VOIDGAUGE_FUZZ'] ?? 0);
  const usual = {
    stl: 20000,
    ply: 20000,
    obj: 20000,
    gltf: 20000,
    meshopt: 2000,
    draco: 1000,
    '3mf': 20000,
    pcd: 20000,
    rows: 20000,
    gzip: 20000,
    zip: 20000,
  };
  const counts = Object.entries(usual).map(([reader, n]) => [reader, long > 0 ? long : n] as const);
  it.each(counts)(
    '%s, %i files (seed 2024): a scan or a fault, nothing else; memory stays bounded',
    async (reader, n) => {
      const rng = random(2024);
      const all = Object.values(seeds).flat();
      const before = process.memoryUsage().rss;
      let most = before;
      const seen = new Map<string, number>();
      for (let i = 0; i < n; i++) {
        const seed = seeds[reader][i % seeds[reader].length];
        const bytes = mutated(rng, seed.bytes, all[rng.below(all.length)].bytes);
        const code = await outcome(seed.name, seed.wrap ? seed.wrap(bytes) : bytes, `${reader} file ${i}`);
        seen.set(code, (seen.get(code) ?? 0) + 1);
        if (i % 500 === 0) most = Math.max(most, process.memoryUsage().rss);
      }
      expect(most - before).toBeLessThan(700e6);
      // The changes must reach both the readers' insides and their refusals, or they test little.
      expect(seen.get('read') ?? 0).toBeGreaterThan(n / 200);
      expect(seen.size).toBeGreaterThan(3);
    },
    Math.max(120_000, long * 60),
  );
});

describe('cut files', () => {
  it('every file that is cut anywhere before its last word is a fault, where the format has an end or counts', async () => {
    for (const reader of ['stl', 'ply', 'gltf', 'meshopt', '3mf', 'pcd', 'gzip', 'zip'])
      for (const { name, bytes, wrap } of seeds[reader]) {
        if (wrap && reader !== '3mf') continue;
        expect(await outcome(name, wrap ? wrap(bytes) : bytes, name)).toBe('read');
        // The last number of a text may be cut to a shorter one, and the name after "endsolid" may be left out.
        const last = /^(a.ply|a.pcd|b.stl)$/.test(name) ? bytes.lastIndexOf(32) - 1 : bytes.length - 2;
        for (let n = 0; n <= last; n++) {
          const cut = bytes.subarray(0, n);
          const code = await outcome(name, wrap ? wrap(cut) : cut, `${name} cut at ${n}`);
          if (code === 'read') throw new Error(`${name} cut at ${n} of ${bytes.length} was read as if whole`);
        }
      }
  });
});

describe('round trips', () => {
  /** Any small mesh: coordinates of any kind of float32 within reach, triangles of three different vertices. */
  const coordinate = fc.oneof(
    fc.float({ min: -1e6, max: 1e6, noNaN: true }),
    fc.integer({ min: -50, max: 50 }),
    fc.float({ min: -Math.fround(1e-30), max: Math.fround(1e-30), noNaN: true }),
  );
  const mesh: fc.Arbitrary<Mesh> = fc.integer({ min: 3, max: 12 }).chain((n) =>
    fc.record({
      origin: fc.constant([0, 0, 0] as const),
      positions: fc.array(coordinate, { minLength: 3 * n, maxLength: 3 * n }).map((a) => Float32Array.from(a, (v) => v + 0)),
      indices: fc
        .array(fc.uniqueArray(fc.nat(n - 1), { minLength: 3, maxLength: 3 }), { minLength: 1, maxLength: 20 })
        .map((a) => Uint32Array.from(a.flat())),
    }),
  );
  /** Corners of the triangles that a reader keeps when it welds: those of three places. */
  const kept = (m: Mesh): number[] => {
    const c = corners(m);
    const out: number[] = [];
    for (let i = 0; i < c.length; i += 9) {
      const places = new Set([0, 3, 6].map((k) => `${c[i + k]} ${c[i + k + 1]} ${c[i + k + 2]}`));
      if (places.size === 3) out.push(...c.subarray(i, i + 9));
    }
    return out;
  };
  /** Numbers below 1e-20 made zero: in metres they would be no float32 any more. */
  const untiny = (m: Mesh): Mesh => ({ ...m, positions: m.positions.map((v) => (Math.abs(v) < 1e-20 ? 0 : v)) });
  const runs = { seed: 7, numRuns: 300 };

  it('PLY and OBJ keep vertices and triangles; STL keeps triangles (seed 7)', async () => {
    await fc.assert(
      fc.asyncProperty(mesh, async (m) => {
        const near = (file: ScanFile, want: readonly number[]): void => {
          const got = corners(file.parts[0].mesh!);
          expect(got.length).toBe(want.length);
          // About an origin of whole units the sum is that of the file to float32's last digit of what is stored.
          for (let i = 0; i < want.length; i++)
            if (Math.abs(got[i] - want[i]) > 1e-6 * Math.abs(want[i]) * 1e-1 + 1e-38) throw new Error(`${got[i]} is not ${want[i]}`);
        };
        near(await readScan(bytesSource('a.ply', writePly(m))), [...corners(m)]);
        near(await readScan(bytesSource('a.obj', writeObj([{ name: 'a', mesh: m }]))), [...corners(m)]);
        if (kept(m).length > 0) near(await readScan(bytesSource('a.stl', writeStl(m, 'x'))), kept(m));
      }),
      runs,
    );
  });

  it('GLB and 3MF keep triangles, names and units (seed 7)', async () => {
    const name = fc
      .string({ minLength: 1, maxLength: 12, unit: 'grapheme-ascii' })
      .map((s) => s.trim().replace(/\s+/g, ' '))
      .filter((s) => s !== '');
    await fc.assert(
      fc.asyncProperty(mesh.map(untiny), name, async (m, n) => {
        const size = Math.max(...m.positions.map(Math.abs));
        const far = (file: ScanFile, want: readonly number[]): number => {
          const got = corners(file.parts[0].mesh!);
          expect(got.length).toBe(want.length);
          return want.reduce((w, v, i) => Math.max(w, Math.abs(got[i] - v)), 0);
        };
        const threemf = await readScan(bytesSource('a.3mf', write3mf([{ name: n, mesh: m }], n)));
        expect([threemf.unit, threemf.parts[0].name]).toEqual(['mm', n]);
        expect(far(threemf, [...corners(m)])).toBeLessThanOrEqual(1e-7 * size);
        // glTF is in metres; two places that float32 cannot tell apart there are one.
        const metres = kept({ ...m, positions: m.positions.map((v) => v / 1000) });
        fc.pre(metres.length > 0);
        const glb = await readScan(bytesSource('a.glb', await writeGlb([{ name: n, mesh: m }], {})));
        expect([glb.unit, glb.parts[0].name]).toEqual(['m', n]);
        expect(far(glb, metres)).toBeLessThanOrEqual(1e-10 * size);
      }),
      { ...runs, numRuns: 100 },
    );
  });
});

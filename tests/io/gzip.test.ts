import { gzipSync, crc32 as nodeCrc32 } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { crc32, unpack } from '../../src/io/gzip.ts';
import { readScan } from '../../src/io/read.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { faultOf, inPieces, patched, printOf, read, torus } from './shapes.ts';

describe('gzip', () => {
  const mesh = torus(30, 20, random(8), 1);
  const files = [
    ['a.stl', writeStl(mesh, 'x')],
    ['a.ply', writePly(mesh)],
    ['a.obj', writeObj([{ name: 'a', mesh }])],
  ] as const;

  it('gives what the plain file gives, at every level, in pieces, and with the name wrong', async () => {
    for (const [name, bytes] of files) {
      const plain = await read(name, bytes);
      for (const level of [0, 1, 9]) {
        const packed = gzipSync(bytes, { level });
        const file = await read(`${name}.gz`, packed);
        expect(file.format).toBe(`${plain.format} in gzip`);
        expect(printOf(file)).toEqual(printOf(plain));
        expect(printOf(await readScan(inPieces(`${name}.gz`, packed, 5000)))).toEqual(printOf(plain));
        expect(printOf(await read(name, packed))).toEqual(printOf(plain));
      }
    }
  });

  it('knows a binary STL without its name, although its length is not known beforehand', async () => {
    const [, bytes] = files[0];
    expect((await read('scan.gz', gzipSync(bytes))).format).toBe('STL (binary) in gzip');
    expect((await read('scan.gz', gzipSync(patched(bytes, 0, [...Buffer.from('solid')])))).format).toBe('STL (binary) in gzip');
    const noise = Uint8Array.from({ length: 4000 }, (_, i) => (i * 7919) % 251);
    expect((await faultOf('scan.gz', gzipSync(noise))).code).toBe('scan-format');
  });

  it('reads several members one after the other (RFC 1952, section 2.2)', async () => {
    const [name, bytes] = files[1];
    const packed = Buffer.concat([gzipSync(bytes.subarray(0, 3000)), gzipSync(bytes.subarray(3000, 3001)), gzipSync(bytes.subarray(3001))]);
    for (const size of [40, 401, 1 << 16]) {
      const pieces: Uint8Array[] = [];
      for await (const p of unpack(name, inPieces(name, packed, 700).chunks!(), size)) pieces.push(p);
      expect(Buffer.compare(Buffer.concat(pieces), bytes)).toBe(0);
    }
    for (const most of [9, 100000]) expect(printOf(await readScan(inPieces(name, packed, most)))).toEqual(printOf(await read(name, bytes)));
  });

  it('finds cut and damaged files by length and check sum', async () => {
    for (const [name, bytes] of files) {
      const packed = new Uint8Array(gzipSync(bytes));
      for (const at of [packed.length - 1, packed.length - 8, packed.length - 9, 200])
        expect((await faultOf(name, packed.subarray(0, at))).code).toMatch(/gzip-damaged|-cut/);
      expect((await faultOf(name, patched(packed, packed.length - 6, [packed[packed.length - 6] ^ 1]))).code).toBe('gzip-damaged');
      expect((await faultOf(name, patched(packed, packed.length - 2, [packed[packed.length - 2] ^ 1]))).code).toBe('gzip-damaged');
    }
    expect((await faultOf('x.gz', gzipSync(new Uint8Array(0)))).code).toBe('scan-empty');
  });

  it('CRC-32 agrees with zlib', () => {
    const rng = random(2);
    for (let n = 0; n < 40; n++) {
      const bytes = Uint8Array.from({ length: n }, () => rng.below(256));
      expect(crc32(bytes)).toBe(nodeCrc32(bytes));
      expect(crc32(bytes.subarray(n >> 1), crc32(bytes.subarray(0, n >> 1)))).toBe(nodeCrc32(bytes));
    }
  });
});

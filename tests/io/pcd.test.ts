import { PCDLoader } from 'three/examples/jsm/loaders/PCDLoader.js';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { readScan } from '../../src/io/read.ts';
import { bufferOf, bytesOfU32, faultOf, inPieces, patched, printOf, read, text } from './shapes.ts';

const N = 200;
const rng = random(12);
const points = Float32Array.from({ length: 3 * N }, () => rng.range(-500, 500));
const normals = Float32Array.from(Array.from({ length: N }, () => rng.direction()).flat());
const head = (data: string, n = N): string =>
  `# .PCD v0.7 - Point Cloud Data file format\nVERSION 0.7\nFIELDS x y z rgb normal_x normal_y normal_z label\nSIZE 4 4 4 4 4 4 4 2\nTYPE F F F U F F F U\nCOUNT 1 1 1 1 1 1 1 1\nWIDTH ${n}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS ${n}\nDATA ${data}\n`;
const RECORD = 30;

function records(): Uint8Array {
  const view = new DataView(new ArrayBuffer(RECORD * N));
  for (let i = 0; i < N; i++) {
    for (let a = 0; a < 3; a++) {
      view.setFloat32(RECORD * i + 4 * a, points[3 * i + a], true);
      view.setFloat32(RECORD * i + 16 + 4 * a, normals[3 * i + a], true);
    }
    view.setUint16(RECORD * i + 28, 5, true);
  }
  return new Uint8Array(view.buffer);
}

/** Field by field, as the compressed kind holds them. */
function byField(): Uint8Array {
  const from = records();
  const out = new Uint8Array(from.length);
  let at = 0;
  for (const [offset, size] of [
    [0, 4],
    [4, 4],
    [8, 4],
    [12, 4],
    [16, 4],
    [20, 4],
    [24, 4],
    [28, 2],
  ])
    for (let i = 0; i < N; i++, at += size) out.set(from.subarray(RECORD * i + offset, RECORD * i + offset + size), at);
  return out;
}

/** LZF that copies where the last three bytes came before, greedy: written here from the format's description, only for this test. */
function packLzf(data: Uint8Array): Uint8Array {
  const out: number[] = [];
  let plain: number[] = [];
  const flush = (): void => {
    for (let i = 0; i < plain.length; i += 32) out.push(Math.min(32, plain.length - i) - 1, ...plain.slice(i, i + 32));
    plain = [];
  };
  const last = new Map<number, number>();
  for (let i = 0; i < data.length; ) {
    const key = data[i] | (data[i + 1] << 8) | (data[i + 2] << 16);
    const from = i + 2 < data.length ? last.get(key) : undefined;
    last.set(key, i);
    if (from === undefined || i - from > 8192) {
      plain.push(data[i++]);
      continue;
    }
    flush();
    let n = 3;
    while (n < 264 && i + n < data.length && data[from + n] === data[i + n]) n++;
    const back = i - from - 1;
    if (n - 2 < 7) out.push(((n - 2) << 5) | (back >> 8), back & 255);
    else out.push((7 << 5) | (back >> 8), n - 9, back & 255);
    i += n;
  }
  flush();
  return Uint8Array.from(out);
}

const rows = (): string[] =>
  Array.from({ length: N }, (_, i) => `${points.slice(3 * i, 3 * i + 3).join(' ')} 0 ${normals.slice(3 * i, 3 * i + 3).join(' ')} 5`);
const ascii = text(`${head('ascii')}${rows().join('\n')}\n`);
const binary = Uint8Array.from([...text(head('binary')), ...records()]);
const lzf = packLzf(byField());
const compressed = Uint8Array.from([...text(head('binary_compressed')), ...bytesOfU32(lzf.length), ...bytesOfU32(N * RECORD), ...lzf]);

describe('PCD', () => {
  it('ASCII, binary and compressed: the same points as three; normals of unit length', async () => {
    expect(lzf.length).toBeLessThan(0.95 * N * RECORD);
    for (const [bytes, format] of [
      [ascii, 'PCD (ASCII)'],
      [binary, 'PCD (binary)'],
      [compressed, 'PCD (compressed)'],
    ] as const) {
      const file = await read('c.pcd', bytes);
      expect(file.format).toBe(format);
      const own = file.parts[0].cloud!;
      expect(own.positions).toEqual(points);
      expect(Math.max(...normals.map((v, i) => Math.abs(v - own.normals![i])))).toBeLessThan(1e-6);
      expect(own.positions).toEqual(Float32Array.from(new PCDLoader().parse(bufferOf(bytes)).geometry.getAttribute('position').array));
      expect(file.notes).toEqual([{ code: 'pcd-skipped', text: 'Not used: rgb, label.', where: 'c.pcd' }]);
      for (const most of [1, 50]) expect(printOf(await readScan(inPieces('c.pcd', bytes, most)))).toEqual(printOf(file));
    }
  });

  it('leaves out places where nothing was seen, and counts them', async () => {
    const file = await read('c.pcd', new TextDecoder().decode(ascii).replace(rows()[3], 'nan nan nan 0 0 0 0 0'));
    expect(file.parts[0].cloud!.positions.length).toBe(3 * (N - 1));
    expect(file.notes[0]).toMatchObject({ code: 'pcd-unseen', text: expect.stringContaining('1 of 200') });
  });

  it('names what is wrong and where', async () => {
    const s = new TextDecoder().decode(ascii);
    const code = async (b: string | Uint8Array): Promise<string> => (await faultOf('x.pcd', b)).code;
    expect(await code(s.replace(rows()[9], rows()[9].replace(' 5', '')))).toBe('pcd-line');
    expect((await faultOf('x.pcd', s.replace(rows()[9], `${rows()[9]} 4`))).detail.where).toBe('x.pcd, line 21');
    expect(await code(s.replace(`${rows()[9]}\n`, ''))).toBe('pcd-cut');
    expect(await code(`${s}${rows()[0]}\n`)).toBe('pcd-line');
    expect(await code(s.replace(rows()[9], `1e30 1 1 0 0 0 1 5`))).toBe('scan-not-finite');
    expect(await code(s.replace('WIDTH 200', 'WIDTH 100'))).toBe('pcd-header');
    expect(await code(s.replace('FIELDS x', 'FIELDS w'))).toBe('pcd-header');
    expect(await code(s.replace('SIZE 4', 'SIZE 3'))).toBe('pcd-header');
    expect(await code(s.replace('DATA ascii', 'DATA pigeon'))).toBe('pcd-header');
    expect(await code(binary.subarray(0, binary.length - 1))).toBe('pcd-cut');
    expect(await code(Uint8Array.from([...binary, 1]))).toBe('pcd-cut');
    expect(await code(compressed.subarray(0, compressed.length - 9))).toBe('pcd-cut');
    const start = text(head('binary_compressed')).length;
    expect(await code(patched(compressed, start + 4, bytesOfU32(4e9)))).toBe('pcd-cut');
    expect(await code(patched(compressed, start + 8, [255, 255, 255]))).toBe('pcd-packed');
    expect(await code(text(head('binary', 999999999)))).toBe('pcd-cut');
  });
});

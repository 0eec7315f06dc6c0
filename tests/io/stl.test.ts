import { STLLoader } from 'three/examples/jsm/loaders/STLLoader.js';
import { describe, expect, it } from 'vitest';
import { meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { readScan } from '../../src/io/read.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { box, bufferOf, bytesOfF32, bytesOfU32, corners, faultOf, inPieces, patched, printOf, read, text, torus } from './shapes.ts';

function asText(mesh: ReturnType<typeof torus>, name: string, format: (v: number) => string = String): string {
  const c = corners(mesh);
  const lines = [`solid ${name}`];
  for (let i = 0; i < c.length; i += 9) {
    lines.push('facet normal 0 0 0', ' outer loop');
    for (let k = 0; k < 9; k += 3) lines.push(`  vertex ${format(c[i + k])} ${format(c[i + k + 1])} ${format(c[i + k + 2])}`);
    lines.push(' endloop', 'endfacet');
  }
  return `${lines.join('\n')}\nendsolid ${name}\n`;
}

describe('STL', () => {
  it.each([1, 2, 3])('binary: the same corners as three, welded into as many vertices as were written (seed %i)', async (seed) => {
    const mesh = torus(23, 11, random(seed), 2);
    const bytes = writeStl(mesh, 'torus, mm');
    const file = await read('torus.stl', bytes);
    const oracle = new STLLoader().parse(bufferOf(bytes));
    expect(file.format).toBe('STL (binary)');
    expect(file.unit).toBeNull();
    expect(file.parts).toHaveLength(1);
    const own = file.parts[0].mesh!;
    expect(own.positions.length).toBe(mesh.positions.length);
    expect(Float32Array.from(corners(own))).toEqual(Float32Array.from(oracle.getAttribute('position').array));
    expect(meshVolume(own)).toBeCloseTo(meshVolume(mesh), 3);
  });

  it('text: the same corners as three, for plain and exponent numbers', async () => {
    const mesh = torus(13, 7, random(4), 2);
    for (const format of [String, (v: number) => v.toExponential(), (v: number) => v.toFixed(3)]) {
      const s = asText(mesh, 'ring', format);
      const file = await read('ring.stl', s);
      expect(file.format).toBe('STL (ASCII)');
      expect(file.parts[0].name).toBe('ring');
      expect(Float32Array.from(corners(file.parts[0].mesh!))).toEqual(
        Float32Array.from(new STLLoader().parse(s).getAttribute('position').array),
      );
      expect(file.parts[0].mesh!.positions.length).toBe(mesh.positions.length);
    }
  });

  it('is binary by its content, although the header begins with "solid"', async () => {
    const bytes = writeStl(box([0, 0, 0], [1, 2, 3]), '');
    bytes.set(text('solid of no text'));
    expect((await read('x.stl', bytes)).format).toBe('STL (binary)');
    expect((await read('no-extension', bytes)).format).toBe('STL (binary)');
  });

  it('a title that begins with "solid" does not get into our own header', async () => {
    expect(new TextDecoder().decode(writeStl(box([0, 0, 0], [1, 1, 1]), 'Solid thing').subarray(0, 80))).not.toMatch(/^\s*solid/i);
  });

  it('reads the same in pieces of any length, also past line ends', async () => {
    const mesh = torus(9, 5, random(5), 1);
    for (const [name, bytes] of [
      ['a.stl', writeStl(mesh, 'x')],
      ['b.stl', text(`solid b\n${'\n'.repeat(4200)}${asText(mesh, 'b').slice(8)}`.replace(/\n/g, '\r\n'))],
    ] as const)
      for (const most of [1, 7, 300])
        expect(printOf(await readScan(inPieces(name, bytes, most)))).toEqual(printOf(await read(name, bytes)));
  });

  it('keeps several solids apart and makes their names differ', async () => {
    const a = asText(box([0, 0, 0], [1, 1, 1]), 'left');
    const file = await read('two.stl', `${a}\n${asText(box([5, 0, 0], [6, 1, 1]), 'left')}${asText(box([9, 0, 0], [10, 1, 1]), '')}`);
    expect(file.parts.map((p) => p.name)).toEqual(['left', 'left 2', 'two']);
    expect(file.parts.map((p) => meshVolume(p.mesh!))).toEqual([1, 1, 1].map((v) => expect.closeTo(v, 5)));
  });

  it('counts triangles with a repeated corner; minus zero is zero', async () => {
    const bytes = writeStl(box([0, 0, 0], [1, 1, 1]), '');
    const twice = patched(bytes, 84 + 12, [...bytes.subarray(84 + 24, 84 + 36)]);
    const file = await read('x.stl', twice);
    expect(file.parts[0].mesh!.indices.length / 3).toBe(11);
    expect(file.notes).toMatchObject([{ code: 'scan-degenerate', text: expect.stringContaining('1 of 12') }]);
    const signed = bytes.slice();
    for (let i = 0; i < 12; i++)
      for (let k = 0; k < 9; k++) {
        const at = 84 + 50 * i + 12 + 4 * k;
        if (signed[at + 3] === 0 && (i + k) % 2 === 0) signed[at + 3] = 0x80;
      }
    expect((await read('x.stl', signed)).parts[0].mesh!.positions.length).toBe(24);
  });

  it('names what is wrong and where: binary', async () => {
    const good = writeStl(torus(4, 4), 'x');
    const cut = await faultOf('cut.stl', good.subarray(0, good.length - 60));
    expect([cut.code, cut.detail.got, cut.detail.where]).toEqual(['stl-cut', '30 whole triangles', 'cut.stl, byte 1,584']);
    expect((await faultOf('x.stl', patched(good, 80, bytesOfU32(4e9)))).code).toBe('stl-cut');
    expect((await faultOf('x.stl', patched(good, 80, bytesOfU32(31)))).code).toBe('stl-count');
    expect((await faultOf('x.stl', new Uint8Array(50))).code).toBe('stl-cut');
    expect((await faultOf('x.stl', new Uint8Array(0))).code).toBe('scan-empty');
    expect((await faultOf('x.stl', patched(good, 80, bytesOfU32(0)).subarray(0, 84))).code).toBe('scan-empty');
    for (const v of [Number.NaN, Infinity, -Infinity, 1e13]) {
      const bad = await faultOf('x.stl', patched(good, 84 + 50 * 6 + 12 + 16, bytesOfF32(v)));
      expect(bad.code).toBe('scan-not-finite');
      expect(bad.detail.where).toContain('triangle 7 (byte 384)');
      for (let k = 0; k < 9; k++)
        expect((await faultOf('x.stl', patched(good, 84 + 12 + 4 * k, bytesOfF32(v)))).code).toBe('scan-not-finite');
    }
  });

  it('names what is wrong and where: text', async () => {
    const good = asText(box([0, 0, 0], [1, 1, 1]), 'b');
    const cut = await faultOf('x.stl', good.slice(0, good.indexOf('endsolid') - 12));
    expect(cut.code).toBe('stl-word');
    expect((await faultOf('x.stl', good.slice(0, good.indexOf('endsolid')))).code).toBe('stl-cut');
    const nan = await faultOf('x.stl', good.replace('vertex 0', 'vertex nan'));
    expect([nan.code, nan.detail.where]).toEqual(['scan-not-finite', 'x.stl, line 4']);
    expect((await faultOf('x.stl', good.replace('vertex 0', 'vertex 0x10'))).code).toBe('scan-not-finite');
    expect((await faultOf('x.stl', good.replace('vertex 0', 'vertex 1e999'))).code).toBe('scan-not-finite');
    expect((await faultOf('x.stl', good.replace('endloop', 'vertex 1 2 3\nendloop'))).code).toBe('stl-word');
    expect((await faultOf('x.stl', good.replace('outer', 'inner'))).code).toBe('stl-word');
    expect((await faultOf('x.stl', 'solid nothing\nendsolid nothing\n')).code).toBe('scan-empty');
    expect((await read('x.stl', good.replace('normal 0 0 0', 'normal nan -nan(ind) 1.#QNAN'))).parts).toHaveLength(1);
  });
});

import { Buffer } from 'node:buffer';
import { gunzipSync } from 'node:zlib';
import type { Mesh as ThreeMesh } from 'three';
import { NRRDLoader } from 'three/examples/jsm/loaders/NRRDLoader.js';
import { OBJLoader } from 'three/examples/jsm/loaders/OBJLoader.js';
import { PLYLoader } from 'three/examples/jsm/loaders/PLYLoader.js';
import { STLLoader } from 'three/examples/jsm/loaders/STLLoader.js';
import type { Volume } from 'three/examples/jsm/misc/Volume.js';
import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { meshBox, meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { writeNrrd } from '../../src/io/write-nrrd.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { bufferOf, torus } from './shapes.ts';

const mesh = { ...torus(40, 24, random(7), 1), origin: [10, -20, 30] as const };

/** Volume and box from plain corner numbers, nine a triangle, by the divergence theorem: nothing of ours. */
function measure(c: ArrayLike<number>): { volume: number; min: number[]; max: number[] } {
  let volume = 0;
  const min = [Infinity, Infinity, Infinity];
  const max = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < c.length; i += 9) {
    volume +=
      (c[i] * (c[i + 4] * c[i + 8] - c[i + 5] * c[i + 7]) +
        c[i + 1] * (c[i + 5] * c[i + 6] - c[i + 3] * c[i + 8]) +
        c[i + 2] * (c[i + 3] * c[i + 7] - c[i + 4] * c[i + 6])) /
      6;
    for (let k = 0; k < 9; k++) {
      min[k % 3] = Math.min(min[k % 3], c[i + k]);
      max[k % 3] = Math.max(max[k % 3], c[i + k]);
    }
  }
  return { volume, min, max };
}

function expectSame(c: ArrayLike<number>): void {
  const { volume, min, max } = measure(c);
  const own = meshBox(mesh);
  expect(Math.abs(volume / meshVolume(mesh) - 1)).toBeLessThan(1e-5);
  for (let a = 0; a < 3; a++) {
    expect(min[a]).toBeCloseTo(own.min[a], 4);
    expect(max[a]).toBeCloseTo(own.max[a], 4);
  }
}

describe('files read back by three', () => {
  it('STL: volume, extent, and normals that point outwards', () => {
    const g = new STLLoader().parse(bufferOf(writeStl(mesh, 'body, mm')));
    expectSame(g.getAttribute('position').array);
    const p = g.getAttribute('position').array;
    const n = g.getAttribute('normal').array;
    // The torus runs round z through the shifted centre: a normal points away from the ring's middle line.
    for (let i = 0; i < p.length; i += 9) {
      const mid = [0, 1, 2].map((a) => (p[i + a] + p[i + 3 + a] + p[i + 6 + a]) / 3 - mesh.origin[a]);
      const r = Math.hypot(mid[0], mid[1]);
      const out = [(mid[0] / r) * (r - 100), (mid[1] / r) * (r - 100), mid[2]];
      expect(out[0] * n[i] + out[1] * n[i + 1] + out[2] * n[i + 2]).toBeGreaterThan(0);
    }
  });

  it('PLY and OBJ: volume, extent, names', () => {
    expectSame(
      new PLYLoader()
        .parse(bufferOf(writePly(mesh)))
        .toNonIndexed()
        .getAttribute('position').array,
    );
    const group = new OBJLoader().parse(Buffer.from(writeObj([{ name: 'body', mesh }])).toString());
    expect(group.children.map((c) => c.name)).toEqual(['body']);
    expectSame((group.children[0] as ThreeMesh).geometry.getAttribute('position').array);
  });

  it('says that lengths are in mm where the format can', () => {
    expect(Buffer.from(writePly(mesh)).toString('latin1', 0, 300)).toContain('comment lengths in mm');
    expect(Buffer.from(writeObj([{ name: 'a', mesh }])).toString('latin1', 0, 100)).toContain('# lengths in mm');
  });
});

describe('NRRD', () => {
  const grid = { origin: [-12.5, 3, 40] as const, step: 2.5, nx: 7, ny: 5, nz: 4 };
  const field = fieldOf(grid, (x, y, z) => x + 100 * y + 10000 * z);

  it.each([false, true])('three finds sizes, steps and numbers (gzip %s)', (gzip) => {
    const loader = new NRRDLoader();
    // Its types ask for text; its code, for the bytes of a file.
    const volume: Volume = Reflect.apply(loader.parse, loader, [bufferOf(writeNrrd(field, { content: 'slack', gzip }))]);
    expect([volume.xLength, volume.yLength, volume.zLength]).toEqual([7, 5, 4]);
    expect([...volume.spacing]).toEqual([2.5, 2.5, 2.5]);
    expect(Float32Array.from(volume.data)).toEqual(field.data);
  });

  it('the header is what the format definition (teem, "Definition of NRRD File Format") asks', () => {
    const bytes = Buffer.from(writeNrrd(field, { content: 'slack, mm', gzip: true }));
    const end = bytes.indexOf('\n\n');
    const [magic, ...lines] = bytes.toString('latin1', 0, end).split('\n');
    expect(magic).toBe('NRRD0005');
    const fields = Object.fromEntries(lines.filter((l) => !l.startsWith('#')).map((l) => l.split(/: /) as [string, string]));
    expect(fields).toEqual({
      type: 'float',
      dimension: '3',
      sizes: '7 5 4',
      content: 'slack, mm',
      endian: 'little',
      encoding: 'gzip',
      'space dimension': '3',
      'space units': '"mm" "mm" "mm"',
      'space directions': '(2.5,0,0) (0,2.5,0) (0,0,2.5)',
      'space origin': '(-12.5,3,40)',
      kinds: 'domain domain domain',
      centerings: 'cell cell cell',
    });
    expect(gunzipSync(bytes.subarray(end + 2))).toHaveLength(4 * 140);
  });
});

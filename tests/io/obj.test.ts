import type { Mesh as ThreeMesh } from 'three';
import { OBJLoader } from 'three/examples/jsm/loaders/OBJLoader.js';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { readScan } from '../../src/io/read.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { box, corners, faultOf, inPieces, padding, printOf, read, text, torus } from './shapes.ts';

/** A text of several groups in all forms of corners, polygons, and indices that count backwards. */
function rich(seed: number): string {
  const rng = random(seed);
  const lines = [padding('#').trim(), 'mtllib none.mtl'];
  let vertices = 0;
  for (const group of ['frame', 'engine', 'seat']) {
    for (let i = 0; i < 12; i++, vertices++)
      lines.push(`v ${rng.range(-9, 9)} ${rng.range(-9, 9).toFixed(4)} ${rng.range(-9, 9).toExponential(3)}`);
    lines.push('vt 0 0', 'vn 0 0 1', `g ${group}`, 'usemtl grey', 's off');
    for (let f = 0; f < 10; f++) {
      const pool = Array.from({ length: 12 }, (_, i) => i);
      const form = rng.below(4);
      const back = rng.below(2) === 1;
      const picks = Array.from({ length: 3 + rng.below(4) }, () => pool.splice(rng.below(pool.length), 1)[0]);
      const word = (i: number): string => {
        const v = back ? i - 12 : vertices - 11 + i;
        return [`${v}`, `${v}/1`, `${v}//1`, `${v}/1/1`][form];
      };
      lines.push(`f ${picks.map(word).join(' ')}`);
    }
  }
  return `${lines.join('\n')}\n`;
}

describe('OBJ', () => {
  it.each([1, 2, 3, 4])('the same corners as three, group by group (seed %i)', async (seed) => {
    const s = rich(seed);
    const file = await read('rich.obj', s);
    const oracle = new OBJLoader().parse(s).children as ThreeMesh[];
    expect(file.parts.map((p) => p.name)).toEqual(['frame', 'engine', 'seat']);
    expect(oracle.map((o) => o.name)).toEqual(['frame', 'engine', 'seat']);
    for (const [i, part] of file.parts.entries())
      expect(Float32Array.from(corners(part.mesh!))).toEqual(Float32Array.from(oracle[i].geometry.getAttribute('position').array));
    for (const most of [1, 9, 200]) expect(printOf(await readScan(inPieces('rich.obj', text(s), most)))).toEqual(printOf(file));
  });

  it('names parts by object and group; a name that comes again goes on', async () => {
    const v = 'v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\n';
    const names = async (s: string): Promise<string[]> =>
      (await read('some.obj', v + s)).parts.map((p) => `${p.name}:${p.mesh!.indices.length / 3}`);
    expect(await names('f 1 2 3\n')).toEqual(['some:1']);
    expect(await names('o a\nf 1 2 3\nf 1 2 4\no b\nf 1 2 3\no a\nf 2 3 4\n')).toEqual(['a:3', 'b:1']);
    expect(await names('o a\ng x\nf 1 2 3\ng y\nf 1 2 4\no b\nf 1 2 3\ng b\nf 2 3 4\n')).toEqual(['a/x:1', 'a/y:1', 'b:2']);
    expect(await names('g left  tube\nf 1 2 3\ng\nf 1 2 4\n')).toEqual(['left tube:1', 'some:1']);
  });

  it('keeps only the vertices that a part uses; a file without faces is a cloud', async () => {
    const file = await read('x.obj', 'v 9 9 9\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 2 3 4\n');
    expect(file.parts[0].mesh!.positions.length).toBe(9);
    expect((await read('x.obj', 'v 1 2 3\nv 4 5 6\n')).parts).toEqual([
      { name: 'x', cloud: { origin: [0, 0, 0], positions: Float32Array.of(1, 2, 3, 4, 5, 6) } },
    ]);
  });

  it('joins lines that end in a backslash, in any piece', async () => {
    const s = `${padding('#')}${'v 0 0 \\\n0\nv 1 0 0\r\nv 0 \\\r\n1 0\nv 1 1 0\nf 1 2 \\\n 4 \\\n 3\nusemtl a \\\nb\nf 1 2 3\n'}`;
    for (const most of [1, 4, 1000]) {
      const { mesh } = (await readScan(inPieces('x.obj', text(s), most))).parts[0];
      expect([...mesh!.indices]).toEqual([0, 1, 2, 0, 2, 3, 0, 1, 3]);
    }
  });

  it('faces may come before their vertices; what is not read is noted', async () => {
    const file = await read('x.obj', 'f 1 2 3\nv 0 0 0 1\nv 1 0 0\nv 0 1 0 0.5 0.5 0.5\nl 1 2\np 3\np 1\n');
    expect([...file.parts[0].mesh!.indices]).toEqual([0, 1, 2]);
    expect(file.notes.map((n) => n.code)).toEqual(['obj-extra', 'obj-not-read']);
    expect(file.notes[1].text).toContain('1 × l, 2 × p');
  });

  it('is what our own writer writes', async () => {
    const parts = [
      { name: 'ring one', mesh: torus(9, 6, random(2), 1) },
      { name: 'box', mesh: box([1, 2, 3], [4.5, 6.25, 8]) },
    ];
    const file = await read('w.obj', writeObj(parts, ['a note']));
    expect(file.parts.map((p) => p.name)).toEqual(['ring_one', 'box']);
    for (const i of [0, 1]) expect(corners(file.parts[i].mesh!)).toEqual(corners(parts[i].mesh));
  });

  it('names what is wrong and where', async () => {
    const v = 'v 0 0 0\nv 1 0 0\nv 0 1 0\n';
    const bad = async (s: string): Promise<string> => {
      const f = await faultOf('x.obj', s);
      return `${f.code} ${f.detail.where}`;
    };
    expect(await bad(`${v}f 1 2 4\n`)).toBe('scan-index x.obj, line 4');
    expect(await bad(`${v}f 1 2 -4\nf 1 2 3\n`)).toBe('scan-index x.obj, line 4');
    expect(await bad(`${v}f 1 2 0\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}f 1 2\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}f 1 2 3/1/1/1\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}f 1 2 3x\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}f 1 2 1.5\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}f 1 2 99999999999999999999\n`)).toBe('obj-face x.obj, line 4');
    expect(await bad(`${v}v 1 2\nf 1 2 3\n`)).toBe('scan-not-finite x.obj, line 4');
    expect(await bad(`${v}v 1 2 nan\nf 1 2 3\n`)).toBe('scan-not-finite x.obj, line 4');
    expect(await bad(`${v}v 1 2 1e39999\nf 1 2 3\n`)).toBe('scan-not-finite x.obj, line 4');
    expect(await bad(`${v}v 1 2 3 4 5 6 7 8\nf 1 2 3\n`)).toBe('obj-vertex x.obj, line 4');
    expect(await bad(`${v}hello\nf 1 2 3\n`)).toBe('obj-word x.obj, line 4');
    expect(await bad(`${v}l 1 2 3\n`)).toBe('scan-empty x.obj');
    expect(await bad('g a\ng b\n')).toBe('scan-empty x.obj');
  });
});

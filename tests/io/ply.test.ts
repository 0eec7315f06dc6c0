import { PLYLoader } from 'three/examples/jsm/loaders/PLYLoader.js';
import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { readScan } from '../../src/io/read.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { bufferOf, faultOf, inPieces, padding, patched, printOf, read, text, torus } from './shapes.ts';

type Kind = 'ascii' | 'binary_little_endian' | 'binary_big_endian';

/** A PLY of a mesh with properties that nobody needs, before, between and after those that are; faces of 3 to 5 corners. */
function rich(mesh: Mesh, kind: Kind, faces: readonly (readonly number[])[], index: 'int' | 'ushort' = 'int'): Uint8Array {
  const head = `ply\nformat ${kind} 1.0\n${padding('comment ')}obj_info none\nelement vertex ${mesh.positions.length / 3}
property uchar red\nproperty float x\nproperty double quality\nproperty float y\nproperty float z\nproperty short tag
element face ${faces.length}\nproperty uchar flags\nproperty list uchar ${index} vertex_indices\nproperty list ushort float texcoord
element edge 2\nproperty int vertex1\nproperty int vertex2\nend_header\n`;
  if (kind === 'ascii') {
    const rows: string[] = [];
    for (let i = 0; i < mesh.positions.length; i += 3)
      rows.push(`200 ${mesh.positions[i]} 0.25 ${mesh.positions[i + 1]} ${mesh.positions[i + 2]} -7`);
    for (const f of faces) rows.push(`9 ${f.length} ${f.join(' ')} 2 0.5 0.25`);
    return text(`${head}${rows.join('\n')}\n0 1\n1 2\n`);
  }
  const little = kind === 'binary_little_endian';
  const out: number[] = [...text(head)];
  const put = (bytes: number, set: (v: DataView) => void): void => {
    const v = new DataView(new ArrayBuffer(bytes));
    set(v);
    out.push(...new Uint8Array(v.buffer));
  };
  const f4 = (x: number): void => put(4, (v) => v.setFloat32(0, x, little));
  const whole = (x: number): void => (index === 'int' ? put(4, (v) => v.setInt32(0, x, little)) : put(2, (v) => v.setUint16(0, x, little)));
  for (let i = 0; i < mesh.positions.length; i += 3) {
    out.push(200);
    f4(mesh.positions[i]);
    put(8, (v) => v.setFloat64(0, 0.25, little));
    f4(mesh.positions[i + 1]);
    f4(mesh.positions[i + 2]);
    put(2, (v) => v.setInt16(0, -7, little));
  }
  for (const f of faces) {
    out.push(9, f.length);
    f.forEach(whole);
    put(2, (v) => v.setUint16(0, 2, little));
    f4(0.5);
    f4(0.25);
  }
  for (const e of [0, 1, 1, 2]) put(4, (v) => v.setInt32(0, e, little));
  return Uint8Array.from(out);
}

function someFaces(vertices: number, seed: number): number[][] {
  const rng = random(seed);
  return Array.from({ length: 60 }, () => {
    const pool = Array.from({ length: vertices }, (_, i) => i);
    return Array.from({ length: 3 + rng.below(3) }, () => pool.splice(rng.below(pool.length), 1)[0]);
  });
}

const fans = (faces: readonly (readonly number[])[]): number[] =>
  faces.flatMap((f) => f.slice(2).flatMap((_, k) => [f[0], f[k + 1], f[k + 2]]));

describe('PLY', () => {
  for (const kind of ['ascii', 'binary_little_endian', 'binary_big_endian'] as const)
    for (const index of ['int', 'ushort'] as const)
      it(`${kind}, ${index} indices: vertices, fans and skipped properties as written`, async () => {
        const mesh = torus(9, 5, random(3), 2);
        const faces = someFaces(45, 8);
        const bytes = rich(mesh, kind, faces, index);
        const file = await read('rich.ply', bytes);
        expect(file.parts[0].mesh!.positions).toEqual(mesh.positions);
        expect([...file.parts[0].mesh!.indices]).toEqual(fans(faces));
        expect(file.notes[0].text).toBe('Not used: vertex.red, vertex.quality, vertex.tag, face.flags, face.texcoord, 2 × edge.');
        for (const most of [1, 5, 400]) expect(printOf(await readScan(inPieces('rich.ply', bytes, most)))).toEqual(printOf(file));
      });

  it.each([1, 2])('the same triangles as three on meshes of both byte orders and text (seed %i)', async (seed) => {
    const mesh = torus(12, 8, random(seed), 3);
    const triangles = Array.from({ length: mesh.indices.length / 3 }, (_, i) => [...mesh.indices.subarray(3 * i, 3 * i + 3)]);
    for (const kind of ['ascii', 'binary_little_endian', 'binary_big_endian'] as const) {
      const bytes = rich(mesh, kind, triangles);
      const oracle = new PLYLoader().parse(bufferOf(bytes));
      const own = (await read('m.ply', bytes)).parts[0].mesh!;
      expect(own.positions).toEqual(Float32Array.from(oracle.getAttribute('position').array));
      expect([...own.indices]).toEqual([...oracle.index!.array]);
    }
  });

  it('is what our own writer writes, mesh and cloud with normals', async () => {
    const mesh = torus(7, 6, random(9), 1);
    expect((await read('w.ply', writePly(mesh, ['two\nlines']))).parts[0].mesh).toEqual(mesh);
    const normals = Float32Array.from({ length: mesh.positions.length }, (_, i) => (i % 3 === 2 ? 1 : 0));
    const cloud = { origin: [0, 0, 0] as const, positions: mesh.positions, normals };
    const file = await read('c.ply', writePly(cloud));
    expect(file.parts).toEqual([{ name: 'c', cloud }]);
    expect(file.notes).toEqual([]);
  });

  it('makes triangles of strips, every other one turned, parted by -1', async () => {
    const file = await read(
      's.ply',
      'ply\nformat ascii 1.0\nelement vertex 6\nproperty int x\nproperty int y\nproperty int z\nelement tristrips 1\nproperty list int int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n8 0 1 2 3 -1 3 4 5\n',
    );
    expect([...file.parts[0].mesh!.indices]).toEqual([0, 1, 2, 2, 1, 3, 3, 4, 5]);
  });

  it('names what is wrong and where', async () => {
    const mesh = torus(5, 4);
    const triangles = Array.from({ length: 40 }, (_, i) => [...mesh.indices.subarray(3 * i, 3 * i + 3)]);
    const ascii = new TextDecoder().decode(rich(mesh, 'ascii', triangles));
    const binary = rich(mesh, 'binary_little_endian', triangles);
    const body = new TextDecoder('latin1').decode(binary).indexOf('end_header\n') + 11;
    const code = async (bytes: Uint8Array | string): Promise<string> => (await faultOf('x.ply', bytes)).code;
    expect(await code(binary.subarray(0, body + 300))).toBe('ply-cut');
    expect(await code(binary.subarray(0, binary.length - 1))).toBe('ply-cut');
    expect(await code(Uint8Array.from([...binary, 1]))).toBe('ply-count');
    expect(await code(text(ascii.replace('element vertex 20', 'element vertex 19')))).toBe('ply-line');
    expect(await code(text(ascii.replace('element vertex 20', 'element vertex 999999999999')))).toBe('ply-cut');
    expect(await code(ascii.slice(0, -8))).toBe('ply-cut');
    expect(await code(`${ascii}0 1\n`)).toBe('ply-count');
    expect(await code(ascii.replace('property float y', 'property float w'))).toBe('ply-header');
    expect(await code(ascii.replace('property float y', 'property half y'))).toBe('ply-header');
    expect(await code(ascii.replace('end_header', 'end'))).toBe('ply-header');
    expect(await code(ascii.replace('format ascii 1.0', 'format ascii 2.0'))).toBe('ply-header');
    expect(await code(ascii.replace('element face', 'elephant face'))).toBe('ply-header');
    const lines = ascii.split('\n');
    const first = lines.indexOf('end_header') + 1;
    const withLine = (n: number, line: string): string => [...lines.slice(0, first + n), line, ...lines.slice(first + n + 1)].join('\n');
    const nan = await faultOf('x.ply', withLine(4, '200 nan 0.25 1 2 -7'));
    expect([nan.code, nan.detail.where]).toEqual(['ply-line', `x.ply, line ${first + 5}`]);
    expect((await faultOf('x.ply', withLine(4, '200 1e400 0.25 1 2 -7'))).code).toBe('scan-not-finite');
    expect((await faultOf('x.ply', withLine(4, '200 1 0.25 1 2'))).code).toBe('ply-line');
    expect((await faultOf('x.ply', withLine(22, '9 3 0 1 20 2 0.5 0.25'))).code).toBe('scan-index');
    expect((await faultOf('x.ply', withLine(22, '9 3 0 1 -1 2 0.5 0.25'))).code).toBe('scan-index');
    expect((await faultOf('x.ply', withLine(22, '9 2 0 1 2 0.5 0.25'))).code).toBe('ply-face');
    expect((await faultOf('x.ply', withLine(22, '9 3 0 1 1.5 2 0.5 0.25'))).code).toBe('scan-index');
    const inf = await faultOf('x.ply', patched(binary, body + 23 * 3 + 1, [0, 0, 0x80, 0x7f]));
    expect([inf.code, inf.detail.where]).toEqual(['scan-not-finite', `x.ply, vertex 4 (byte 5,${body + 69 - 5000})`]);
    expect(await code(patched(binary, body + 23 * 20 + 1, [200]))).toMatch(/ply-(cut|face)|scan-index/);
    expect(await code(patched(binary, body + 23 * 20 + 5, [9]))).toBe('scan-index');
    expect(await code('ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\nend_header\n')).toBe(
      'scan-empty',
    );
  });
});

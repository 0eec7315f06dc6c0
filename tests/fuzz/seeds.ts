import { gzipSync } from 'node:zlib';
import { Document, WebIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS, EXTMeshoptCompression, KHRDracoMeshCompression } from '@gltf-transform/extensions';
import draco3d from 'draco3dgltf';
import { strToU8, zipSync } from 'fflate';
import { MeshoptEncoder } from 'meshoptimizer/encoder';
import { random } from '../../src/core/random.ts';
import { writeGlb } from '../../src/io/write-glb.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { box, text } from '../io/shapes.ts';

/** A small good file of one reader, and how a mutated one is wrapped up again (check sums put right). */
export interface Seed {
  readonly name: string;
  readonly bytes: Uint8Array;
  readonly wrap?: (bytes: Uint8Array) => Uint8Array;
}

const cube = box([-1, 2, 3], [4, 6.5, 8]);
const rows = (by: string): string =>
  Array.from({ length: 8 }, (_, i) => [...cube.positions.slice(3 * i, 3 * i + 3), 0, 0.6, 0.8].join(by)).join('\n');
const faces = Array.from({ length: 12 }, (_, i) => [...cube.indices.slice(3 * i, 3 * i + 3)]);

const stlText = `solid box\n${faces
  .slice(0, 4)
  .map(
    (f) =>
      `facet normal 0 0 1\nouter loop\n${f.map((v) => `vertex ${cube.positions.slice(3 * v, 3 * v + 3).join(' ')}`).join('\n')}\nendloop\nendfacet`,
  )
  .join('\n')}\nendsolid box\n`;
const plyHead = (kind: string): string =>
  `ply\nformat ${kind} 1.0\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\nelement face 12\nproperty list uchar int vertex_indices\nend_header\n`;
const plyText = `${plyHead('ascii')}${Array.from({ length: 8 }, (_, i) => cube.positions.slice(3 * i, 3 * i + 3).join(' ')).join('\n')}\n${faces.map((f) => `3 ${f.join(' ')}`).join('\n')}\n`;

function plyBig(): Uint8Array {
  const view = new DataView(new ArrayBuffer(8 * 12 + 12 * 13));
  for (let i = 0; i < 24; i++) view.setFloat32(4 * i, cube.positions[i]);
  for (let f = 0; f < 12; f++) {
    view.setUint8(96 + 13 * f, 3);
    for (let k = 0; k < 3; k++) view.setInt32(96 + 13 * f + 1 + 4 * k, faces[f][k]);
  }
  return Uint8Array.from([...text(plyHead('binary_big_endian')), ...new Uint8Array(view.buffer)]);
}

const obj = `# box\nmtllib a.mtl\n${Array.from({ length: 8 }, (_, i) => `v ${cube.positions.slice(3 * i, 3 * i + 3).join(' ')}`).join('\n')}\nvn 0 0 1\ng one\nf 1//1 3//1 2//1\nf -8 -7 -6 -5\no two\ng three\nf 5/1/1 6 7 \\\n 8\nl 1 2\n`;
const pcdHead = (data: string): string =>
  `VERSION 0.7\nFIELDS x y z rgb\nSIZE 4 4 4 4\nTYPE F F F U\nCOUNT 1 1 1 1\nWIDTH 4\nHEIGHT 2\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS 8\nDATA ${data}\n`;
const noise = random(99);
const pcdData = Uint8Array.from({ length: 128 }, (_, i) => (i % 16 >= 12 ? 7 : i % 4 === 3 ? 0x41 : noise.below(256)));
/** All plain runs: a good LZF stream without copies, then one copy. */
const lzf = Uint8Array.from([
  31,
  ...pcdData.subarray(0, 32),
  31,
  ...pcdData.subarray(32, 64),
  31,
  ...pcdData.subarray(64, 96),
  28,
  ...pcdData.subarray(96, 125),
  0x20,
  15,
]);

const model = `<?xml version="1.0"?><model unit="inch" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources><object id="1" name="b"><mesh><vertices>${Array.from({ length: 8 }, (_, i) => `<vertex x="${cube.positions[3 * i]}" y="${cube.positions[3 * i + 1]}" z="${cube.positions[3 * i + 2]}"/>`).join('')}</vertices><triangles>${faces.map((f) => `<triangle v1="${f[0]}" v2="${f[1]}" v3="${f[2]}"/>`).join('')}</triangles></mesh></object><object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 -1 5 5 5"/></components></object></resources><build><item objectid="1"/><item objectid="2"/></build></model>`;
const rels =
  '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/m.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>';
const wrapModel = (bytes: Uint8Array): Uint8Array =>
  zipSync({
    '[Content_Types].xml': [strToU8('<Types/>'), { level: 0 }],
    '_rels/.rels': [strToU8(rels), { level: 0 }],
    'm.model': [bytes, { level: 0 }],
  });

async function compressed(kind: 'draco' | 'meshopt'): Promise<Uint8Array> {
  await MeshoptEncoder.ready;
  const io = new WebIO().registerExtensions(ALL_EXTENSIONS);
  io.registerDependencies({ 'draco3d.encoder': await draco3d.createEncoderModule(), 'meshopt.encoder': MeshoptEncoder });
  const doc = new Document();
  const buffer = doc.createBuffer();
  const prim = doc
    .createPrimitive()
    .setAttribute('POSITION', doc.createAccessor().setType('VEC3').setArray(cube.positions.slice()).setBuffer(buffer));
  prim.setIndices(doc.createAccessor().setArray(Uint16Array.from(cube.indices)).setBuffer(buffer));
  doc.createScene().addChild(doc.createNode('n').setMesh(doc.createMesh().addPrimitive(prim)));
  if (kind === 'draco') doc.createExtension(KHRDracoMeshCompression).setRequired(true);
  else doc.createExtension(EXTMeshoptCompression).setRequired(true);
  return io.writeBinary(doc);
}

/** Good small files by reader. The two compressed kinds of glTF stand apart: each file sets up its decoder anew, which takes milliseconds. */
export async function seedsOf(): Promise<Record<string, readonly Seed[]>> {
  const stl = writeStl(cube, 'box');
  const glb = await writeGlb([{ name: 'box', mesh: cube, colour: [1, 0, 0, 1] }], { a: 1 });
  const json = JSON.parse(new TextDecoder().decode(glb.subarray(20, 20 + new DataView(glb.buffer).getUint32(12, true))));
  json.buffers[0].uri = `data:;base64,${Buffer.from(glb.subarray(28 + new DataView(glb.buffer).getUint32(12, true))).toString('base64')}`;
  return {
    stl: [
      { name: 'a.stl', bytes: stl.slice(0) },
      { name: 'b.stl', bytes: text(stlText) },
    ],
    ply: [
      { name: 'a.ply', bytes: text(plyText) },
      { name: 'b.ply', bytes: writePly(cube) },
      { name: 'c.ply', bytes: plyBig() },
    ],
    obj: [
      { name: 'a.obj', bytes: text(obj) },
      { name: 'b.obj', bytes: writeObj([{ name: 'x', mesh: cube }]) },
    ],
    gltf: [
      { name: 'a.glb', bytes: glb },
      { name: 'b.gltf', bytes: text(JSON.stringify(json)) },
    ],
    meshopt: [{ name: 'm.glb', bytes: await compressed('meshopt') }],
    draco: [{ name: 'd.glb', bytes: await compressed('draco') }],
    '3mf': [
      { name: 'a.3mf', bytes: text(model), wrap: wrapModel },
      { name: 'b.3mf', bytes: wrapModel(text(model)) },
    ],
    pcd: [
      { name: 'a.pcd', bytes: text(`${pcdHead('ascii')}${rows(' ').replace(/ \S+ \S+$/gm, '')}\n`) },
      { name: 'b.pcd', bytes: Uint8Array.from([...text(pcdHead('binary')), ...pcdData]) },
      {
        name: 'c.pcd',
        bytes: Uint8Array.from([...text(pcdHead('binary_compressed')), ...new Uint8Array(Uint32Array.of(lzf.length, 128).buffer), ...lzf]),
      },
    ],
    rows: [
      { name: 'a.xyz', bytes: text(`${rows(' ')}\n`) },
      { name: 'b.csv', bytes: text(`x,y,z,nx,ny,nz\n${rows(',')}\n`) },
      { name: 'c.txt', bytes: text(rows(';').replace(/\./g, ',')) },
    ],
    gzip: [
      { name: 'a.stl.gz', bytes: gzipSync(stl) },
      { name: 'b.obj.gz', bytes: text(obj), wrap: (b) => gzipSync(b, { level: 1 }) },
    ],
    zip: [
      { name: 'a.zip', bytes: zipSync({ 'a.stl': stl, 'b/c.obj': text(obj), 'n.mtl': text('x') }) },
      { name: 'b.zip', bytes: text(plyText), wrap: (b) => zipSync({ 'x.ply': [b, { level: 0 }] }) },
    ],
  };
}

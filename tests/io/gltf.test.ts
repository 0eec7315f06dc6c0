import { Accessor, Document, type Node, WebIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS, EXTMeshGPUInstancing, EXTMeshoptCompression, KHRDracoMeshCompression } from '@gltf-transform/extensions';
import draco3d from 'draco3dgltf';
import { MeshoptDecoder } from 'meshoptimizer/decoder';
import { MeshoptEncoder } from 'meshoptimizer/encoder';
import type { Mesh as ThreeMesh } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
import { describe, expect, it } from 'vitest';
import { type Mesh, meshBox, meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { readScan, type ScanFile } from '../../src/io/read.ts';
import { bytesSource } from '../../src/io/source.ts';
import { writeGlb } from '../../src/io/write-glb.ts';
import { box, bufferOf, corners, faultOf, read, text, torus } from './shapes.ts';

/** A node with a mesh of its own in `doc`, coordinates as they are. */
function nodeOf(doc: Document, mesh: Mesh, name: string, indexed = true): Node {
  const buffer = doc.getRoot().listBuffers()[0] ?? doc.createBuffer();
  const flat = Float32Array.from(corners(mesh));
  const prim = doc.createPrimitive().setAttribute(
    'POSITION',
    doc
      .createAccessor()
      .setType('VEC3')
      .setArray(indexed ? mesh.positions.slice() : flat)
      .setBuffer(buffer),
  );
  if (indexed) prim.setIndices(doc.createAccessor().setArray(mesh.indices.slice()).setBuffer(buffer));
  return doc.createNode(name).setMesh(doc.createMesh(`${name} mesh`).addPrimitive(prim));
}

/** World corners by three's loader, turned to z-up; in the order of the scene's meshes. */
async function byThree(glb: Uint8Array): Promise<Float64Array[]> {
  const { scene } = await new GLTFLoader().parseAsync(bufferOf(glb), '');
  scene.updateMatrixWorld(true);
  const out: Float64Array[] = [];
  scene.traverse((o) => {
    const m = o as ThreeMesh;
    if (!m.isMesh) return;
    const g = m.geometry.index ? m.geometry.toNonIndexed() : m.geometry;
    const p = g.clone().applyMatrix4(m.matrixWorld).getAttribute('position');
    out.push(
      Float64Array.from(
        { length: 3 * p.count },
        (_, i) => [p.getX(Math.floor(i / 3)), -p.getZ(Math.floor(i / 3)), p.getY(Math.floor(i / 3))][i % 3],
      ),
    );
  });
  return out;
}

function expectNear(a: Float64Array, b: Float64Array, within: number): void {
  expect(a.length).toBe(b.length);
  let worst = 0;
  for (let i = 0; i < a.length; i++) worst = Math.max(worst, Math.abs(a[i] - b[i]));
  expect(worst).toBeLessThan(within);
}

/** Corner triples from the least corner on, sorted, so that files whose order of triangles changed can be compared. */
function sorted(c: Float64Array, step: number): string[] {
  const out: string[] = [];
  for (let i = 0; i < c.length; i += 9) {
    const t = [0, 3, 6].map((k) => [0, 1, 2].map((a) => Math.round(c[i + k + a] / step)).join(','));
    const least = [...t].sort()[0];
    const from = t.indexOf(least);
    out.push([0, 1, 2].map((k) => t[(from + k) % 3]).join(' '));
  }
  return out.sort();
}

const io = new WebIO().registerExtensions(ALL_EXTENSIONS);

async function compressedIo(): Promise<WebIO> {
  await Promise.all([MeshoptDecoder.ready, MeshoptEncoder.ready]);
  return new WebIO().registerExtensions(ALL_EXTENSIONS).registerDependencies({
    'draco3d.encoder': await draco3d.createEncoderModule(),
    'draco3d.decoder': await draco3d.createDecoderModule(),
    'meshopt.encoder': MeshoptEncoder,
    'meshopt.decoder': MeshoptDecoder,
  });
}

/** Three nodes: shifted, turned and scaled under a parent; mirrored; without indices. */
async function scene(): Promise<Uint8Array<ArrayBuffer>> {
  const doc = new Document();
  const root = doc.createScene();
  const parent = doc.createNode('bike').setTranslation([1, 2, 3]).setRotation([0.5, 0.5, 0.5, 0.5]).setScale([2, 1, 0.5]);
  parent.addChild(nodeOf(doc, torus(9, 5, random(1), 1), 'tank').setRotation([0, 0.6, 0, 0.8]));
  root.addChild(parent).addChild(nodeOf(doc, box([1, 2, 3], [4, 6, 8]), 'box').setScale([-1, 1, 1]));
  root.addChild(nodeOf(doc, torus(6, 4, random(2), 1), 'flat', false).setTranslation([10, 0, 0]));
  return io.writeBinary(doc);
}

describe('glTF', () => {
  it('parts lie where three puts them, turned to z-up; metres; mirrored nodes still face outwards', async () => {
    const glb = await scene();
    const file = await read('scene.glb', glb);
    expect([file.format, file.unit]).toEqual(['glTF (binary)', 'm']);
    expect(file.parts.map((p) => p.name)).toEqual(['tank', 'box', 'flat']);
    const oracle = await byThree(glb);
    for (const i of [0, 2]) expectNear(corners(file.parts[i].mesh!), oracle[i], 1e-4);
    const own = file.parts[1].mesh!;
    // three leaves the order of corners to the drawing; ours is turned, so only the sets of corners are the same.
    const sets = (c: Float64Array): string[] =>
      sorted(c, 0.001)
        .map((t) => t.split(' ').sort().join(' '))
        .sort();
    expect(sets(corners(own))).toEqual(sets(oracle[1]));
    expect(meshVolume(own)).toBeCloseTo(60, 4);
    expect(file.parts[2].mesh!.positions.length / 3).toBe(24);
  });

  it('Draco and meshopt: the same triangles within the steps of the encoder', async () => {
    const mesh = torus(24, 16, random(4), 0.5);
    const codec = await compressedIo();
    const plain = (await read('p.glb', await io.writeBinary(docOf(mesh)))).parts[0].mesh!;
    for (const make of [
      (d: Document) =>
        d
          .createExtension(KHRDracoMeshCompression)
          .setRequired(true)
          .setEncoderOptions({ method: KHRDracoMeshCompression.EncoderMethod.SEQUENTIAL, quantizationBits: { POSITION: 16 } }),
      (d: Document) =>
        d
          .createExtension(EXTMeshoptCompression)
          .setRequired(true)
          .setEncoderOptions({ method: EXTMeshoptCompression.EncoderMethod.QUANTIZE }),
    ]) {
      const doc = docOf(mesh);
      make(doc);
      const glb = await codec.writeBinary(doc);
      const { json } = await io.binaryToJSON(glb);
      expect(json.extensionsRequired).toHaveLength(1);
      const file = await read('c.glb', glb);
      const own = file.parts[0].mesh!;
      expect(own.indices.length).toBe(mesh.indices.length);
      expect(meshVolume(own)).toBeCloseTo(meshVolume(plain), -2);
      expect(Math.abs(meshVolume(own) / meshVolume(plain) - 1)).toBeLessThan(1e-4);
      for (const [a, v] of meshBox(own).min.entries()) expect(Math.abs(v - meshBox(plain).min[a])).toBeLessThan(0.01);
    }
  });

  function docOf(mesh: Mesh): Document {
    const doc = new Document();
    doc.createScene().addChild(nodeOf(doc, mesh, 'm'));
    return doc;
  }

  it('strips, fans, points with normals, lines, quantised positions, instances', async () => {
    const doc = new Document();
    const buffer = doc.createBuffer();
    const points = doc
      .createAccessor()
      .setType('VEC3')
      .setArray(Float32Array.of(0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0))
      .setBuffer(buffer);
    const prim = (mode: 0 | 1 | 5 | 6) => doc.createPrimitive().setMode(mode).setAttribute('POSITION', points);
    const root = doc.createScene();
    for (const [mode, name] of [
      [5, 'strip'],
      [6, 'fan'],
      [0, 'points'],
    ] as const)
      root.addChild(doc.createNode(name).setMesh(doc.createMesh().addPrimitive(prim(mode))));
    root.addChild(doc.createNode('wire').setMesh(doc.createMesh().addPrimitive(prim(1))));
    const packed = doc
      .createAccessor()
      .setType('VEC3')
      .setNormalized(true)
      .setArray(Int16Array.of(0, 0, 0, 32767, 0, 0, 0, 32767, 0))
      .setBuffer(buffer);
    root.addChild(doc.createNode('small').setMesh(doc.createMesh().addPrimitive(doc.createPrimitive().setAttribute('POSITION', packed))));
    const batch = doc.createExtension(EXTMeshGPUInstancing).setRequired(true).createInstancedMesh();
    batch.setAttribute(
      'TRANSLATION',
      doc
        .createAccessor()
        .setType('VEC3')
        .setArray(Float32Array.of(0, 0, 0, 0, 0, 5))
        .setBuffer(buffer),
    );
    root.addChild(nodeOf(doc, box([0, 0, 0], [1, 1, 1]), 'twice').setExtension('EXT_mesh_gpu_instancing', batch));
    const file = await read('mixed.glb', await io.writeBinary(doc));
    const part = (name: string): ScanFile['parts'][number] => file.parts.find((p) => p.name === name)!;
    expect(sorted(corners(part('strip').mesh!), 1)).toEqual(
      sorted(Float64Array.of(0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1), 1),
    );
    expect(part('fan').mesh!.indices.length).toBe(6);
    expect(part('points').cloud!.positions).toEqual(Float32Array.of(0, 0, 0, 1, 0, 0, 0, 0, 1, 1, 0, 1));
    expect([...part('small').mesh!.positions].map((v) => v + 0)).toEqual([0, 0, 0, 1, 0, 0, 0, 0, 1]);
    expect(meshVolume(part('twice').mesh!)).toBeCloseTo(2, 5);
    expect(meshBox(part('twice').mesh!).min[1]).toBe(-6);
    expect(file.notes.find((n) => n.code === 'gltf-not-read')!.text).toContain('1 × lines');
  });

  it('.gltf with buffers beside it and inside it', async () => {
    const doc = docOf(box([0, 0, 0], [1, 2, 3]));
    doc.getRoot().listBuffers()[0].setURI('data file.bin');
    const { json, resources } = await io.writeJSON(doc);
    const [uri] = Object.keys(resources);
    const source = {
      ...bytesSource('b.gltf', text(JSON.stringify(json))),
      sibling: async (r: string) => (r === uri ? resources[uri] : Promise.reject(new Error('none'))),
    };
    expect(meshVolume((await readScan(source)).parts[0].mesh!)).toBeCloseTo(6, 5);
    expect((await faultOf('b.gltf', JSON.stringify(json))).code).toBe('gltf-buffer');
    const inside = JSON.parse(JSON.stringify(json));
    inside.buffers[0].uri = `data:application/octet-stream;base64,${Buffer.from(resources[uri]).toString('base64')}`;
    expect(meshVolume((await read('c.gltf', JSON.stringify(inside))).parts[0].mesh!)).toBeCloseTo(6, 5);
  });

  it('our own writer: named nodes, metres, extras; three and our reader find the same box', async () => {
    const mesh = { ...torus(12, 8, random(6), 1), origin: [1000, -2000, 500] as const };
    const glb = await writeGlb(
      [
        { name: 'envelope', mesh, colour: [0.9, 0.4, 0.1, 0.5] },
        { name: 'cavity', mesh: box([0, 0, 0], [10, 20, 30]) },
      ],
      { tool: 'voidgauge', length: 'm' },
    );
    const doc = await io.readBinary(glb);
    expect(
      doc
        .getRoot()
        .listNodes()
        .map((n) => n.getName()),
    ).toEqual(['envelope', 'cavity']);
    expect(doc.getRoot().getDefaultScene()!.getExtras()).toEqual({ tool: 'voidgauge', length: 'm' });
    expect(
      doc
        .getRoot()
        .listAccessors()
        .some((a) => a.getComponentType() === Accessor.ComponentType.FLOAT),
    ).toBe(true);
    const [three] = await byThree(glb);
    expectNear(
      three.map((v) => v * 1000),
      corners(mesh),
      2e-3,
    );
    const file = await read('own.glb', glb);
    expectNear(
      corners(file.parts[0].mesh!).map((v) => v * 1000),
      corners(mesh),
      1e-3,
    );
    expect(file.parts[0].mesh!.indices.length).toBe(mesh.indices.length);
  });

  it('names what is wrong', async () => {
    const glb = await scene();
    const code = async (bytes: Uint8Array | string): Promise<string> => (await faultOf('x.glb', bytes)).code;
    expect(await code(glb.subarray(0, glb.length - 4))).toBe('gltf-layout');
    expect(await code(glb.subarray(0, 15))).toBe('gltf-layout');
    const { json, resources } = await io.binaryToJSON(glb);
    const bin = Object.values(resources)[0];
    const withJson = async (change: (j: typeof json) => void): Promise<string> => {
      const j = structuredClone(json);
      change(j);
      j.buffers![0].uri = `data:;base64,${Buffer.from(bin).toString('base64')}`;
      return code(JSON.stringify(j));
    };
    expect(await withJson((j) => Object.assign(j.asset, { version: '1.0' }))).toBe('gltf-layout');
    expect(await withJson((j) => Object.assign(j.accessors![0], { count: 1e9 }))).toBe('gltf-layout');
    expect(await withJson((j) => Object.assign(j.accessors![0], { bufferView: 99 }))).toBe('gltf-layout');
    expect(await withJson((j) => Object.assign(j.bufferViews![0], { byteLength: 1e8 }))).toBe('gltf-layout');
    expect(await withJson((j) => Object.assign(j.nodes![0], { children: [0] }))).toBe('gltf-layout');
    const deep = Array.from({ length: 5000 }, (_, i) => (i === 4999 ? { mesh: 0 } : { children: [i + 1] }));
    expect(await withJson((j) => Object.assign(j, { nodes: deep, scenes: [{ nodes: [0] }] }))).toBe('gltf-layout');
    expect(await withJson((j) => Object.assign(j, { extensionsRequired: ['NO_such_thing'] }))).toBe('gltf-read');
    expect(await withJson((j) => Object.assign(j, { nodes: [], scenes: [{ nodes: [] }] }))).toBe('scan-empty');
    const doc = docOf(box([0, 0, 0], [1, 1, 1]));
    doc.getRoot().listMeshes()[0].listPrimitives()[0].getIndices()!.setScalar(5, 77);
    expect(await code(await io.writeBinary(doc))).toBe('scan-index');
    const nan = docOf(box([0, 0, 0], [1, 1, 1]));
    nan.getRoot().listMeshes()[0].listPrimitives()[0].getAttribute('POSITION')!.setElement(3, [0, Number.NaN, 0]);
    expect(await code(await io.writeBinary(nan))).toBe('scan-not-finite');
  });
});

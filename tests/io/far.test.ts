import { Document, WebIO } from '@gltf-transform/core';
import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { write3mf } from '../../src/io/write-3mf.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { corners, read, torus } from './shapes.ts';

/** Where national survey grids put a workshop, mm. */
const FAR = [5_123_456.5, -4_987_654.25, 5_000_001.125] as const;

/** The torus shifted by FAR in float64, three decimals, as nine numbers a triangle. */
function farCorners(mesh: Mesh): number[] {
  return [...corners(mesh)].map((v, i) => Number((v + FAR[i % 3]).toFixed(3)));
}

function worst(mesh: Mesh, want: readonly number[]): number {
  const got = corners(mesh);
  expect(got.length).toBe(want.length);
  return want.reduce((w, v, i) => Math.max(w, Math.abs(v - got[i])), 0);
}

describe('coordinates about 5e6', () => {
  const mesh = torus(20, 12, random(3), 1);
  const want = farCorners(mesh);
  const triangles = want.length / 9;

  it('text STL, text and double PLY, OBJ and XYZ keep them within 0.01 mm', async () => {
    const rows = Array.from({ length: want.length / 3 }, (_, i) => want.slice(3 * i, 3 * i + 3).join(' '));
    const stl = Array.from(
      { length: triangles },
      (_, i) => `facet normal 0 0 0\nouter loop\n${[0, 1, 2].map((k) => `vertex ${rows[3 * i + k]}\n`).join('')}endloop\nendfacet\n`,
    );
    const faces = Array.from({ length: triangles }, (_, i) => `${3 * i} ${3 * i + 1} ${3 * i + 2}`);
    const ply = `ply\nformat ascii 1.0\nelement vertex ${rows.length}\nproperty double x\nproperty double y\nproperty double z\nelement face ${triangles}\nproperty list uchar int vertex_index\nend_header\n${rows.join('\n')}\n${faces.map((f) => `3 ${f}`).join('\n')}\n`;
    const obj = `${rows.map((r) => `v ${r}`).join('\n')}\n${faces
      .map(
        (f) =>
          `f ${f
            .split(' ')
            .map((v) => Number(v) + 1)
            .join(' ')}`,
      )
      .join('\n')}\n`;
    for (const [name, text] of [
      ['a.stl', `solid a\n${stl.join('')}endsolid a\n`],
      ['a.ply', ply],
      ['a.obj', obj],
    ] as const) {
      const own = (await read(name, text)).parts[0].mesh!;
      expect(worst(own, want)).toBeLessThan(0.001);
      expect(Math.abs(meshVolume(own) / meshVolume(mesh) - 1)).toBeLessThan(1e-3);
      expect(own.origin.every((o) => Math.abs(o) > 4e6 && Number.isInteger(o))).toBe(true);
    }
    const { cloud } = (await read('a.xyz', rows.join('\n'))).parts[0];
    expect(Math.max(...want.map((v, i) => Math.abs(v - (cloud!.positions[i] + cloud!.origin[i % 3]))))).toBeLessThan(0.001);
  });

  it('stray points at zero, one in twenty, do not spoil the rest', async () => {
    const stray = Array.from({ length: want.length / 60 }, () => [0, 0, 0]);
    const rows = [...stray, ...Array.from({ length: want.length / 3 }, (_, i) => want.slice(3 * i, 3 * i + 3))];
    const { cloud } = (await read('stray.xyz', rows.map((r) => r.join(',')).join('\n'))).parts[0];
    expect(
      rows
        .slice(stray.length)
        .flat()
        .reduce((w, v, i) => Math.max(w, Math.abs(v - (cloud!.positions[i + 3 * stray.length] + cloud!.origin[i % 3]))), 0),
    ).toBeLessThan(0.01);
  });

  it('a glTF node far away, and our own PLY and 3MF, keep them', async () => {
    const doc = new Document();
    const buffer = doc.createBuffer();
    const prim = doc
      .createPrimitive()
      .setAttribute('POSITION', doc.createAccessor().setType('VEC3').setArray(mesh.positions.slice()).setBuffer(buffer));
    prim.setIndices(doc.createAccessor().setArray(mesh.indices.slice()).setBuffer(buffer));
    doc
      .createScene()
      .addChild(doc.createNode('far').setMesh(doc.createMesh().addPrimitive(prim)).setTranslation([FAR[0], FAR[2], -FAR[1]]));
    const glb = (await read('far.glb', await new WebIO().writeBinary(doc))).parts[0].mesh!;
    // y-up to z-up: (x, y, z) of the file is (x, -z, y) here.
    const turned = [...corners(mesh)].map((_, i, c) => [c[i], -c[i + 1], c[i - 1]][i % 3] + FAR[i % 3]);
    expect(worst(glb, turned)).toBeLessThan(0.001);
    const own = { ...mesh, origin: FAR };
    const exact = [...corners(own)];
    expect(worst((await read('w.ply', writePly(own))).parts[0].mesh!, exact)).toBeLessThan(0.001);
    expect(worst((await read('w.3mf', write3mf([{ name: 'far', mesh: own }], 'far'))).parts[0].mesh!, exact)).toBeLessThan(0.001);
  });

  it('coordinates near zero keep the origin at zero', async () => {
    expect((await read('n.ply', writePly(mesh))).parts[0].mesh!.origin).toEqual([0, 0, 0]);
  });
});

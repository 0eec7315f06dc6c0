import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import init, { type OpenCascadeInstance, type TopoDS_Shape } from 'replicad-opencascadejs';
import { beforeAll, describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { joinMeshes, type Mesh, meshArea, meshBox, meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { writeStep } from '../../src/io/write-step.ts';
import { box, torus } from './shapes.ts';

/** What the kernel found in a STEP file; lengths in mm, its own unit. */
interface Found {
  readonly valid: boolean;
  readonly solids: number;
  readonly shells: number;
  readonly faces: number;
  readonly edges: number;
  readonly volume: number;
  readonly area: number;
  readonly min: readonly number[];
  readonly max: readonly number[];
}

let oc: OpenCascadeInstance;

beforeAll(async () => {
  const wasm = createRequire(import.meta.url).resolve('replicad-opencascadejs/wasm');
  oc = await init({ wasmBinary: readFileSync(wasm) });
});

function find(bytes: Uint8Array): Found {
  oc.FS.writeFile('/part.step', bytes);
  const reader = new oc.STEPControl_Reader();
  expect(reader.ReadFile('/part.step')).toBe('IFSelect_RetDone');
  reader.TransferRoots(new oc.Message_ProgressRange());
  const shape = reader.OneShape();
  // Each edge and face once, however many solids share it.
  const count = (kind: 'SOLID' | 'SHELL' | 'FACE' | 'EDGE'): number => {
    const known = new Map<number, TopoDS_Shape[]>();
    let n = 0;
    for (const walk = new oc.TopExp_Explorer(shape, oc.TopAbs_ShapeEnum[`TopAbs_${kind}`]); walk.More(); walk.Next()) {
      const found = walk.Current();
      const hash = oc.ReplicadShapeHasher.HashCode(found, 2 ** 31 - 1);
      const like = known.get(hash) ?? [];
      if (like.some((s) => s.IsSame(found))) continue;
      known.set(hash, [...like, found]);
      n++;
    }
    return n;
  };
  const bulk = new oc.GProp_GProps();
  oc.BRepGProp.VolumeProperties(shape, bulk, true, false, false);
  const skin = new oc.GProp_GProps();
  oc.BRepGProp.SurfaceProperties(shape, skin, false, false);
  const b = new oc.Bnd_Box();
  oc.BRepBndLib.AddClose(shape, b);
  return {
    valid: new oc.BRepCheck_Analyzer(shape, true, false, false).IsValid(),
    solids: count('SOLID'),
    shells: count('SHELL'),
    faces: count('FACE'),
    edges: count('EDGE'),
    volume: bulk.Mass(),
    area: skin.Mass(),
    min: [b.GetXMin(), b.GetYMin(), b.GetZMin()],
    max: [b.GetXMax(), b.GetYMax(), b.GetZMax()],
  };
}

function expectMesh(found: Found, mesh: Mesh): void {
  expect(found.valid).toBe(true);
  expect(Math.abs(found.volume / meshVolume(mesh) - 1)).toBeLessThan(1e-6);
  expect(Math.abs(found.area / meshArea(mesh) - 1)).toBeLessThan(1e-6);
  expect([found.faces, found.edges]).toEqual([mesh.indices.length / 3, mesh.indices.length / 2]);
  const own = meshBox(mesh);
  for (let a = 0; a < 3; a++) {
    expect(found.min[a]).toBeCloseTo(own.min[a], 3);
    expect(found.max[a]).toBeCloseTo(own.max[a], 3);
  }
}

const options = { name: 'body', time: '2026-01-01T00:00:00' };
const flipped = (m: Mesh): Mesh => ({ ...m, indices: m.indices.slice().reverse() });

describe('STEP, read by a solid-modelling kernel', () => {
  it('one valid solid with shared edges, about an origin', () => {
    const mesh = { ...torus(24, 14, random(3), 2), origin: [100, -50, 700] as const };
    const found = find(writeStep(mesh, options));
    expect([found.solids, found.shells]).toEqual([1, 1]);
    expectMesh(found, mesh);
  });

  it('the most faces that are allowed', () => {
    const mesh = torus(50, 50, random(4), 1);
    const bytes = writeStep(mesh, options);
    expectMesh(find(bytes), mesh);
    expect(bytes.length).toBeLessThan(6e6);
  });

  it('a hollow body, and two bodies', () => {
    const hollow = joinMeshes([box([0, 0, 0], [30, 20, 10]), flipped(box([5, 5, 3], [20, 15, 8]))]);
    const found = find(writeStep(hollow, options));
    expect([found.solids, found.shells]).toEqual([1, 2]);
    expectMesh(found, hollow);
    const two = joinMeshes([box([0, 0, 0], [3, 2, 1]), box([10, 0, 0], [13, 2, 1])]);
    const pair = find(writeStep(two, options));
    expect(pair.solids).toBe(2);
    expectMesh(pair, two);
  });

  it('refuses what is no solid', () => {
    const code = (mesh: Mesh): string => {
      try {
        writeStep(mesh, options);
      } catch (e) {
        if (e instanceof Fault) return e.code;
        throw e;
      }
      return 'none';
    };
    const cube = box([0, 0, 0], [1, 1, 1]);
    expect(code(torus(51, 50))).toBe('step-faces');
    expect(code({ ...cube, indices: cube.indices.slice(3) })).toBe('step-open');
    expect(code({ ...cube, indices: Uint32Array.from([...cube.indices.slice(0, 33), ...[...cube.indices.slice(33)].reverse()]) })).toBe(
      'step-open',
    );
    expect(code(flipped(cube))).toBe('step-voids');
    const flat = cube.positions.slice();
    flat.copyWithin(3, 0, 3);
    expect(code({ ...cube, positions: flat })).toBe('step-thin');
  });
});

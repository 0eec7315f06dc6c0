import Module from 'manifold-3d';
import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { gridBox, gridOver } from '../../src/core/grid.ts';
import { joinMeshes, type Mesh, meshBox, triangleCount } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { closedness } from '../../src/field/closed.ts';
import { volume } from '../../src/field/integrate.ts';
import { surface } from '../../src/field/surface.ts';
import { selfCrossings } from '../../src/make/crossings.ts';
import { Room } from '../../src/make/room.ts';
import { seedMesh } from '../../src/make/seed.ts';
import { drawIn, fair, letOut } from '../../src/make/shape.ts';
import { inlineContext } from '../../src/parallel/inline.ts';

const over = (half: Vec3, step: number): ReturnType<typeof gridOver> =>
  gridOver({ min: [-half[0], -half[1], -half[2]], max: [...half] }, step);

/** Box of half sides `h` with edges rounded by r, positive inside, exact. */
const rounded = (h: Vec3, r: number) => (x: number, y: number, z: number) => {
  const q = [Math.abs(x) - h[0] + r, Math.abs(y) - h[1] + r, Math.abs(z) - h[2] + r];
  return r - Math.hypot(...q.map((v) => Math.max(v, 0))) - Math.min(Math.max(...q), 0);
};
/** A rounded box with a tube of radius `t` (clearance included) through it along y, and a groove along the top. */
const tank = (x: number, y: number, z: number): number =>
  Math.min(rounded([90, 70, 50], 20)(x, y, z), Math.hypot(x - 12, z + 8) - 18, Math.hypot(y - 20, z - 58) - 30);

/** Least value of `f` on a fine lattice over every face. */
function leastOn(mesh: Mesh, f: (x: number, y: number, z: number) => number): number {
  const { positions: p, indices: t, origin: o } = mesh;
  let least = Infinity;
  for (let i = 0; i < t.length; i += 3)
    for (let u = 0; u <= 4; u++)
      for (let v = 0; u + v <= 4; v++) {
        const at = [0, 1, 2].map((a) => (p[3 * t[i] + a] * (4 - u - v) + p[3 * t[i + 1] + a] * u + p[3 * t[i + 2] + a] * v) / 4 + o[a]);
        least = Math.min(least, f(at[0], at[1], at[2]));
      }
  return least;
}

const status = async (m: Mesh): Promise<string> => {
  const lib = await Module();
  lib.setup();
  return new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: m.positions, triVerts: m.indices })).status();
};

describe('seed mesh', () => {
  it('of a tank with a tunnel and a groove: few faces, inside, solid, volume within 0.3 %', async () => {
    const body = fieldOf(over([97, 77, 57], 2.5), tank);
    const seed = await seedMesh(body, { faces: 12_000 }, inlineContext);
    expect(seed.faces).toBeLessThanOrEqual(12_600);
    expect(seed.faces).toBe(triangleCount(seed.mesh));
    expect(closedness(seed.mesh)).toMatchObject({ ok: true, euler: 0 });
    expect(selfCrossings(seed.mesh)).toEqual([]);
    expect(await status(seed.mesh)).toBe('NoError');
    expect(seed.field_volume_mm3).toBe(volume(body));
    expect(Math.abs(seed.loss_percent)).toBeLessThan(0.3);
    expect(seed.loss_percent).toBeCloseTo(100 * (1 - seed.volume_mm3 / seed.field_volume_mm3), 9);
    expect(seed.notes).toEqual([]);
    expect(seed.least_room_mm).toBeGreaterThan(-0.01);
    // Against the exact shape: the trilinear field's own error is step^2 / (8 R) a direction, R = 18.
    expect(leastOn(seed.mesh, tank)).toBeGreaterThan(-0.06);
  });

  it('fewer faces than the error allows: says so, and states the loss', async () => {
    const body = fieldOf(over([97, 77, 57], 3), tank);
    const seed = await seedMesh(body, { faces: 200, error: 0.2 }, inlineContext);
    expect(seed.faces).toBeGreaterThan(210);
    expect(seed.notes.map((n) => n.code)).toContain('seed-faces');
    const coarse = await seedMesh(body, { faces: 300, error: 8 }, inlineContext);
    expect(coarse.faces).toBeLessThanOrEqual(315);
    expect(coarse.loss_percent).toBeGreaterThan(0.3);
    expect(coarse.notes.map((n) => n.code)).toContain('seed-loss');
    expect(leastOn(coarse.mesh, tank)).toBeGreaterThan(-0.1);
  });

  it('stays within the grid where the body is cut off by it', async () => {
    const body = fieldOf(over([20, 20, 20], 2), (x) => 25 - Math.abs(x));
    const seed = await seedMesh(body, { faces: 500 }, inlineContext);
    const box = gridBox(body.grid);
    for (let a = 0; a < 3; a++) {
      expect(meshBox(seed.mesh).max[a]).toBeLessThanOrEqual(box.max[a] + 1e-4);
      expect(meshBox(seed.mesh).min[a]).toBeGreaterThanOrEqual(box.min[a] - 1e-4);
    }
    // A cube 20 cells across: the grid cuts its twelve edges off.
    expect(Math.abs(seed.loss_percent)).toBeLessThan(0.4);
  });

  it.each([1, 2, 3])('of rough bodies with thin webs: a solid, seed %i', async (n) => {
    const r = random(n);
    const waves = Array.from({ length: 12 }, () => ({ d: r.direction(), k: r.range(0.08, 0.25), p: r.range(0, 6) }));
    const f = (x: number, y: number, z: number): number =>
      Math.min(38 - Math.hypot(x, y, z), waves.reduce((s, w) => s + Math.sin(w.k * (w.d[0] * x + w.d[1] * y + w.d[2] * z) + w.p), 1) * 1.5);
    const body = fieldOf(over([40, 40, 40], 2), f);
    const seed = await seedMesh(body, { faces: 4000 }, inlineContext);
    expect(closedness(seed.mesh).ok).toBe(true);
    expect(selfCrossings(seed.mesh)).toEqual([]);
    expect(await status(seed.mesh)).toBe('NoError');
    expect(Math.abs(seed.loss_percent) < 0.3 || seed.notes.some((x) => x.code === 'seed-loss')).toBe(true);
  });

  it('nothing to mesh is a fault', async () => {
    await expect(seedMesh(fieldOf(over([9, 9, 9], 1), -1), {}, inlineContext)).rejects.toMatchObject({ detail: { code: 'seed-empty' } });
  });
});

describe('seed mesh with its certificate', () => {
  /** The tube of the tank and a plate over it, as fine meshes; the field is 0.4 mm too generous everywhere, as a grid's may be. */
  const tube = surface(
    fieldOf(gridOver({ min: [-8, -80, -28], max: [32, 80, 12] }, 1.5), (x, y, z) =>
      Math.min(13 - Math.hypot(x - 12, z + 8), 78 - Math.abs(y)),
    ),
    0,
  );
  const generous = (step: number): Field =>
    fieldOf(over([97, 77, 57], step), (x, y, z) => Math.min(tank(x, y, z), Math.hypot(x - 12, z + 8) - 17.6));

  it('retreats until every obstacle has its clearance, proved', async () => {
    const seed = await seedMesh(generous(3), { faces: 5000, obstacles: [{ name: 'tube', mesh: tube, clearance: 5 }] }, inlineContext);
    expect(seed.retreats).toBeGreaterThan(0);
    expect(seed.certificate).toMatchObject({ pass: true, faces: seed.faces });
    const o = seed.certificate!.obstacles[0];
    expect(o.at_least_mm!).toBeGreaterThanOrEqual(5);
    // No more than is needed.
    expect(o.at_least_mm!).toBeLessThan(5.05);
    expect(seed.loss_percent).toBeLessThan(0.6);
    expect(closedness(seed.mesh).ok).toBe(true);
  });

  it('an obstacle in the middle of the body is a fault', async () => {
    const lump = surface(
      fieldOf(over([12, 12, 12], 2), (x, y, z) => 9 - Math.hypot(x, y, z)),
      0,
    );
    const middle: Mesh = { ...lump, origin: [-50, 0, 0] };
    await expect(seedMesh(generous(4), { obstacles: [{ name: 'lump', mesh: middle, clearance: 2 }] }, inlineContext)).rejects.toMatchObject(
      {
        detail: { code: 'seed-not-clear', got: expect.stringContaining('lump') },
      },
    );
  });
});

describe('moves within the room', () => {
  const ball = fieldOf(over([30, 30, 30], 1.5), (x, y, z) => 25 - Math.hypot(x, y, z));
  const room = new Room(ball);
  const grown = (level: number): Mesh => surface(ball, level);

  it('drawing in leaves no face outside, letting out takes the room there is', () => {
    const outside = grown(-1.5);
    expect(drawIn(outside, room, 0)).toBeGreaterThanOrEqual(0);
    const inner = grown(2);
    const before = inner.positions.slice();
    letOut(inner, room, 0, 3);
    expect(room.ofFaces(inner).least.reduce((a, b) => Math.min(a, b))).toBeGreaterThan(-0.01);
    const radius = (p: Float32Array): number => p.reduce((s, x) => s + x * x, 0) / (p.length / 3);
    expect(Math.sqrt(radius(inner.positions)) - Math.sqrt(radius(before))).toBeGreaterThan(1.7);
  });

  it('fairing takes noise off and keeps the size', () => {
    const m = grown(1);
    const r = random(5);
    for (let i = 0; i < m.positions.length; i++) m.positions[i] += 0.15 * r.normal();
    const rough = (): number => {
      let s = 0;
      for (let v = 0; v < m.positions.length; v += 3) s += (Math.hypot(m.positions[v], m.positions[v + 1], m.positions[v + 2]) - 24) ** 2;
      return Math.sqrt(s / (m.positions.length / 3));
    };
    const before = rough();
    fair(m, room, 5, -1);
    expect(rough()).toBeLessThan(0.6 * before);
  });
});

describe('faces that go through each other', () => {
  const solid = (at: Vec3): Mesh => ({
    ...surface(
      fieldOf(over([8, 8, 8], 2), (x, y, z) => 6 - Math.hypot(x, y, z)),
      0,
    ),
    origin: at,
  });
  it('none in a ball, none in two apart, found in two that overlap', () => {
    expect(selfCrossings(solid([0, 0, 0]))).toEqual([]);
    expect(selfCrossings(joinMeshes([solid([0, 0, 0]), solid([20, 0, 0])]))).toEqual([]);
    const both = joinMeshes([solid([0, 0, 0]), solid([5, 1, 2])]);
    const half = triangleCount(both) / 2;
    const pairs = selfCrossings(both, 1000);
    expect(pairs.length).toBeGreaterThan(10);
    for (const [f, g] of pairs) expect(f < half !== g < half).toBe(true);
  });
  it('found where a corner is pushed through the other side', () => {
    const m = solid([0, 0, 0]);
    let top = 0;
    for (let v = 0; v < m.positions.length; v += 3) if (m.positions[v + 2] > m.positions[top + 2]) top = v;
    m.positions[top + 2] = -20;
    expect(selfCrossings(m).length).toBeGreaterThan(0);
  });
});

import Module from 'manifold-3d';
import { describe, expect, it } from 'vitest';
import type { Context, Pool } from '../../src/core/context.ts';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { joinMeshes, type Mesh, triangleCount } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { surface } from '../../src/field/surface.ts';
import { type CertificateObstacle, certify } from '../../src/make/certificate.ts';
import { TrianglePair } from '../../src/make/triangle-pair.ts';
import { inlineContext } from '../../src/parallel/inline.ts';

/** Box from `lo` to `hi`, twelve faces outwards. */
function box(lo: Vec3, hi: Vec3, origin: Vec3 = [0, 0, 0]): Mesh {
  const positions = new Float32Array(24);
  for (let c = 0; c < 8; c++) for (let a = 0; a < 3; a++) positions[3 * c + a] = ((c >> a) & 1 ? hi : lo)[a] - origin[a];
  const indices = Uint32Array.of(
    0,
    2,
    1,
    1,
    2,
    3,
    4,
    5,
    6,
    5,
    7,
    6,
    0,
    1,
    4,
    1,
    5,
    4,
    2,
    6,
    3,
    3,
    6,
    7,
    0,
    4,
    2,
    2,
    4,
    6,
    1,
    3,
    5,
    3,
    7,
    5,
  );
  return { origin, positions, indices };
}

/** A lumpy closed body of radius about `size` round `at`. */
function lump(at: Vec3, size: number, step: number, seed: number): Mesh {
  const r = random(seed);
  const waves = Array.from({ length: 4 }, () => ({ d: r.direction(), k: r.range(2, 5), a: r.range(0.05, 0.12) }));
  const w = size * 1.6;
  const grid = gridOver({ min: [at[0] - w, at[1] - w, at[2] - w], max: [at[0] + w, at[1] + w, at[2] + w] }, step);
  const f = (x: number, y: number, z: number): number => {
    const p = [x - at[0], y - at[1], z - at[2]];
    const n = Math.hypot(...p) || 1;
    return (
      size * (1 + waves.reduce((s, q) => s + q.a * Math.sin((q.k * (q.d[0] * p[0] + q.d[1] * p[1] + q.d[2] * p[2])) / n + q.k), 0)) - n
    );
  };
  return surface(fieldOf(grid, f), 0);
}

/** Shell of loose triangles round `at`, as a scan leaves them. */
function scraps(at: Vec3, radius: number, n: number, seed: number): Mesh {
  const r = random(seed);
  const positions = new Float32Array(n * 9);
  for (let t = 0; t < n; t++) {
    const d = r.direction();
    const k = radius * r.range(1, 1.4);
    for (let i = 0; i < 9; i++) positions[9 * t + i] = d[i % 3] * k + r.range(-4, 4);
  }
  return { origin: at, positions, indices: Uint32Array.from({ length: 3 * n }, (_, i) => i) };
}

/** Distance of each face of `a` to all of `b`, every pair looked at. */
function allPairs(a: Mesh, b: Mesh): number[] {
  const pair = new TrianglePair();
  const put = (m: Mesh, t: number, o: number): void => {
    for (let i = 0; i < 9; i++) pair.corners[o + i] = m.positions[3 * m.indices[3 * t + Math.floor(i / 3)] + (i % 3)] + m.origin[i % 3];
  };
  return Array.from({ length: triangleCount(a) }, (_, t) => {
    put(a, t, 0);
    let best = Infinity;
    for (let u = 0; u < triangleCount(b); u++) {
      put(b, u, 9);
      best = Math.min(best, pair.squared(best));
    }
    return Math.sqrt(best);
  });
}

const only = async (body: Mesh, obstacle: CertificateObstacle, context: Context = inlineContext) =>
  (await certify(body, [obstacle], context)).obstacles[0];

describe('against every pair of triangles', () => {
  it.each([1, 2, 3, 4, 5, 6])('lump among scraps: closest approach and every face too near, seed %i', async (seed) => {
    const body = lump([10, -20, 5], 20, 4, seed);
    const mesh = scraps([11, -19, 5], 32, 150, seed);
    const slow = allPairs(body, mesh);
    const least = Math.min(...slow);
    const clearance = least + 4;
    const r = await only(body, { name: 'scraps', clearance, mesh });
    expect(r.closest_mm).toBeCloseTo(least, 9);
    expect(slow[r.face!]).toBeCloseTo(least, 9);
    const gap = Math.hypot(...r.on_body_mm!.map((x, a) => x - r.on_obstacle_mm![a]));
    if (least > 0) expect(gap).toBeCloseTo(least, 9);
    const near = slow.flatMap((d, f) => (d < clearance + 0.001 ? [f] : []));
    expect(r.patches.flatMap((p) => p.faces).sort((a, b) => a - b)).toEqual(near);
    expect(Math.max(...r.patches.map((p) => p.depth_mm))).toBeCloseTo(4, 9);
    expect(r.pass).toBe(false);
    if (least > 0.01) expect((await only(body, { name: 'scraps', clearance: least - 0.002, mesh })).pass).toBe(true);
  });

  it('bound is never above the distance, and within 0.01 mm of it', async () => {
    for (let seed = 1; seed <= 10; seed++) {
      const body = lump([0, 0, 0], 10, 3, seed);
      const mesh = scraps([0, 0, 0], 25, 60, seed);
      const least = Math.min(...allPairs(body, mesh));
      const r = await only(body, { name: 's', clearance: 1, mesh });
      expect(r.at_least_mm!).toBeLessThanOrEqual(least);
      expect(r.at_least_mm!).toBeGreaterThan(least - 0.01);
    }
  });

  it('large faces are cut and nothing is missed', async () => {
    const body = box([-300, -200, -100], [300, 200, 100]);
    const mesh = scraps([0, 0, 0], 420, 400, 3);
    const slow = allPairs(body, mesh);
    expect((await only(body, { name: 's', clearance: 5, mesh })).closest_mm).toBeCloseTo(Math.min(...slow), 9);
  });
});

describe('against a general-purpose library', () => {
  it.each([1, 2, 3])('least gap of two solids as manifold-3d has it, seed %i', async (seed) => {
    const lib = await Module();
    lib.setup();
    const a = lump([0, 0, 0], 20, 5, seed);
    const b = lump([46, 9, -7], 20, 5, seed + 50);
    const solid = (m: Mesh) => {
      const p = m.positions.map((x, i) => x + m.origin[i % 3]);
      return new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: p, triVerts: m.indices }));
    };
    const gap = solid(a).minGap(solid(b), 100);
    const r = await only(a, { name: 'b', clearance: 1, mesh: b });
    expect(gap).toBeGreaterThan(0.5);
    expect(Math.abs(r.closest_mm! - gap)).toBeLessThan(2e-3);
  });
});

describe('how body and obstacle lie', () => {
  const body = box([0, 0, 0], [20, 20, 20]);

  it('exact gap of two boxes, far from zero too', async () => {
    const far: Vec3 = [5e6, -3e6, 1e6];
    const r = await only(box([5e6, -3e6, 1e6], [5e6 + 20, -3e6 + 20, 1e6 + 20], far), {
      name: 'b',
      clearance: 5,
      mesh: box([5e6 + 25.25, -3e6, 1e6], [5e6 + 30, -3e6 + 20, 1e6 + 20], far),
    });
    expect(r).toMatchObject({ closest_mm: 5.25, relation: 'apart', pass: true, patches: [] });
  });

  it('a missed clearance: patch with depth, area and place', async () => {
    const r = await only(body, { name: 'b', clearance: 5, mesh: box([5, 5, 23], [15, 15, 40]) });
    expect(r).toMatchObject({ closest_mm: 3, pass: false, relation: 'apart' });
    expect(r.patches.length).toBe(1);
    expect(r.patches[0]).toMatchObject({ faces: [2, 3], depth_mm: 2, area_mm2: 400 });
    expect(r.patches[0].at_mm[2]).toBe(20);
  });

  it('two places that miss it are two patches', async () => {
    const mesh = joinMeshes([box([5, 5, 23], [15, 15, 40]), box([5, 5, -9], [15, 15, -4])]);
    const r = await only(body, { name: 'b', clearance: 5, mesh });
    expect(r.patches.map((p) => p.depth_mm)).toEqual([2, 1]);
  });

  it('crossing gives nothing, with the depth inside a solid', async () => {
    const mesh = box([5, 5, 10], [15, 15, 40]);
    expect(await only(body, { name: 'b', clearance: 5, mesh })).toMatchObject({
      closest_mm: 0,
      at_least_mm: 0,
      relation: 'crossing',
      pass: false,
    });
    expect((await only(body, { name: 'b', clearance: 0, mesh })).pass).toBe(false);
    // A lump half inside a block: the deepest face lies about 20 below the block's face.
    const ball = lump([0, 0, 0], 20, 2, 1);
    const r = await only(ball, { name: 'b', clearance: 1, mesh: box([-90, -90, -90], [90, 90, 0]), solid: true });
    expect(r.relation).toBe('crossing');
    expect(r.closest_mm!).toBeLessThan(-14);
    expect(r.patches[0].depth_mm).toBeCloseTo(1 - r.closest_mm!, 9);
  });

  it('inside a solid without touching it, and round an obstacle', async () => {
    const shell = box([-30, -30, -30], [50, 50, 50]);
    expect(await only(body, { name: 'b', clearance: 2, mesh: shell, solid: true })).toMatchObject({
      relation: 'body inside obstacle',
      closest_mm: -30,
      pass: false,
    });
    expect(await only(body, { name: 'b', clearance: 2, mesh: shell })).toMatchObject({ relation: 'apart', closest_mm: 30, pass: true });
    const small = joinMeshes([box([60, 0, 0], [70, 9, 9]), box([9, 9, 9], [11, 11, 11])]);
    expect(await only(body, { name: 'b', clearance: 2, mesh: small })).toMatchObject({
      relation: 'obstacle inside body',
      on_obstacle_mm: [9, 9, 9],
      pass: false,
    });
  });

  it('points with a radius', async () => {
    const cloud = { origin: [20, 0, 0] as Vec3, positions: Float32Array.of(8, 10, 10, 90, 0, 0) };
    expect(await only(body, { name: 'p', clearance: 5, cloud, radius: 1 })).toMatchObject({
      kind: 'points',
      elements: 2,
      closest_mm: 7,
      pass: true,
    });
    expect(await only(body, { name: 'p', clearance: 7.5, cloud, radius: 1 })).toMatchObject({ pass: false, on_body_mm: [20, 10, 10] });
    const inside = { origin: [0, 0, 0] as Vec3, positions: Float32Array.of(10, 10, 10) };
    expect(await only(body, { name: 'p', clearance: 1, cloud: inside, radius: 1 })).toMatchObject({
      relation: 'obstacle inside body',
      pass: false,
    });
  });

  it('an obstacle without elements passes and says so', async () => {
    const mesh = { origin: [0, 0, 0] as Vec3, positions: new Float32Array(0), indices: new Uint32Array(0) };
    expect(await only(body, { name: 'none', clearance: 5, mesh })).toMatchObject({ closest_mm: null, elements: 0, pass: true });
  });

  it('refuses an open mesh', async () => {
    const open = { ...body, indices: body.indices.slice(3) };
    await expect(certify(open, [], inlineContext)).rejects.toMatchObject({ detail: { code: 'certify-open' } });
  });
});

it('plain JSON, the same bytes whatever the order and number of workers', async () => {
  const body = lump([0, 0, 0], 30, 1.5, 4);
  const obstacles = [
    { name: 'a', clearance: 6, mesh: scraps([0, 0, 0], 44, 2000, 9) },
    { name: 'b', clearance: 3, mesh: scraps([40, 0, 0], 20, 500, 8), solid: true },
  ];
  const backwards: Pool = {
    size: 3,
    map: async (task, args) => (await Promise.all(args.map((_, i) => task.run(structuredClone(args[args.length - 1 - i]))))).reverse(),
    allocate: (n) => new SharedArrayBuffer(n),
    close: async () => {},
  };
  const one = await certify(body, obstacles, inlineContext);
  const three = await certify(body, obstacles, { ...inlineContext, pool: backwards });
  expect(triangleCount(body)).toBeGreaterThan(2000);
  expect(JSON.stringify(three)).toBe(JSON.stringify(one));
  expect(JSON.parse(JSON.stringify(one))).toEqual(one);
});

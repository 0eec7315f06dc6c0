import { describe, expect, it } from 'vitest';
import type { Context } from '../../src/core/context.ts';
import { cellCentre, cellCount, type Grid, gridOver } from '../../src/core/grid.ts';
import { type Mesh, meshBox } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { growBox, type Vec3 } from '../../src/core/vec.ts';
import { distanceToMesh } from '../../src/field/distance.ts';
import { inlineContext, inlinePool } from '../../src/parallel/inline.ts';
import { bruteDistance, summarize, treeDistance } from '../oracle/distance.ts';
import { ballMesh, boxMesh, moveMesh, randomTurn, sheetMesh, together, tubeFrame } from '../oracle/shapes.ts';
import { bunny } from '../reference/scans.ts';

/** A context whose pool splits work as `size` workers would, on one thread. */
const contextOf = (size: number): Context => ({ ...inlineContext, pool: { ...inlinePool, size } });

const centresOf = (grid: Grid, cells: readonly number[]): Float64Array => Float64Array.from(cells.flatMap((c) => [...cellCentre(grid, c)]));

/**
 * Errors against the oracle, in cells: for cells whose true distance lies within one cell of a level, and for the rest.
 * Cells are drawn at random, half of them from those that the kernel puts within three cells of a level.
 */
async function errors(mesh: Mesh, job: { grid: Grid; levels: number[]; pad?: number; count: number; seed: number }) {
  const { grid, levels, count } = job;
  const field = await distanceToMesh(mesh, grid, { levels, pad: job.pad }, inlineContext);
  const n = cellCount(grid);
  expect(field.data.length).toBe(n);
  const rng = random(job.seed);
  const cells: number[] = [];
  for (let tries = 0; cells.length < count && tries < 200 * count; tries++) {
    const c = rng.below(n);
    if (cells.length % 2 === 0 || levels.some((l) => Math.abs(field.data[c] - l) < 3 * grid.step)) cells.push(c);
  }
  const exact = mesh.indices.length > 3000 ? treeDistance(mesh) : (p: Float64Array) => bruteDistance(mesh, p);
  const truth = exact(centresOf(grid, cells));
  const near: number[] = [];
  const far: number[] = [];
  cells.forEach((c, i) => {
    const e = (field.data[c] - truth[i]) / grid.step;
    if (levels.some((l) => Math.abs(truth[i] - l) <= grid.step)) near.push(e);
    else if (job.pad === undefined || truth[i] <= job.pad) far.push(e);
  });
  return { near: summarize(near), far: summarize(far) };
}

const SHAPES: Record<string, () => Mesh> = {
  'a ball': () => ballMesh(40, 40),
  'a box': () => boxMesh([80, 60, 30]),
  'an open sheet': () => sheetMesh(90, 70),
  'a plate 0.8 mm thick': () => boxMesh([90, 60, 0.8]),
  'two sheets that cross': () =>
    together(
      sheetMesh(90, 70),
      moveMesh(
        sheetMesh(80, 60),
        [
          [0, 0, 1],
          [0, 1, 0],
          [-1, 0, 0],
        ],
        [5, 3, 2],
      ),
    ),
  'a frame of tubes': () => tubeFrame({ seed: 11, size: [150, 120, 100], tubes: 5, edge: 3 }),
  'a frame of coarse tubes with noise': () => tubeFrame({ seed: 12, size: [150, 120, 100], tubes: 4, edge: 8, noise: 0.1 }),
};

describe('distance to a mesh', () => {
  for (const [name, make] of Object.entries(SHAPES))
    for (const seed of [1, 2]) {
      it(`of ${name}, anywhere and any way round (seed ${seed}), keeps the limits near and off the levels`, async () => {
        const rng = random(seed * 7919);
        const shift: Vec3 = [rng.range(-500, 500), rng.range(-500, 500), rng.range(-500, 500)];
        const mesh = moveMesh(make(), randomTurn(rng), shift);
        const grid = gridOver(growBox(meshBox(mesh), 24 + rng.next()), 2);
        const { near, far } = await errors(mesh, { grid, levels: [4, 9, 16], count: 4000, seed });
        expect(near.count).toBeGreaterThan(500);
        expect(far.count).toBeGreaterThan(500);
        expect(near.rms).toBeLessThanOrEqual(0.03);
        expect(near.p99).toBeLessThanOrEqual(0.1);
        expect(near.max).toBeLessThanOrEqual(0.25);
        expect(far.max).toBeLessThanOrEqual(0.5);
      });
    }

  it('of a real scan with holes keeps the same limits', async () => {
    const mesh = bunny();
    const box = meshBox(mesh);
    const grid = gridOver(growBox(box, 14), 2);
    const { near, far } = await errors(mesh, { grid, levels: [4, 9], count: 4000, seed: 5 });
    expect(near.count).toBeGreaterThan(1000);
    expect(near.rms).toBeLessThanOrEqual(0.03);
    expect(near.p99).toBeLessThanOrEqual(0.1);
    expect(near.max).toBeLessThanOrEqual(0.25);
    expect(far.max).toBeLessThanOrEqual(0.5);
  });

  it('of a box agrees with the closed form everywhere', async () => {
    const half = [31, 22, 13];
    const mesh = boxMesh([62, 44, 26]);
    const grid = gridOver({ min: [-50.3, -40.1, -33.7], max: [49.9, 41.3, 35.2] }, 1.7);
    const field = await distanceToMesh(mesh, grid, { levels: [5, 10] }, inlineContext);
    let worst = 0;
    for (let c = 0; c < field.data.length; c++) {
      const q = cellCentre(grid, c).map((v, a) => Math.abs(v) - half[a]);
      const outside = Math.hypot(...q.map((v) => Math.max(v, 0)));
      const truth = outside > 0 ? outside : -Math.max(...q);
      worst = Math.max(worst, Math.abs(field.data[c] - truth));
    }
    expect(worst).toBeLessThanOrEqual(0.25 * grid.step);
  });

  it('keeps its accuracy far from zero', async () => {
    const mesh = moveMesh(boxMesh([40, 30, 20]), randomTurn(random(3)), [5e6, -3e6, 1e6]);
    const grid = gridOver(growBox(meshBox(mesh), 12), 1);
    const { near } = await errors(mesh, { grid, levels: [5], count: 4000, seed: 9 });
    expect(near.max).toBeLessThanOrEqual(0.25);
  });

  it('gives the same bytes for 1, 2 and 3 workers', async () => {
    const mesh = tubeFrame({ seed: 4, size: [150, 120, 100], tubes: 5, edge: 3, noise: 0.1 });
    const grid = gridOver(growBox(meshBox(mesh), 10), 2.3);
    const bytes: Buffer[] = [];
    for (const size of [1, 2, 3]) {
      const field = await distanceToMesh(mesh, grid, { levels: [6, 12], pad: 7 }, contextOf(size));
      bytes.push(Buffer.from(field.data.slice().buffer));
    }
    expect(bytes[1].equals(bytes[0])).toBe(true);
    expect(bytes[2].equals(bytes[0])).toBe(true);
  });

  it('of triangles much larger than the grid', async () => {
    const mesh = moveMesh(sheetMesh(5e4, 5e4), randomTurn(random(21)), [3, -2, 1]);
    const grid = gridOver({ min: [-30, -30, -30], max: [30, 30, 30] }, 2);
    const { near, far } = await errors(mesh, { grid, levels: [8, 20], pad: 24, count: 4000, seed: 2 });
    expect(near.count).toBeGreaterThan(500);
    expect(Math.max(near.max, far.max)).toBeLessThanOrEqual(0.25);
  });

  it('of triangles much smaller than a cell', async () => {
    const mesh = ballMesh(1.5, 30);
    const grid = gridOver({ min: [-21, -20, -19], max: [20, 20, 20] }, 2);
    const { near } = await errors(mesh, { grid, levels: [6, 12], count: 3000, seed: 3 });
    expect(near.max).toBeLessThanOrEqual(0.25);
  });

  it('sees surfaces outside the grid as far as the pad, and only those', async () => {
    const mesh = boxMesh([20, 20, 20]);
    const grid = gridOver({ min: [16, -8, -8], max: [40, 8, 8] }, 2);
    const blind = await distanceToMesh(mesh, grid, {}, inlineContext);
    expect(blind.data.every((v) => v === Infinity)).toBe(true);
    const padded = await distanceToMesh(mesh, grid, { levels: [10], pad: 12 }, inlineContext);
    for (let c = 0; c < padded.data.length; c++) {
      const [x, y, z] = cellCentre(grid, c);
      const truth = Math.hypot(x - 10, Math.max(0, Math.abs(y) - 10), Math.max(0, Math.abs(z) - 10));
      expect(Math.abs(padded.data[c] - truth)).toBeLessThanOrEqual(0.5);
    }
  });

  it('of a mesh that sticks out of the grid on every side', async () => {
    const mesh = moveMesh(tubeFrame({ seed: 6, size: [300, 300, 300], tubes: 9, edge: 5 }), randomTurn(random(8)), [0, 0, 0]);
    const grid = gridOver({ min: [-40, -35, -30], max: [42, 36, 31] }, 2);
    const { near, far } = await errors(mesh, { grid, levels: [6, 14], pad: 20, count: 6000, seed: 6 });
    expect(near.count).toBeGreaterThan(500);
    expect(near.rms).toBeLessThanOrEqual(0.03);
    expect(near.p99).toBeLessThanOrEqual(0.1);
    expect(near.max).toBeLessThanOrEqual(0.25);
    expect(far.max).toBeLessThanOrEqual(0.5);
  });

  it('of triangles without area is the distance to their points and edges', async () => {
    const positions = Float32Array.of(0, 0, 0, 20, 0, 0, 10, 0, 0, -15, 5, 5, -15, 5, 5, -15, 5, 5, 3, 12, -6, 3, 12, -6, 14, 12, -6);
    const mesh: Mesh = { origin: [0.3, 0.2, 0.1], positions, indices: Uint32Array.of(0, 1, 2, 3, 4, 5, 6, 7, 8) };
    const grid = gridOver({ min: [-25, -12, -16], max: [30, 24, 15] }, 1.5);
    const { near, far } = await errors(mesh, { grid, levels: [5, 9], count: 4000, seed: 12 });
    expect(near.count).toBeGreaterThan(500);
    expect(near.max).toBeLessThanOrEqual(0.25);
    expect(far.max).toBeLessThanOrEqual(0.5);
  });

  it('of one triangle in a grid of one cell, and of no triangle at all', async () => {
    const mesh: Mesh = { origin: [0, 0, 0], positions: Float32Array.of(0, 0, 0, 1, 0, 0, 0, 1, 0), indices: Uint32Array.of(0, 1, 2) };
    const one: Grid = { origin: [0.2, 0.2, 0.7], step: 2, nx: 1, ny: 1, nz: 1 };
    const field = await distanceToMesh(mesh, one, {}, inlineContext);
    expect(field.data[0]).toBeCloseTo(0.7, 5);
    const none = await distanceToMesh({ ...mesh, indices: new Uint32Array(0) }, one, {}, inlineContext);
    expect(none.data[0]).toBe(Infinity);
  });
});

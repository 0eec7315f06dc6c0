import { describe, expect, it } from 'vitest';
import type { Context } from '../../src/core/context.ts';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { cellCentre, type Grid } from '../../src/core/grid.ts';
import { type Random, random } from '../../src/core/random.ts';
import { normalize, type Vec3 } from '../../src/core/vec.ts';
import { sweep, sweepInto } from '../../src/field/sweep.ts';
import { inlineContext, inlinePool } from '../../src/parallel/inline.ts';
import { anyTurn, ball, box, type Depth, either, not, placed } from '../oracle/solids.ts';

const contextOf = (size: number): Context => ({ ...inlineContext, pool: { ...inlinePool, size } });

/** Distance to a few random balls and boxes, some of them no thicker than a sheet of a tenth of a cell. */
function scene(r: Random, half: number): Depth {
  const place = (): Vec3 => [r.range(-half, half), r.range(-half, half), r.range(-half, half)];
  const parts: Depth[] = [];
  for (let i = 0; i < 5; i++) parts.push(ball(r.range(0.2, half / 3), place()));
  for (let i = 0; i < 3; i++)
    parts.push(placed(box([r.range(0.1, half / 2), r.range(0.1, half), r.range(0.1, half)]), anyTurn(r.normal), place()));
  return not(either(...parts));
}

/** Fine march from p along d until `pad` cells beyond the outermost cell centres: least value met. */
function march(f: Depth, p: Vec3, d: Vec3, { grid, pad }: { grid: Grid; pad: number }): number {
  const lo = grid.origin;
  const size = [grid.nx, grid.ny, grid.nz];
  let end = Infinity;
  for (let a = 0; a < 3; a++) {
    if (d[a] > 0) end = Math.min(end, (lo[a] + grid.step * (size[a] - 1 + pad) - p[a]) / d[a]);
    if (d[a] < 0) end = Math.min(end, (lo[a] - grid.step * pad - p[a]) / d[a]);
  }
  let least = Infinity;
  // Steps as long as the field allows, never longer than a fiftieth of a cell once it may be the least.
  for (let t = 0; t <= end; ) {
    const v = f(p[0] + d[0] * t, p[1] + d[1] * t, p[2] + d[2] * t);
    least = Math.min(least, v);
    t += Math.max(v - least, grid.step / 50);
  }
  return Math.min(least, f(p[0] + d[0] * end, p[1] + d[1] * end, p[2] + d[2] * end));
}

/**
 * How far, in cells, `got` lies from the march. Rays that leave through a side of the grid may end up to a cell beyond
 * it: the oracle gives both ends.
 */
function offBy(got: number, f: Depth, p: Vec3, along: { d: Vec3; grid: Grid }): number {
  const high = march(f, p, along.d, { grid: along.grid, pad: 0 });
  const low = march(f, p, along.d, { grid: along.grid, pad: 1 });
  return (got > high ? got - high : Math.min(got - low, 0)) / along.grid.step;
}

/** Differences, in cells, between the sweep and the march at random cells. */
async function differences(f: Depth, grid: Grid, d: Vec3, r: Random): Promise<number[]> {
  const { data } = await sweep(fieldOf(grid, f), d, inlineContext);
  return Array.from({ length: 150 }, () => {
    // Not the outermost cells: rays that leave from there at once are decided by half a cell.
    const inner = (n: number): number => 1 + r.below(n - 2);
    const c = inner(grid.nx) + grid.nx * (inner(grid.ny) + grid.ny * inner(grid.nz));
    return offBy(data[c], f, cellCentre(grid, c), { d, grid });
  });
}

describe('sweep against a slow march along each ray', () => {
  for (let seed = 1; seed <= 12; seed++)
    it(`balls and boxes, any direction, seed ${seed}`, async () => {
      const r = random(seed);
      const grid: Grid = { origin: [-30, -24, -36], step: 1.5, nx: 41, ny: 33, nz: 49 };
      const off = await differences(scene(r, 28), grid, r.direction(), r);
      expect(Math.max(...off.map(Math.abs))).toBeLessThan(0.5);
      expect(Math.sqrt(off.reduce((s, v) => s + v * v, 0) / off.length)).toBeLessThan(0.12);
    });

  for (const d of [
    [1, 0, 0],
    [-1, 0, 0],
    [0, 1, 0],
    [0, -1, 0],
    [0, 0, 1],
    [0, 0, -1],
    [1, 1, 1],
    [-1, 1, 0],
    [1, -1e-12, 0],
    [1, 0.5, 0],
  ] as Vec3[])
    it(`balls and boxes along ${d.join(', ')}`, async () => {
      const r = random(99);
      const grid: Grid = { origin: [-30, -24, -36], step: 1.5, nx: 41, ny: 33, nz: 49 };
      const off = await differences(scene(r, 28), grid, normalize(d), r);
      expect(Math.max(...off.map(Math.abs))).toBeLessThan(0.5);
    });

  it('does not drift with length: 400 slices and 200 cells sideways, one small ball at the far end, seeds 1 to 4', async () => {
    const grid: Grid = { origin: [0, 0, 0], step: 1, nx: 5, ny: 230, nz: 400 };
    for (let seed = 1; seed <= 4; seed++) {
      const r = random(seed);
      const d = normalize([r.range(-0.001, 0.001), r.range(0.48, 0.52), 1]);
      const centre: Vec3 = [2, 215, 392];
      const f = not(ball(1.5, centre));
      const { data } = await sweep(fieldOf(grid, f), d, inlineContext);
      for (let i = 0; i < 60; i++) {
        // Cells near the line that leads to the ball, 300 to 390 slices before it.
        const k = r.below(90);
        const j = Math.round(centre[1] - ((centre[2] - k) * d[1]) / d[2]) + r.below(9) - 4;
        if (j < 1 || j > 228) continue;
        const p: Vec3 = [2, j, k];
        expect(Math.abs(offBy(data[2 + 5 * (j + 230 * k)], f, p, { d, grid }))).toBeLessThan(0.5);
      }
    }
  });
});

describe('sweep', () => {
  const grid: Grid = { origin: [0, 0, 0], step: 2, nx: 9, ny: 8, nz: 7 };
  const noise = (seed: number): Field => {
    const r = random(seed);
    return fieldOf(grid, () => r.range(-5, 5));
  };

  it('a thin wall between two slices is not jumped', async () => {
    // Unsigned distance to the sheet z = 5.9: no cell centre comes near it.
    const field = fieldOf(grid, (_x, _y, z) => Math.abs(z - 6.9));
    const { data } = await sweep(field, normalize([0.3, 0.2, 1]), inlineContext);
    expect(data[4 + 9 * 4]).toBeLessThan(0.2);
    expect(data[4 + 9 * 4]).toBeGreaterThanOrEqual(-1e-4);
  });

  it('over a box only, its cells get the same bytes, seeds 1 to 60', () => {
    for (let seed = 1; seed <= 60; seed++) {
      const r = random(seed);
      const size = [3 + r.below(14), 3 + r.below(14), 3 + r.below(14)];
      const g: Grid = { origin: [0, 0, 0], step: 1, nx: size[0], ny: size[1], nz: size[2] };
      const f = fieldOf(g, () => r.range(-5, 50));
      const d: Vec3 = seed % 6 === 0 ? [0, seed % 4 ? -1 : 1, 0] : r.direction();
      const from = size.map((n) => r.below(n));
      const to = size.map((n, a) => from[a] + r.below(n - from[a]));
      const [whole, part] = [new Float32Array(f.data.length), new Float32Array(f.data.length).fill(777)];
      sweepInto(f, d, whole);
      sweepInto(f, d, part, { over: { from: [from[0], from[1], from[2]], to: [to[0], to[1], to[2]] } });
      for (let c = 0; c < whole.length; c++) {
        const at = [c % size[0], Math.floor(c / size[0]) % size[1], Math.floor(c / (size[0] * size[1]))];
        const inside = at.every((v, a) => v >= from[a] && v <= to[a]);
        if (inside) expect(part[c]).toBe(whole[c]);
      }
    }
  });

  it('never above the field, and never below the least of it all', async () => {
    for (let seed = 1; seed <= 8; seed++) {
      const field = noise(seed);
      const { data } = await sweep(field, random(seed).direction(), inlineContext);
      for (let c = 0; c < data.length; c++) expect(data[c]).toBeLessThanOrEqual(field.data[c]);
    }
  });

  it('a field that falls steadily along an axis gives its last slice exactly', async () => {
    const { data } = await sweep(
      fieldOf(grid, (x, y) => y - 3 * x),
      [1, 0, 0],
      inlineContext,
    );
    for (let j = 0; j < 8; j++) for (let i = 0; i < 9; i++) expect(data[i + 9 * j]).toBe(2 * j - 48);
  });

  it('beyond the edge is open, or what is asked', async () => {
    const field = fieldOf(grid, 7);
    expect((await sweep(field, [0, 0, 1], inlineContext)).data.every((v) => v === 7)).toBe(true);
    expect((await sweep(field, [0, 0, 1], inlineContext, { beyond: -3 })).data.every((v) => v === -3)).toBe(true);
  });

  it('infinite values stay infinite and make no NaN', async () => {
    const field = fieldOf(grid, (x, y) => (y > 9 ? Infinity : x > 9 ? -Infinity : 4));
    const { data } = await sweep(field, normalize([1, 0.4, 0.3]), inlineContext);
    expect(data.some((v) => Number.isNaN(v))).toBe(false);
    expect(data[0]).toBe(-Infinity);
    expect(data[9 * 8 * 7 - 1]).toBe(Infinity);
  });

  it('the same bytes for 1, 2, 3 and 7 workers, seeds 1 to 6', async () => {
    for (let seed = 1; seed <= 6; seed++) {
      const field = noise(seed);
      const d = random(seed + 50).direction();
      const [one, ...more] = await Promise.all([1, 2, 3, 7].map((n) => sweep(field, d, contextOf(n))));
      for (const other of more) expect(other.data).toEqual(one.data);
      const out = new Float32Array(one.data.length);
      sweepInto(field, d, out);
      expect(out).toEqual(one.data);
    }
  });

  it('swept over a box of cells only: the same there, seeds 1 to 8', async () => {
    for (let seed = 1; seed <= 8; seed++) {
      const field = noise(seed);
      const d = random(seed + 90).direction();
      const all = new Float32Array(field.data.length);
      const some = new Float32Array(field.data.length).fill(Number.NaN);
      sweepInto(field, d, all);
      sweepInto(field, d, some, { over: { from: [2, 3, 1], to: [6, 4, 5] } });
      for (let k = 1; k <= 5; k++)
        for (let j = 3; j <= 4; j++) for (let i = 2; i <= 6; i++) expect(some[i + 9 * (j + 8 * k)]).toBe(all[i + 9 * (j + 8 * k)]);
    }
  });

  it('works on grids one cell thick', async () => {
    for (const [nx, ny, nz] of [
      [1, 1, 1],
      [5, 1, 1],
      [1, 6, 1],
      [1, 1, 4],
      [3, 1, 5],
    ]) {
      const field = fieldOf({ origin: [0, 0, 0], step: 1, nx, ny, nz }, (x, y, z) => 10 - x - y - z);
      const { data } = await sweep(field, normalize([0.3, 0.5, 0.8]), inlineContext);
      expect(data.every((v, c) => v <= field.data[c] && v >= 0)).toBe(true);
    }
  });
});

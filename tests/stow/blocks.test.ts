import { describe, expect, it } from 'vitest';
import type { Field } from '../../src/core/field.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { type BlockResult, countBlocks } from '../../src/stow/blocks.ts';
import { rasterOf, standings } from '../../src/stow/raster.ts';
import { BLOCK } from '../../src/stow/standard.ts';
import { box, fieldIn, questions, type Solid } from './shapes.ts';

/** Blocks must not overlap, must be blocks, and must lie in the void up to the stated tolerance. */
function check(r: BlockResult, solid: Solid): void {
  expect(r.blocks.length).toBe(r.count);
  expect(r.count).toBeLessThanOrEqual(r.bound);
  r.blocks.forEach((b, i) => {
    expect([...b.size_mm].sort((p, q) => q - p)).toEqual([...BLOCK]);
    for (let m = 0; m < 27; m++) {
      const p = [0, 1, 2].map((a) => b.at_mm[a] + (b.size_mm[a] * (Math.floor(m / 3 ** a) % 3)) / 2);
      expect(solid(p[0], p[1], p[2])).toBeGreaterThan(-r.tolerance_mm * Math.sqrt(3) - 1e-6);
    }
    for (const c of r.blocks.slice(0, i)) {
      const clear = [0, 1, 2].some((a) => b.at_mm[a] + b.size_mm[a] <= c.at_mm[a] + 1e-6 || c.at_mm[a] + c.size_mm[a] <= b.at_mm[a] + 1e-6);
      expect(clear).toBe(true);
    }
  });
}

// Blocks of 200 x 100 x 50 mm counted as ISO 3832 asks. Optima by an integer program, proved outside; 26 and not 27 in the cube of 300
// because bricks of 1 x 2 x 4 can not fill 6 x 6 x 6 (de Bruijn 1969; recalled, original not seen).
describe('axis-parallel optima', () => {
  it.each([
    [400, 300, 200, 24],
    [350, 250, 150, 12],
    [300, 250, 150, 10],
    [250, 250, 250, 14],
    [300, 300, 300, 26],
    [350, 250, 250, 20],
    [450, 250, 150, 15],
  ])('%i x %i x %i holds %i', async (l, w, h, want) => {
    const solid = box(l, w, h);
    const r = await countBlocks(fieldIn(solid, [l / 2, w / 2, h / 2], 5), { budget: questions(420), exactSeconds: 100 });
    expect(r.count).toBe(want);
    expect(r.proved).toBe(true);
    check(r, solid);
  });

  it('the search alone reaches the proved count, at another place on the grid', async () => {
    const f = fieldIn(box(300, 300, 300), [150, 150, 150], 5, [0.45, 0.11, -0.38]);
    const r = await countBlocks(f, { budget: questions(220), exact: false });
    expect(r.count).toBe(26);
    expect(r.bound).toBe(27);
    expect(r.proved).toBe(false);
    expect(r.notes.map((n) => n.code)).toEqual(['blocks-time']);
  });
});

/** First free position in the order z, y, x, ways of lying in a fixed order: what a plain greedy does. */
function plainGreedy(f: Field): number {
  const raster = rasterOf(f, { pitch: 10 });
  if (!raster) return 0;
  const [l, w, h] = BLOCK;
  const ways = (
    [
      [l, w, h],
      [w, l, h],
      [l, h, w],
      [h, l, w],
      [w, h, l],
      [h, w, l],
    ] as Vec3[]
  ).map((s) => standings(raster, s));
  const placed: { at: number[]; size: number[] }[] = [];
  for (let z = 0; z < 60; z++)
    for (let y = 0; y < 60; y++)
      for (let x = 0; x < 60; x++)
        for (const s of ways) {
          if (x >= s.n[0] || y >= s.n[1] || z >= s.n[2] || !s.free[x + s.n[0] * (y + s.n[1] * z)]) continue;
          const at = [x * 10, y * 10, z * 10];
          if (placed.every((p) => [0, 1, 2].some((a) => at[a] + s.size[a] <= p.at[a] || p.at[a] + p.size[a] <= at[a])))
            placed.push({ at, size: [...s.size] });
        }
  return placed.length;
}

describe('a void the size of a quad, crooked, with a tube across', () => {
  // A wedge-ended bay of about 25 l with a tube of 30 mm and a bump in its side.
  const bay: Solid = (x, y, z) =>
    Math.min(
      box(520, 290, 240)(x, y, z),
      (260 - x - 0.6 * (z + 40)) / Math.hypot(1, 0.6),
      (250 + x + 0.35 * y) / Math.hypot(1, 0.35),
      Math.hypot(x + 40, z - 90) - 25,
      Math.hypot(x - 90, y - 160, z + 30) - 70,
    );

  it('gets at least a tenth more than a plain greedy, none of it overlapping or outside', async () => {
    const f = fieldIn(bay, [262, 150, 125], 5);
    const plain = plainGreedy(f);
    const r = await countBlocks(f, { budget: questions(300), seed: 3 });
    check(r, bay);
    expect(plain).toBeGreaterThan(8);
    expect(r.count >= 1.1 * plain || r.proved).toBe(true);
  });

  it('where a bay is too crooked for more, that there is no more is proved', async () => {
    // Two tubes across and a sloping end leave a bay of 14 l room for eight blocks.
    const tight: Solid = (x, y, z) =>
      Math.min(
        box(430, 208, 180)(x, y, z),
        (220 - x - 0.8 * z) / Math.hypot(1, 0.8),
        Math.hypot(x + 60, z - 30) - 40,
        Math.hypot(x - 70, z + 50) - 40,
      );
    const f = fieldIn(tight, [222, 113, 97], 5);
    const plain = plainGreedy(f);
    const r = await countBlocks(f, { budget: questions(420), exactSeconds: 60 });
    check(r, tight);
    expect(r.count).toBeGreaterThan(3);
    expect(r.count).toBeGreaterThanOrEqual(plain);
    expect(r.proved).toBe(true);
    expect([r.bound_from, r.bound_on_mm]).toEqual(['program', r.raster_mm]);
  });
});

describe('raster and options', () => {
  it('positions of the erosion equal those of trying every block against the solid', () => {
    const wedge: Solid = (x, y, z) => Math.min(box(300, 200, 160)(x, y, z), (150 - x - z) / Math.SQRT2);
    const raster = rasterOf(fieldIn(wedge, [150, 100, 80], 5), { pitch: 10 });
    if (!raster) throw new Error('no raster');
    const size: Vec3 = [100, 50, 50];
    const s = standings(raster, size);
    let unsure = 0;
    for (let c = 0; c < s.free.length; c++) {
      const low = [c % s.n[0], Math.floor(c / s.n[0]) % s.n[1], Math.floor(c / (s.n[0] * s.n[1]))].map((v, a) => raster.origin[a] + 10 * v);
      // The void is convex: the corners decide.
      let least = Infinity;
      for (let m = 0; m < 8; m++)
        least = Math.min(least, wedge(low[0] + (m & 1 ? size[0] : 0), low[1] + (m & 2 ? size[1] : 0), low[2] + (m & 4 ? size[2] : 0)));
      if (least > 0.5) expect(s.free[c]).toBe(1);
      else if (least < -1.5 * raster.tolerance) expect(s.free[c]).toBe(0);
      else unsure++;
    }
    expect(unsure / s.free.length).toBeLessThan(0.45);
    expect(s.free.includes(1) && s.free.includes(0)).toBe(true);
  });

  it('rounded edges let blocks into a void with rounded corners', async () => {
    // A box of one block with its edges rounded by 10 mm: a sharp block does not go in, a rounded one does. It is worth 0.9713 l, counted as 1 l.
    const rounded: Solid = (x, y, z) => box(180, 80, 30)(x, y, z) + 10;
    const f = fieldIn(rounded, [100, 50, 25], 2);
    expect((await countBlocks(f, { budget: questions(50) })).count).toBe(0);
    expect((await countBlocks(f, { budget: questions(50), edgeRadius: 10 })).count).toBe(1);
    const r = random(5);
    let inside = 0;
    for (let i = 0; i < 40000; i++) if (rounded(r.range(-100, 100), r.range(-50, 50), r.range(-25, 25)) > 0) inside++;
    expect(inside / 40000).toBeCloseTo(0.9713, 2);
    // The block drawn in by the radius and grown by it again (Steiner's formula): 0.9713 l at 10 mm, 0.9927 l at 5 mm (computed outside).
    const left = (q: number): number => {
      const [a, b, c] = [200 - 2 * q, 100 - 2 * q, 50 - 2 * q];
      return (a * b * c + 2 * (a * b + b * c + c * a) * q + Math.PI * (a + b + c) * q * q + (4 / 3) * Math.PI * q ** 3) / 1e6;
    };
    expect(left(10)).toBeCloseTo(0.9713, 4);
    expect(left(5)).toBeCloseTo(0.9927, 4);
  });

  it('a face may stick out by a tenth of a cell, no more', async () => {
    const count = async (l: number): Promise<number> =>
      (await countBlocks(fieldIn(box(l, 102, 52), [100, 51, 26], 5), { budget: questions(20) })).count;
    expect(await count(199.7)).toBe(1);
    expect(await count(199)).toBe(0);
  });

  it('nothing free, and a cancelled search: best so far', async () => {
    const none = await countBlocks(
      fieldIn(() => -5, [50, 50, 50], 5),
      { budget: questions(10) },
    );
    expect([none.count, none.bound, none.proved]).toEqual([0, 0, true]);
    const f = fieldIn(box(300, 300, 300), [150, 150, 150], 5);
    const soon = await countBlocks(f, { budget: { now: () => 0, seconds: 1, cancelled: () => true } });
    expect(soon.count).toBeGreaterThan(15);
    check(soon, box(300, 300, 300));
  });
});

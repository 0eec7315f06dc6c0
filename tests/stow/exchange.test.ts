import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import type { Candidate } from '../../src/stow/candidate.ts';
import { overlap } from '../../src/stow/candidate.ts';
import { exchanged, Positions, threeOf, twoOf } from '../../src/stow/exchange.ts';
import { loadingOrder } from '../../src/stow/loading.ts';

/** Random blocks of 4 x 2 x 1 in all six ways of lying within a cube. */
function blocks(seed: number, n: number, within: number): Candidate[] {
  const r = random(seed);
  return Array.from({ length: n }, () => {
    const size = [4, 2, 1];
    for (let i = 2; i > 0; i--) {
      const j = r.below(i + 1);
      [size[i], size[j]] = [size[j], size[i]];
    }
    const [x, y, z] = size.map((s) => r.below(within - s + 1));
    return { x, y, z, a: size[0], b: size[1], c: size[2] };
  });
}

const apart = (all: readonly Candidate[], list: readonly number[]): boolean =>
  list.every((i, m) => list.slice(0, m).every((j) => !overlap(all[i], all[j])));

/** The most that do not overlap, by trying everything. */
function most(all: readonly Candidate[], from = 0, kept: readonly Candidate[] = []): number {
  let best = kept.length;
  for (let i = from; i < all.length; i++)
    if (kept.every((k) => !overlap(k, all[i]))) best = Math.max(best, most(all, i + 1, [...kept, all[i]]));
  return best;
}

describe('exchange', () => {
  it.each([1, 2, 3, 4])('two of a few blocks are found exactly when there are two, seed %i', (seed) => {
    let found = 0;
    for (let n = 0; n < 200; n++) {
      const all = blocks(1000 * seed + n, 3, 4);
      const at = new Positions(all);
      const pair = twoOf(at, [0, 1, 2]);
      expect(pair !== null).toBe(most(all) >= 2);
      if (pair) expect(apart(all, pair)).toBe(true);
      if (pair) found++;
      const three = threeOf(at, [0, 1, 2]);
      if (three) expect(three.length === 3 && apart(all, three)).toBe(true);
    }
    expect(found).toBeGreaterThan(20);
    expect(found).toBeLessThan(200);
  });

  it.each([7, 8, 9])('reaches the most of a small case, found by trying everything, seed %i', (seed) => {
    const all = blocks(seed, 28, 6);
    const want = most(all);
    let steps = 300;
    const got = exchanged(new Positions(all), [], { rng: random(1), more: () => steps-- > 0, bound: want });
    expect(apart(all, got)).toBe(true);
    expect(got.length).toBe(want);
  });
});

describe('loading one by one', () => {
  const stood = (at_mm: [number, number, number], size_mm: [number, number, number]) => ({ at_mm, size_mm });

  it('what lies under goes in first, beside does not matter', () => {
    const [low, high, beside] = [stood([0, 0, 0], [10, 10, 10]), stood([0, 0, 10], [10, 10, 10]), stood([10, 0, 0], [10, 10, 30])];
    const turns = loadingOrder([high, low, beside], [0, 0, 1]);
    expect(turns?.slice().sort()).toEqual([1, 2, 3]);
    expect(turns![1]).toBeLessThan(turns![0]);
    // The other way round the upper one is farther in.
    const down = loadingOrder([high, low, beside], [0, 0, -1]);
    expect(down![0]).toBeLessThan(down![1]);
  });

  it('three sticks that lie round each other, each in front of the next, can not be put in one by one', () => {
    // Seen along (1, 1, 1), 2 mm before each other where they cross: y before x, z before y, x before z.
    const sticks = [stood([-4, 1.5, -0.5], [10, 1, 1]), stood([-0.5, -4, 1.5], [1, 10, 1]), stood([1.5, -0.5, -4], [1, 1, 10])];
    const d = 1 / Math.sqrt(3);
    expect(loadingOrder(sticks, [d, d, d])).toBeNull();
    expect(loadingOrder(sticks.slice(0, 2), [d, d, d])).not.toBeNull();
    expect(loadingOrder(sticks, [0, 0, 1])).not.toBeNull();
  });
});

import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { Weld32, Weld64 } from '../../src/io/weld.ts';

/** Points of a small lattice, so that most differ from others in one coordinate only, each drawn several times; scaled by `k`. */
function draws(n: number, k: number): number[][] {
  const rng = random(31);
  return Array.from({ length: n }, () => [rng.below(24) * k, rng.below(24) * k, rng.below(24) * k]);
}

/** Numbers in the order of first sight, by a Map. */
function byMap(points: readonly (readonly number[])[]): number[] {
  const seen = new Map<string, number>();
  return points.map((p) => {
    const key = p.join(' ');
    if (!seen.has(key)) seen.set(key, seen.size);
    return seen.get(key)!;
  });
}

describe('exact weld', () => {
  it('float32: the numbers that a Map gives, on 60,000 draws of 13,824 places', () => {
    const points = draws(60000, 0.1).map((p) => p.map(Math.fround));
    const weld = new Weld32();
    const bits = (v: number): number => new Int32Array(Float32Array.of(v).buffer)[0];
    expect(points.map(([x, y, z]) => weld.add(bits(x), bits(y), bits(z)))).toEqual(byMap(points));
    expect(weld.count).toBeGreaterThan(13000);
    expect([...weld.positions()].slice(0, 3)).toEqual(points[0]);
  });

  it('float64: the same, also where places differ only in the last bit', () => {
    const points = draws(60000, 0.1).map(([x, y, z]) => [1e6 + x, y, z === 0 ? 0.1 : z * (1 + Number.EPSILON)]);
    const weld = new Weld64();
    expect(points.map(([x, y, z]) => weld.add(x, y, z))).toEqual(byMap(points));
    // Low words only: 24 steps of the last bit about 1 in each coordinate.
    const fine = draws(60000, Number.EPSILON).map((p) => p.map((v) => 1 + v));
    const second = new Weld64();
    expect(fine.map(([x, y, z]) => second.add(x, y, z))).toEqual(byMap(fine));
    expect(weld.add(0.3, 0, 0)).not.toBe(weld.add(0.1 + 0.2, 0, 0));
    expect(weld.add(0, 0, 0)).toBe(weld.add(-0, -0, -0));
  });
});

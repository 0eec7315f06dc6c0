import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { type Random, random } from '../../src/core/random.ts';
import { distance, type Vec3 } from '../../src/core/vec.ts';
import { fitRigid, moveBy, type Rigid, targetError, turnBetween } from '../../src/scan/place.ts';
import { placeByTargets } from '../../src/scan/place-targets.ts';
import { movePoint, randomTurn } from '../oracle/shapes.ts';

const cloud = (rng: Random, n: number, size = 800): Vec3[] =>
  Array.from({ length: n }, (): Vec3 => [rng.range(0, size), rng.range(0, size / 2), rng.range(0, size / 2)]);
const noisy = (rng: Random, p: Vec3, sigma: number): Vec3 => [
  p[0] + sigma * rng.normal(),
  p[1] + sigma * rng.normal(),
  p[2] + sigma * rng.normal(),
];
const motion = (rng: Random): Rigid => ({
  rows: randomTurn(rng),
  shift: [rng.range(-900, 900), rng.range(-900, 900), rng.range(-900, 900)],
});
const codeOf = (run: () => unknown): string => {
  try {
    run();
  } catch (error) {
    if (error instanceof Fault) return error.code;
    throw error;
  }
  return 'no fault';
};

function shuffled<T>(rng: Random, list: readonly T[]): T[] {
  const out = [...list];
  for (let i = out.length - 1; i > 0; i--) {
    const j = rng.below(i + 1);
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
}

describe('a rigid fit', () => {
  it('finds a motion made outside, for any three points or more', () => {
    fc.assert(
      fc.property(fc.integer(), fc.integer({ min: 3, max: 12 }), (seed, n) => {
        const rng = random(seed);
        const moving = cloud(rng, n);
        const truth = motion(rng);
        const fit = fitRigid(
          moving,
          moving.map((p) => movePoint(p, truth.rows, truth.shift)),
        );
        expect(fit.rms).toBeLessThan(1e-9);
        expect(turnBetween(fit.placing, truth)).toBeLessThan(1e-8);
        expect(Math.abs(fit.scaleError)).toBeLessThan(1e-12);
      }),
      { numRuns: 200, seed: 1 },
    );
  });

  it('never mirrors, even when the points are mirrored or lie in a plane', () => {
    const rng = random(5);
    for (const moving of [cloud(rng, 6), cloud(rng, 5).map((p): Vec3 => [p[0], p[1], 0])]) {
      const { rows } = fitRigid(
        moving,
        moving.map((p): Vec3 => [-p[0], p[1], p[2]]),
      ).placing;
      const [a, b, c] = rows;
      const determinant = a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0]) + a[2] * (b[0] * c[1] - b[1] * c[0]);
      expect(determinant).toBeCloseTo(1, 9);
    }
  });

  it('reports a change of scale and does not apply it', () => {
    const rng = random(9);
    const moving = cloud(rng, 8);
    const fit = fitRigid(
      moving,
      moving.map((p): Vec3 => [p[0] * 1.002, p[1] * 1.002, p[2] * 1.002]),
    );
    expect(fit.scaleError).toBeCloseTo(0.002, 9);
    const moved = moving.map((p) => moveBy(fit.placing, p));
    expect(distance(moved[0], moved[1])).toBeCloseTo(distance(moving[0], moving[1]), 9);
    expect(fit.rms).toBeGreaterThan(0.1);
  });
});

describe('placing by targets', () => {
  it('matches unordered lists with missing and false targets', () => {
    fc.assert(
      fc.property(fc.integer(), (seed) => {
        const rng = random(seed);
        const truth = motion(rng);
        const all = cloud(rng, 14);
        const fixed = shuffled(rng, [...all.slice(0, 11), ...cloud(rng, 3)]).map((p) =>
          noisy(rng, movePoint(p, truth.rows, truth.shift), 0.03),
        );
        const moving = shuffled(rng, [...all.slice(4), ...cloud(rng, 2)]).map((p) => noisy(rng, p, 0.03));
        const fit = placeByTargets(moving, fixed);
        expect(fit.pairs.length).toBeGreaterThanOrEqual(7);
        for (const [i, j] of fit.pairs) expect(distance(movePoint(moving[i], truth.rows, truth.shift), fixed[j])).toBeLessThan(1);
        for (const p of all) expect(distance(moveBy(fit.placing, p), movePoint(p, truth.rows, truth.shift))).toBeLessThan(0.3);
        expect(fit.rms).toBeLessThan(0.12);
        expect(fit.p95).toBeGreaterThanOrEqual(fit.median);
      }),
      { numRuns: 60, seed: 2 },
    );
  });

  it('says when one scan is larger than the other', () => {
    const rng = random(3);
    const moving = cloud(rng, 9);
    const fixed = moving.map((p): Vec3 => noisy(rng, [p[0] * 1.0008, p[1] * 1.0008, p[2] * 1.0008], 0.01));
    const fit = placeByTargets(moving, fixed);
    expect(fit.scaleError).toBeCloseTo(0.0008, 4);
    expect(fit.doubts.join()).toMatch(/0\.0[78]\d % larger/);
  });

  it('has no doubts about a good set', () => {
    const rng = random(31);
    const moving = cloud(rng, 9);
    expect(
      placeByTargets(
        moving,
        moving.map((p) => noisy(rng, p, 0.02)),
      ).doubts,
    ).toEqual([]);
  });

  it('refuses too few, unlike, repeating and poorly fitting targets', () => {
    const rng = random(4);
    const a = cloud(rng, 6);
    expect(codeOf(() => placeByTargets(a.slice(0, 2), a))).toBe('place-few-targets');
    expect(codeOf(() => placeByTargets(a, cloud(rng, 6)))).toBe('place-no-match');
    const square: Vec3[] = [
      [0, 0, 0],
      [100, 0, 0],
      [100, 100, 0],
      [0, 100, 0],
    ];
    expect(codeOf(() => placeByTargets(square, square))).toBe('place-ambiguous');
    const line = a.map((p): Vec3 => [p[0], 0, 0]);
    expect(codeOf(() => placeByTargets(line, line))).toBe('place-no-match');
    const poor = a.map((p) => noisy(rng, p, 1.2));
    expect(codeOf(() => placeByTargets(a, poor, { tolerance: 6 }))).toBe('place-poor-fit');
  });

  it('names the units when one list is in inches', () => {
    const rng = random(8);
    const a = cloud(rng, 6);
    let hint: string | undefined;
    try {
      placeByTargets(
        a,
        a.map((p): Vec3 => [p[0] / 25.4, p[1] / 25.4, p[2] / 25.4]),
      );
    } catch (error) {
      hint = error instanceof Fault ? error.detail.hint : undefined;
    }
    expect(hint).toContain('inches');
  });
});

describe('the expected error of a placing by targets', () => {
  it('agrees with the scatter of a thousand placings, near the targets and far from them', () => {
    const rng = random(77);
    const fle = 0.1;
    const targets = cloud(rng, 7);
    for (const at of [
      [400, 200, 200],
      [1500, -300, 600],
    ] as Vec3[]) {
      let sum = 0;
      let fre = 0;
      const runs = 1000;
      for (let i = 0; i < runs; i++) {
        // FLE is the root mean square length of the error vector: a third of its square along each axis.
        const fit = fitRigid(
          targets.map((p) => noisy(rng, p, fle / Math.sqrt(3))),
          targets,
        );
        sum += distance(moveBy(fit.placing, at), at) ** 2;
        fre += fit.rms ** 2;
      }
      const scatter = Math.sqrt(sum / runs);
      const expected = targetError(targets, Math.sqrt(fre / runs), at);
      expect(Math.abs(expected / scatter - 1)).toBeLessThan(0.08);
    }
  });
});

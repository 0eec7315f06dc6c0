import { ExtendedTriangle } from 'three-mesh-bvh';
import { describe, expect, it } from 'vitest';
import { type Random, random } from '../../src/core/random.ts';
import { TrianglePair } from '../../src/make/triangle-pair.ts';

const pair = new TrianglePair();
const distance = (corners: ArrayLike<number>, limit = Infinity): number => {
  pair.corners.set(corners);
  return Math.sqrt(pair.squared(limit));
};

/** Two random triangles: apart, near, sharing corners, in one plane, parallel, slivers, without area. */
function draw(r: Random, kind: number): number[] {
  const c = Array.from({ length: 18 }, () => r.range(-1, 1));
  if (kind === 1) for (let i = 9; i < 18; i++) c[i] += 1.5;
  if (kind === 2) for (let a = 0; a < 3; a++) c[9 + a] = c[a];
  if (kind === 3) for (let i = 2; i < 18; i += 3) c[i] = 0.25;
  if (kind === 4) for (let i = 0; i < 9; i++) c[9 + i] = c[i] + [0.3, 0.1, 0.7][i % 3];
  if (kind === 5) for (let a = 0; a < 3; a++) c[6 + a] = c[a] + 1e-7 * r.next();
  if (kind === 6) for (let a = 0; a < 3; a++) c[12 + a] = c[15 + a] = c[9 + a];
  if (kind === 7) for (let a = 0; a < 3; a++) c[6 + a] = (c[a] + c[3 + a]) / 2;
  return c;
}

/** Least distance by descent over both triangles' barycentric coordinates from many starts: slow, shares no code. */
function byDescent(c: number[]): number {
  const grid: [number, number][] = [];
  for (let i = 0; i <= 6; i++) for (let j = 0; i + j <= 6; j++) grid.push([i / 6, j / 6]);
  const at = (o: number, u: number, v: number): number[] =>
    [0, 1, 2].map((a) => c[o + a] * (1 - u - v) + c[o + 3 + a] * u + c[o + 6 + a] * v);
  const d = (p: number[]): number => Math.hypot(...at(0, p[0], p[1]).map((x, a) => x - at(9, p[2], p[3])[a]));
  const legal = (p: number[]): boolean => Math.min(...p) >= 0 && p[0] + p[1] <= 1 && p[2] + p[3] <= 1;
  let best = [0, 0, 0, 0];
  for (const a of grid) for (const b of grid) if (d([...a, ...b]) < d(best)) best = [...a, ...b];
  const moves: number[][] = [];
  for (let m = 0; m < 81; m++) moves.push([0, 1, 2, 3].map((k) => (Math.floor(m / 3 ** k) % 3) - 1));
  for (let step = 1 / 6; step > 1e-5; ) {
    const next = moves.map((m) => m.map((x, k) => Math.min(Math.max(best[k] + x * step, 0), 1))).filter(legal);
    const winner = next.reduce((p, q) => (d(q) < d(p) ? q : p), best);
    if (d(winner) < d(best) - 1e-6) best = winner;
    else step /= 2;
  }
  return d(best);
}

describe('distance of two triangles', () => {
  it.each([0, 1, 2, 3, 4, 5, 6, 7])('kind %i: never more than a descent finds, and reached by its own points', (kind) => {
    const r = random(10 + kind);
    for (let n = 0; n < 25; n++) {
      const c = draw(r, kind);
      const d = distance(c);
      const p = pair.points;
      expect(Math.hypot(p[0] - p[3], p[1] - p[4], p[2] - p[5])).toBeCloseTo(d, 9);
      const slow = byDescent(c);
      // The descent can only end too far.
      expect(d).toBeLessThanOrEqual(slow + 1e-9);
      expect(slow - d).toBeLessThan(0.02);
      expect(distance([...c.slice(9), ...c.slice(0, 9)])).toBeCloseTo(d, 12);
    }
  });

  it.each([0, 1, 2, 4])('kind %i: as three-mesh-bvh has it, 3000 pairs', (kind) => {
    const r = random(20 + kind);
    const a = new ExtendedTriangle();
    const b = new ExtendedTriangle();
    let apart = 0;
    for (let n = 0; n < 3000; n++) {
      const c = draw(r, kind);
      for (const [i, v] of [a.a, a.b, a.c, b.a, b.b, b.c].entries()) v.fromArray(c, 3 * i);
      a.needsUpdate = b.needsUpdate = true;
      const other = a.distanceToTriangle(b);
      const own = distance(c);
      if (own > 1e-9) apart++;
      expect(Math.abs(own - other)).toBeLessThan(1e-7);
    }
    if (kind !== 2) expect(apart).toBeGreaterThan(500);
  });

  it('closed forms: parallel, corner over face, crossing edges, points', () => {
    const flat = [0, 0, 0, 4, 0, 0, 0, 4, 0];
    expect(distance([...flat, ...flat.map((x, i) => (i % 3 === 2 ? 2.5 : x))])).toBe(2.5);
    expect(distance([...flat, 1, 1, 3, 2, 1, 5, 1, 2, 6])).toBe(3);
    expect(distance([0, 0, 0, 4, 0, 0, 2, -9, 0, 2, 0, 1, 2, 3, 4, 2, -3, 4])).toBe(1);
    expect(distance([...flat, 1, 1, -1, 1, 1, 1, 9, 9, 1])).toBe(0);
    expect(distance([...flat, ...[1, 2, 7, 1, 2, 7, 1, 2, 7]])).toBe(7);
    expect(distance([...[3, 0, 4, 3, 0, 4, 3, 0, 4], 0, 0, 0, 0, 0, 0, 0, 0, 0])).toBe(5);
  });

  it('stops at the limit and leaves the points alone', () => {
    pair.points.fill(9);
    expect(distance([0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 5, 1, 0, 5, 0, 1, 5], 25)).toBe(5);
    expect([...pair.points]).toEqual([9, 9, 9, 9, 9, 9]);
  });
});

import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { add, distance, scale, sub, type Vec3 } from '../../src/core/vec.ts';
import { CurveCheck } from '../../src/fit/clear-curve.ts';
import { type Curve, roundable, rounded } from '../../src/fit/curve.ts';
import { findPassage, type PassageAsk } from '../../src/fit/passages.ts';
import { shortest } from '../../src/fit/shortest.ts';

/** Distance to the border of the room inside a polyline of thickness 2 r: the gap of a pipe. */
function pipe(line: readonly Vec3[], r: number): (x: number, y: number, z: number) => number {
  return (x, y, z) => {
    let least = Infinity;
    for (let i = 1; i < line.length; i++) {
      const [a, b] = [line[i - 1], line[i]];
      const d = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
      const t = Math.max(0, Math.min(1, ((x - a[0]) * d[0] + (y - a[1]) * d[1] + (z - a[2]) * d[2]) / (d[0] ** 2 + d[1] ** 2 + d[2] ** 2)));
      least = Math.min(least, Math.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1], z - a[2] - t * d[2]));
    }
    return r - least;
  };
}

const grid = gridOver({ min: [-60, -60, -60], max: [260, 260, 60] }, 4);
const ask = (more: Partial<PassageAsk>): PassageAsk => ({
  diameter: 10,
  clearance: 3,
  from: [0, 0, 0],
  to: [200, 0, 0],
  bendRadius: 20,
  ends: 8,
  ...more,
});
const always = (): boolean => true;

describe('curve', () => {
  it('two straights and an arc: length in closed form, on the circle, tangent to both', () => {
    const c = rounded(
      [
        [0, 0, 0],
        [100, 0, 0],
        [100, 80, 0],
      ],
      30,
    )!;
    expect(c.length).toBeCloseTo(70 + 50 + (Math.PI / 2) * 30, 9);
    expect(c.bends).toHaveLength(1);
    expect(c.bends[0].angle).toBeCloseTo(90, 9);
    // The arc's middle lies on the bisector, r (sqrt 2 - 1) from the corner.
    expect(distance(c.bends[0].at, [100, 0, 0])).toBeCloseTo(30 * (Math.SQRT2 - 1), 9);
    for (const p of c.points.slice(1, -1)) expect(distance(p, [70, 30, 0])).toBeCloseTo(30, 6);
    let chord = 0;
    for (let i = 1; i < c.points.length; i++) chord += distance(c.points[i - 1], c.points[i]);
    expect(c.length - chord).toBeLessThan(0.1);
    expect(c.length).toBeGreaterThan(chord);
  });

  it('any corner in space: as long as straights and arcs make it, and no bend where none fits', () => {
    const rng = random(3);
    for (let n = 0; n < 50; n++) {
      const [a, b, c] = [0, 1, 2].map((): Vec3 => [rng.range(-100, 100), rng.range(-100, 100), rng.range(-100, 100)]);
      const most = roundable([a, b, c]);
      expect(rounded([a, b, c], 1.001 * most)).toBeUndefined();
      const curve = rounded([a, b, c], 0.5 * most)!;
      const turn = (curve.bends[0].angle * Math.PI) / 180;
      const exact = distance(a, b) + distance(b, c) - 2 * 0.5 * most * Math.tan(turn / 2) + 0.5 * most * turn;
      expect(curve.length).toBeCloseTo(exact, 6);
    }
  });
});

describe('passages', () => {
  it('a straight pipe: as wide as its gap less the clearance, straight through', () => {
    const field = fieldOf(
      grid,
      pipe(
        [
          [-20, 0, 0],
          [220, 0, 0],
        ],
        15,
      ),
    );
    const found = findPassage(field, ask({}), always);
    // A cell's centre may miss the axis by half the cell's diagonal.
    expect(found.bottleneck!.diameter).toBeLessThanOrEqual(2 * (15 - 3) + 1e-3);
    expect(found.bottleneck!.diameter).toBeGreaterThan(2 * (15 - 3) - Math.sqrt(3) * 4);
    expect(found.curve!.length).toBeCloseTo(200, 6);
    expect(found.curve!.bends).toEqual([]);
  });

  it('an elbow: within three thousandths of the taut way at that gap', () => {
    const r = 18;
    const need = 8;
    const field = fieldOf(
      grid,
      pipe(
        [
          [0, 0, 0],
          [200, 0, 0],
          [200, 200, 0],
        ],
        r,
      ),
    );
    const corners = shortest(field, need, [0, 0, 0], [200, 200, 0])!;
    // Taut: cuts the inner corner at (200 - s, s), s = (r - need), where the room at that gap ends.
    const s = r - need;
    const exact = 2 * Math.hypot(200 - s, s);
    let length = 0;
    for (let i = 1; i < corners.length; i++) length += distance(corners[i - 1], corners[i]);
    expect(length / exact).toBeGreaterThan(0.9985);
    expect(length / exact).toBeLessThan(1.003);
  });

  it('keeps the bend radius in an elbow, its curve inside the gap; says so when no such bend fits', () => {
    const field = fieldOf(
      grid,
      pipe(
        [
          [0, 0, 0],
          [200, 0, 0],
          [200, 200, 0],
        ],
        24,
      ),
    );
    const inside = pipe(
      [
        [0, 0, 0],
        [200, 0, 0],
        [200, 200, 0],
      ],
      24,
    );
    const clear = (c: Curve): boolean =>
      c.points.every((p) => distance(p, [0, 0, 0]) < 10 || distance(p, [200, 200, 0]) < 10 || inside(...p) >= 8);
    const found = findPassage(field, ask({ to: [200, 200, 0], bendRadius: 25 }), clear);
    expect(found.why).toBeNull();
    for (const b of found.curve!.bends) expect(b.radius).toBe(25);
    expect(found.curve!.bends.reduce((sum, b) => sum + b.angle, 0)).toBeGreaterThan(80);
    const stiff = findPassage(field, ask({ to: [200, 200, 0], bendRadius: 170 }), clear);
    expect([stiff.curve, stiff.why]).toEqual([null, 'bends too tight']);
    expect(stiff.bendable!).toBeLessThan(170);
  });

  it('a maze with a wide detour: the widest way is the detour, the short way is taken by what fits it', () => {
    const detour: Vec3[] = [
      [0, 0, 0],
      [0, 200, 0],
      [200, 200, 0],
      [200, 0, 0],
    ];
    const wide = pipe(detour, 22);
    const straight = pipe(
      [
        [0, 0, 0],
        [200, 0, 0],
      ],
      12,
    );
    const field = fieldOf(grid, (x, y, z) => Math.max(wide(x, y, z), straight(x, y, z)));
    const thin = findPassage(field, ask({ diameter: 10, bendRadius: 10 }), always);
    expect(thin.bottleneck!.diameter).toBeLessThanOrEqual(2 * (22 - 3) + 1e-3);
    expect(thin.bottleneck!.diameter).toBeGreaterThan(2 * (22 - 3) - Math.sqrt(3) * 4);
    expect(thin.curve!.length).toBeCloseTo(200, 3);
    const thick = findPassage(field, ask({ diameter: 22, bendRadius: 10 }), always);
    expect(thick.curve!.length).toBeGreaterThan(520);
    expect(thick.curve!.length).toBeLessThan(600);
    const much = findPassage(field, ask({ diameter: 44, bendRadius: 10 }), always);
    expect([much.curve, much.why]).toEqual([null, 'too narrow']);
    expect(much.bottleneck!.diameter).toBeLessThan(44);
  });

  it('ends in two rooms, or outside the grid, are told', () => {
    const rooms = (x: number, y: number, z: number): number =>
      Math.min(20 - Math.abs(y), 20 - Math.abs(z), Math.abs(x - 100) < 20 ? -Infinity : 20);
    const field: Field = fieldOf(grid, rooms);
    expect(findPassage(field, ask({}), always).why).toBe('ends apart');
    expect(findPassage(field, ask({ to: [900, 0, 0] }), always).why).toBe('ends apart');
  });
});

describe('curves against meshes', () => {
  /** Triangles here and there. */
  const scraps: Mesh = (() => {
    const rng = random(11);
    const positions = new Float32Array(300 * 9);
    for (let t = 0; t < 300; t++) {
      const c = [rng.range(0, 200), rng.range(-80, 80), rng.range(-80, 80)];
      for (let v = 0; v < 3; v++) for (let a = 0; a < 3; a++) positions[9 * t + 3 * v + a] = c[a] + rng.range(-6, 6);
    }
    return { origin: [5, 0, 0], positions, indices: Uint32Array.from({ length: 900 }, (_, i) => i) };
  })();

  it('the proven distance is under the densely sampled one by at most the slop, never over it', () => {
    const rng = random(5);
    const check = new CurveCheck([{ name: 'scraps', mesh: scraps, off: 1.5 }]);
    for (let n = 0; n < 6; n++) {
      const points = Array.from({ length: 3 }, (): Vec3 => [rng.range(0, 200), rng.range(-60, 60), rng.range(-60, 60)]);
      const { atLeast, at } = check.closest(points, 0);
      let sampled = Infinity;
      for (let i = 1; i < points.length; i++)
        for (let k = 0; k <= 200; k++) {
          const p = add(points[i - 1], scale(sub(points[i], points[i - 1]), k / 200));
          sampled = Math.min(sampled, sampleDistance(scraps, p) - 1.5);
        }
      expect(atLeast).toBeLessThanOrEqual(sampled + 1e-4);
      expect(atLeast).toBeGreaterThan(sampled - 0.6);
      expect(Math.abs(sampleDistance(scraps, at) - 1.5 - atLeast)).toBeLessThan(0.2);
    }
  });

  it('what lies near the ends does not count', () => {
    const wall: Mesh = {
      origin: [0, 0, 0],
      positions: Float32Array.from([-50, 0, -50, 50, 0, -50, 0, 0, 80]),
      indices: Uint32Array.from([0, 1, 2]),
    };
    const check = new CurveCheck([{ name: 'wall', mesh: wall, off: 0 }]);
    const points: Vec3[] = [
      [0, 0, 0],
      [0, 100, 0],
    ];
    expect(check.closest(points, 0).atLeast).toBeLessThan(0.1);
    expect(Math.abs(check.closest(points, 30).atLeast - 30)).toBeLessThan(8);
  });
});

/** Distance from a point to a mesh, one triangle after another, by barycentric projection (Ericson, Real-Time Collision Detection, 5.1.5). */
function sampleDistance({ origin, positions: p, indices: t }: Mesh, at: Vec3): number {
  let least = Infinity;
  const less = (u: number[], v: number[]): number[] => u.map((x, i) => x - v[i]);
  const dot = (u: number[], v: number[]): number => u.reduce((s, x, i) => s + x * v[i], 0);
  const q = less([...at], [...origin]);
  const along = (a: number[], b: number[]): number => {
    const d = less(b, a);
    const k = Math.max(0, Math.min(1, dot(less(q, a), d) / Math.max(dot(d, d), 1e-30)));
    return Math.hypot(
      ...less(
        q,
        a.map((x, i) => x + k * d[i]),
      ),
    );
  };
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [0, 1, 2].map((v) => [...p.subarray(3 * t[f + v], 3 * t[f + v] + 3)]);
    const [ab, ac, ap] = [less(b, a), less(c, a), less(q, a)];
    const [d00, d01, d11, d20, d21] = [dot(ab, ab), dot(ab, ac), dot(ac, ac), dot(ap, ab), dot(ap, ac)];
    const den = d00 * d11 - d01 * d01;
    const v = (d11 * d20 - d01 * d21) / den;
    const w = (d00 * d21 - d01 * d20) / den;
    if (den > 1e-12 && v >= 0 && w >= 0 && v + w <= 1)
      least = Math.min(
        least,
        Math.hypot(
          ...less(
            ap,
            ab.map((x, i) => v * x + w * ac[i]),
          ),
        ),
      );
    else least = Math.min(least, along(a, b), along(b, c), along(c, a));
  }
  return least;
}

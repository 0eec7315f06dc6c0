import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { certifyBox, certifyCylinder, UNIT_AXES } from '../../src/stow/inside.ts';
import { type BoxResult, largestBall, largestBox, largestCylinder } from '../../src/stow/largest.ts';
import { largestCuboid, largestUpright } from '../../src/stow/mask.ts';
import { ball, box, can, fieldIn, questions, type Solid } from './shapes.ts';

const options = { doubt: 0, budget: questions(1e6) };
const h = 5;

/** Least true depth over points on the surface of a result's box. */
function depthOf(solid: Solid, b: BoxResult): number {
  let least = Infinity;
  for (let i = 0; i <= 20; i++)
    for (let j = 0; j <= 20; j++)
      for (let k = 0; k <= 20; k++) {
        if (i % 20 && j % 20 && k % 20) continue;
        const t = [i / 20 - 0.5, j / 20 - 0.5, k / 20 - 0.5];
        const p = [0, 1, 2].map(
          (a) =>
            b.centre_mm[a] + t[0] * b.size_mm[0] * b.axes[0][a] + t[1] * b.size_mm[1] * b.axes[1][a] + t[2] * b.size_mm[2] * b.axes[2][a],
        );
        least = Math.min(least, solid(p[0], p[1], p[2]));
      }
  return least;
}

describe('largest solids, against closed forms', () => {
  it('a ball in a ball, and in a box', () => {
    const r = largestBall(fieldIn(ball(150), [150, 150, 150], h));
    expect(r?.radius_mm).toBeLessThanOrEqual(150);
    expect(r?.radius_mm).toBeGreaterThan(150 - h);
    expect(r?.radius_bound_mm).toBeGreaterThanOrEqual(150);
    expect(largestBall(fieldIn(() => -5, [20, 20, 20], h))).toBeNull();
  });

  it('a box in a box, straight: proved inside, within a cell of each side', () => {
    const solid = box(400, 300, 200);
    const r = largestBox(fieldIn(solid, [200, 150, 100], h), 'none', options) as BoxResult;
    expect(depthOf(solid, r)).toBeGreaterThanOrEqual(0);
    [400, 300, 200].forEach((s, a) => {
      expect(r.size_mm[a]).toBeGreaterThan(s - 3 * h);
    });
    expect(Math.abs(r.seen_l - 24)).toBeLessThan(0.5);
  });

  it('a box that stands askew is found by turning about z, and straight sides get the closed form less', () => {
    const solid = box(400, 300, 200, 0.4);
    const f = fieldIn(solid, [250, 230, 100], h);
    const turned = largestBox(f, 'z', options) as BoxResult;
    expect(depthOf(solid, turned)).toBeGreaterThanOrEqual(-1e-3);
    expect(turned.volume_l).toBeGreaterThan(20.5);
    const straight = largestBox(f, 'none', options) as BoxResult;
    // The largest straight rectangle in a turned one: for sides l > w with w < l sin(2a) it is w^2 / (2 sin a cos a)... else a one-parameter family: by trying.
    let want = 0;
    for (let x = 1; x < 400; x++) {
      const y = Math.min((400 - x * Math.cos(0.4)) / Math.sin(0.4), (300 - x * Math.sin(0.4)) / Math.cos(0.4));
      want = Math.max(want, x * y);
    }
    expect(Math.abs(straight.seen_l / ((want * 200) / 1e6) - 1)).toBeLessThan(0.05);
    expect(straight.volume_l).toBeLessThan(turned.volume_l);
  });

  it('leaned both ways: found by any turn', () => {
    const [a, b] = [0.35, 0.5];
    const solid: Solid = (x, y, z) => {
      const y1 = Math.cos(a) * y + Math.sin(a) * z;
      const z1 = -Math.sin(a) * y + Math.cos(a) * z;
      return box(160, 120, 60)(Math.cos(b) * x + Math.sin(b) * y1, -Math.sin(b) * x + Math.cos(b) * y1, z1);
    };
    const f = fieldIn(solid, [110, 110, 80], 4);
    const any = largestBox(f, 'any', options) as BoxResult;
    expect(depthOf(solid, any)).toBeGreaterThanOrEqual(-1e-3);
    const about = largestBox(f, 'z', options) as BoxResult;
    expect(any.volume_l).toBeGreaterThan(1.25 * about.volume_l);
    expect(any.volume_l).toBeGreaterThan(0.7 * 1.152);
  });

  it('a cube in a ball (2 r / sqrt 3), a cylinder in a ball (4 pi r^3 / (3 sqrt 3)) and in a can', () => {
    const f = fieldIn(ball(150), [150, 150, 150], h);
    const cube = largestBox(f, 'none', options) as BoxResult;
    const want = (2 * 150) ** 3 / 3 ** 1.5 / 1e6;
    expect(cube.volume_l).toBeLessThanOrEqual(want);
    expect(cube.volume_l).toBeGreaterThan(0.97 * want);
    const roll = largestCylinder(f, options);
    const most = (4 * Math.PI * 150 ** 3) / (3 * Math.sqrt(3)) / 1e6;
    expect(roll?.volume_l).toBeLessThanOrEqual(most);
    expect(roll?.volume_l).toBeGreaterThan(0.95 * most);
    const inCan = largestCylinder(fieldIn(can(80, 200), [80, 80, 100], h), options);
    expect(inCan?.radius_mm).toBeLessThanOrEqual(80);
    expect(inCan?.radius_mm).toBeGreaterThan(80 - 2 * h);
    expect(inCan?.height_mm).toBeGreaterThan(200 - 4 * h);
  });
});

describe('the proof', () => {
  const f = fieldIn(box(200, 160, 120), [100, 80, 60], h);
  const at = (half: Vec3, x = 0): boolean => certifyBox(f, { centre: [x, 0, 0], axes: UNIT_AXES, half });

  it('takes what is inside and nothing that is not', () => {
    expect(at([100 - 1.3 * h, 80 - 1.3 * h, 60 - 1.3 * h])).toBe(true);
    expect(at([100.5, 40, 40])).toBe(false);
    expect(at([90, 70, 50], 12)).toBe(false);
    // A face alone near a flat wall costs less than a tenth of a cell.
    expect(at([99.7, 20, 20])).toBe(true);
    expect(certifyBox(f, { centre: [0, 0, 0], axes: UNIT_AXES, half: [99.7, 20, 20] }, 1)).toBe(false);
    expect(certifyCylinder(f, { centre: [0, 0, 0], radius: 78, halfHeight: 50 })).toBe(true);
    expect(certifyCylinder(f, { centre: [0, 0, 0], radius: 80.5, halfHeight: 50 })).toBe(false);
  });

  it('sees an island that stands free inside', () => {
    const island = fieldIn((x, y, z) => Math.min(box(200, 160, 120)(x, y, z), Math.hypot(x - 20, y, z) - 6), [100, 80, 60], 4);
    expect(certifyBox(island, { centre: [0, 0, 0], axes: UNIT_AXES, half: [80, 60, 40] })).toBe(false);
    const r = largestBox(island, 'none', options) as BoxResult;
    expect(r.volume_l).toBeLessThan(0.57 * 3.84);
    expect(r.volume_l).toBeGreaterThan(0.42 * 3.84);
  });
});

describe('on masks, against trying everything', () => {
  it.each([1, 2, 3, 4])('seed %i', (seed) => {
    const r = random(seed);
    const n: Vec3 = [7, 6, 5];
    const free = Uint8Array.from({ length: 210 }, () => (r.next() < 0.85 ? 1 : 0));
    let most = 0;
    const open = (x: number, y: number, z: number): boolean => free[x + 7 * (y + 6 * z)] === 1;
    for (let x0 = 0; x0 < 7; x0++)
      for (let y0 = 0; y0 < 6; y0++)
        for (let z0 = 0; z0 < 5; z0++)
          for (let x1 = x0; x1 < 7; x1++)
            for (let y1 = y0; y1 < 6; y1++)
              for (let z1 = z0; z1 < 5; z1++) {
                let all = true;
                for (let z = z0; z <= z1 && all; z++)
                  for (let y = y0; y <= y1 && all; y++) for (let x = x0; x <= x1 && all; x++) all = open(x, y, z);
                if (all) most = Math.max(most, (x1 - x0 + 1) * (y1 - y0 + 1) * (z1 - z0 + 1));
              }
    const got = largestCuboid(free, n);
    expect(got?.hi.reduce((v, hi, a) => v * (hi - got.lo[a] + 1), 1)).toBe(most);
    let roll = 0;
    for (let from = 0; from < 5; from++)
      for (let to = from; to < 5; to++)
        for (let y = 0; y < 6; y++)
          for (let x = 0; x < 7; x++) {
            let near = Math.min(x + 1, 7 - x, y + 1, 6 - y);
            for (let z = from; z <= to; z++)
              for (let v = 0; v < 6; v++) for (let u = 0; u < 7; u++) if (!open(u, v, z)) near = Math.min(near, Math.hypot(u - x, v - y));
            if (near > 0.5) roll = Math.max(roll, (near - 0.5) ** 2 * (to - from + 1));
          }
    const up = largestUpright(free, n);
    expect(up && up.radius ** 2 * (up.to - up.from + 1)).toBeCloseTo(roll, 9);
  });
});

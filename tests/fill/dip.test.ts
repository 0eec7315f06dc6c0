import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { centreShifts, dipChart, dipCsv, dipProfile, senderCsv, senderTable } from '../../src/fill/dip.ts';
import { apparentUp, UPRIGHT } from '../../src/fill/level.ts';
import { centreOf, levelOf, profileOf, volumeBelow } from '../../src/fill/profile.ts';
import { box, cylinder, type Solid, simpson, solidField } from './shapes.ts';

/** Area of a circle's segment up to height `h`, mm2. */
const segment = (r: number, h: number): number =>
  h <= 0 ? 0 : h >= 2 * r ? Math.PI * r * r : r * r * Math.acos((r - h) / r) - (r - h) * Math.sqrt(2 * r * h - h * h);

describe('dip chart against closed forms', () => {
  it('lying cylinder R 100 L 500', () => {
    const cavity = solidField(cylinder(100, 500), [250, 100, 100], 3);
    const p = profileOf(cavity, [0, 0, 1], 400);
    expect(p.levels[0]).toBeCloseTo(-100, 0);
    for (const [h, v] of [
      [20, 0.81751],
      [50, 3.07092],
      [100, 7.85398],
      [190, 15.41433],
    ])
      expect(Math.abs(volumeBelow(p, -100 + h) / 1e6 - v)).toBeLessThan(0.012);
  });

  it('lying cylinder with 2:1 ellipsoidal heads: 3.39817 l at 50 mm', () => {
    // Not a true distance at the heads: scaled to the right slope near the border, which is all that counts.
    const ends: Solid = (x, y, z) => {
      const u = Math.max(Math.abs(x) - 250, 0) / 50;
      const q = Math.hypot(u, y / 100, z / 100);
      const slope = Math.hypot(u / 50, y / 1e4, z / 1e4) / Math.max(q, 1e-9);
      return (1 - q) / Math.max(slope, 1e-4);
    };
    const p = profileOf(solidField(ends, [300, 100, 100], 3), [0, 0, 1], 400);
    expect(Math.abs(volumeBelow(p, -50) / 1e6 - 3.39817)).toBeLessThan(0.012);
  });

  it('tilted cylinder: an integral over its length', () => {
    const pitch = 12;
    const up = apparentUp({ pitch, lean: 0 });
    const cavity = solidField(cylinder(100, 500), [250, 100, 100], 3);
    const p = profileOf(cavity, up, 400);
    for (const height of [-60, 0, 45]) {
      // At x along the axis the plane stands (height - x sin p) / cos p above the axis.
      const t = (pitch * Math.PI) / 180;
      const want = simpson((x) => segment(100, (height - x * Math.sin(t)) / Math.cos(t) + 100), -250, 250);
      expect(Math.abs(volumeBelow(p, height) - want) / 1e6).toBeLessThan(0.012);
    }
  });

  it('a box turned any way: half its volume lies below its middle, with the closed-form centre upright', () => {
    const cavity = solidField(box(400, 300, 200), [200, 150, 100], 4);
    for (const a of [UPRIGHT, { pitch: 23, lean: -31 }, { pitch: 0, lean: 0, acceleration: [-0.6, 0, 0] as const }]) {
      const p = profileOf(cavity, apparentUp(a), 400);
      expect(volumeBelow(p, 0) / p.below[400]).toBeCloseTo(0.5, 3);
      expect(p.below[400] / 24e6).toBeCloseTo(1, 2);
    }
    const p = profileOf(cavity, [0, 0, 1], 400, 24e6);
    expect(p.below[400]).toBeCloseTo(24e6, 0);
    const [x, y, z] = centreOf(p, 6e6);
    expect(Math.hypot(x, y, z + 75)).toBeLessThan(0.6);
    expect(levelOf(p, 6e6)).toBeCloseTo(-50, 0);
  });

  it('whole cells are sliced exactly: a cube cut across its corner', () => {
    const grid = gridOver({ min: [0, 0, 0], max: [40, 40, 40] }, 10);
    const up = [1, 1, 1].map((v) => v / Math.sqrt(3)) as [number, number, number];
    const p = profileOf(fieldOf(grid, 100), up, 4000);
    // Below a plane at distance t from the corner: a pyramid of (sqrt(3) t)^3 / 6, while it is smaller than the cube.
    for (const t of [3, 8, 15, 22]) expect(Math.abs(volumeBelow(p, t) / ((Math.sqrt(3) * t) ** 3 / 6) - 1)).toBeLessThan(0.02);
    expect(p.below[4000]).toBeCloseTo(64000, 6);
  });

  it('comes closer with the square of the cell', () => {
    const error = (h: number): number => {
      let worst = 0;
      for (const shift of [0.1, 0.37, 0.71]) {
        const p = profileOf(
          solidField(cylinder(100, 500), [250, 100, 100], h, [shift, 1 - shift, shift / 2]),
          apparentUp({ pitch: 5, lean: 3 }),
          400,
        );
        worst = Math.max(worst, Math.abs(p.below[400] / (Math.PI * 1e4 * 500) - 1));
      }
      return worst;
    };
    expect(error(4)).toBeLessThan(error(8) / 2.5);
    expect(error(4)).toBeLessThan(2e-3);
  });
});

describe('dished heads, D 108 in, L 156 in, a 42 in (D. Jones, Calculating Tank Volume; figures recalled, reproduced by quadrature)', () => {
  const R = 54;
  const a = 42;
  const L = 156;
  const gallon = 231;
  const radii: Record<string, (t: number) => number> = {
    // Radius of the head's cross-section at t in from its base.
    conical: (t) => R * (1 - t / a),
    ellipsoidal: (t) => R * Math.sqrt(1 - (t / a) ** 2),
    spherical: (t) => {
      const s = (R * R + a * a) / (2 * a);
      return Math.sqrt(Math.max(0, s * s - (t + s - a) ** 2));
    },
  };
  const figures: [string, number, number][] = [
    ['conical', 2041.19, 6180.54],
    ['ellipsoidal', 2380.96, 7103.45],
    ['spherical', 2303.96, 6935.16],
  ];
  it.each(figures)('%s', (kind, low, high) => {
    const radius = radii[kind];
    const quadrature = (h: number): number => {
      const slice = (r: number): number => (r > 0 ? segment(r, Math.min(2 * r, Math.max(0, h - R + r))) : 0);
      return (L * segment(R, h) + 2 * simpson((t) => slice(radius(t)), 0, a, 20000)) / gallon;
    };
    expect(Math.abs(quadrature(36) - low)).toBeLessThan(0.02);
    expect(Math.abs(quadrature(84) - high)).toBeLessThan(0.02);
    // One inch is taken as one millimetre; the slope is set right at the border only.
    const solid: Solid = (x, y, z) => {
      const t = Math.abs(x) - L / 2;
      if (t <= 0) return R - Math.hypot(y, z);
      const e = 1e-4;
      const r = radius(Math.min(t, a));
      const bend = t < a ? (radius(Math.min(t + e, a)) - radius(Math.max(t - e, 0))) / (Math.min(t + e, a) - Math.max(t - e, 0)) : -20;
      return (r - Math.hypot(y, z)) / Math.hypot(1, Math.max(bend, -20));
    };
    const p = profileOf(solidField(solid, [L / 2 + a, R, R], 1.5), [0, 0, 1], 400);
    expect(Math.abs(volumeBelow(p, -R + 36) / gallon / low - 1)).toBeLessThan(4e-3);
    expect(Math.abs(volumeBelow(p, -R + 84) / gallon / high - 1)).toBeLessThan(4e-3);
  });
});

describe('what is read off a dip chart', () => {
  const cavity = solidField(box(400, 300, 200), [200, 150, 100], 5);

  it('one line a percent, with mass', () => {
    const chart = dipChart(cavity, UPRIGHT, { density: 745, total: 24e6 });
    expect(chart.rows.map((r) => r.percent)).toEqual(Array.from({ length: 101 }, (_, i) => i));
    expect(chart.rows[100].volume_l).toBeCloseTo(24, 9);
    expect(chart.rows[100].mass_kg).toBeCloseTo(24 * 0.745, 9);
    expect(Math.abs(chart.rows[50].volume_l - 12)).toBeLessThan(0.02);
    const text = dipCsv(chart.rows).trimEnd().split('\n');
    expect(text.length).toBe(102);
    expect(text[0]).toBe('percent,height_mm,volume_l,mass_kg,x_mm,y_mm,z_mm');
    expect(Number(text[101].split(',')[2])).toBeCloseTo(24, 4);
  });

  it("a sender's arm: the float's height by its angle", () => {
    const rows = senderTable(
      cavity,
      { pivot: [-150, 0, 0], along: [1, 0, 0.2], arm: 90, from: -60, to: 60, step: 30, floatRadius: 15 },
      UPRIGHT,
      24e6,
    );
    expect(rows.map((r) => r.angle_deg)).toEqual([-60, -30, 0, 30, 60]);
    for (const r of rows) {
      const z = 90 * Math.sin((r.angle_deg * Math.PI) / 180);
      expect(Math.abs(r.volume_l - 24 * (0.5 + z / 200))).toBeLessThan(0.06);
      expect(r.clear).toBe(true);
    }
    expect(senderTable(cavity, { pivot: [-150, 0, 60], along: [1, 0, 0], arm: 90, from: 0, to: 60, step: 60 })[1].clear).toBe(false);
    expect(senderCsv(rows).split('\n')[1]).toMatch(/^-60,/);
    expect(() => senderTable(cavity, { pivot: [0, 0, 0], along: [0, 0, 1], arm: 90, from: 0, to: 60 })).toThrow(Fault);
  });

  it('the centre of a half-full box leaned by t moves by W^2 tan(t) / (6 H) to the low side', () => {
    const lean = 8;
    const t = (lean * Math.PI) / 180;
    const [shift] = centreShifts(cavity, [{ pitch: 0, lean }], 12e6, dipProfile(cavity, UPRIGHT, 24e6));
    // Fluid of depth d in a width W: the wedge's moment over the fluid's volume is W^2 tan(t) / (12 d).
    expect(Math.abs(shift.centre_mm[1] + (300 ** 2 * Math.tan(t)) / (12 * 100))).toBeLessThan(0.3);
    expect(shift.centre_mm[0]).toBeCloseTo(0, 0);
    const rise = (300 ** 2 * Math.tan(t) ** 2) / (24 * 100);
    expect(Math.abs(shift.shift_mm - Math.hypot((300 ** 2 * Math.tan(t)) / 1200, rise))).toBeLessThan(0.3);
  });
});

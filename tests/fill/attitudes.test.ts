import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { cellAt, gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { scale, type Vec3 } from '../../src/core/vec.ts';
import { heldBack } from '../../src/fill/attitudes.ts';
import { apparentUp, heights } from '../../src/fill/level.ts';
import { box, common, cylinder, moved, type Solid, solidField, union, without } from './shapes.ts';

const air = (f: Field, pitch: number, lean: number, vents: Vec3[]): number => heldBack(f, apparentUp({ pitch, lean }), vents).volume / 1e6;
const fuel = (f: Field, pitch: number, lean: number, pickups: Vec3[]): number =>
  heldBack(f, scale(apparentUp({ pitch, lean }), -1), pickups).volume / 1e6;
const tan = (degrees: number): number => Math.tan((degrees * Math.PI) / 180);

describe('the apparent vertical', () => {
  it('nose up lifts the front, leaning right lifts the left, braking sends fuel forward', () => {
    const t = Math.PI / 18;
    apparentUp({ pitch: 10, lean: 0 }).forEach((v, i) => {
      expect(v).toBeCloseTo([Math.sin(t), 0, Math.cos(t)][i], 12);
    });
    const lean = apparentUp({ pitch: 0, lean: 10 });
    expect(lean[1]).toBeCloseTo(Math.sin(t), 12);
    expect(lean[0]).toBeCloseTo(0, 12);
    const brake = apparentUp({ pitch: 0, lean: 0, acceleration: [-0.6, 0, 0] });
    expect(Math.atan2(-brake[0], brake[2])).toBeCloseTo(Math.atan(0.6), 12);
    expect(() => apparentUp({ pitch: 0, lean: 0, acceleration: [0, 0, -1] })).toThrow(Fault);
  });
});

// Closed forms: air under a vent in the middle of the top, and fuel round a pickup in the middle of the floor, each L^2 W tan(t) / 8;
// with the vent or pickup at the worst end L^2 W tan(t) / 2.
describe('a box of 400 x 300 x 200 leaned by t', () => {
  const want = (t: number): [number, number] => [(0.4 ** 2 * 0.3 * tan(t) * 1e3) / 8, (0.4 ** 2 * 0.3 * tan(t) * 1e3) / 2];

  it.each([
    [5, 0.5249, 2.0997],
    [15, 1.6077, 6.4308],
  ])('%i degrees', (t, middle, end) => {
    expect(want(t)[0]).toBeCloseTo(middle, 4);
    expect(want(t)[1]).toBeCloseTo(end, 4);
    const f = solidField(box(400, 300, 200), [200, 150, 100], 4);
    expect(Math.abs(air(f, t, 0, [[0, 0, 100]]) - middle)).toBeLessThan(0.015);
    expect(Math.abs(fuel(f, t, 0, [[0, 0, -100]]) - middle)).toBeLessThan(0.015);
    expect(Math.abs(air(f, t, 0, [[-200, 0, 100]]) - end)).toBeLessThan(0.03);
    expect(Math.abs(fuel(f, t, 0, [[200, 0, -100]]) - end)).toBeLessThan(0.03);
    // The other way round the worst end is the best one: nothing stays.
    expect(air(f, t, 0, [[200, 0, 100]])).toBeLessThan(0.004);
    expect(fuel(f, -t, 0, [[200, 0, -100]])).toBeLessThan(0.004);
  });

  it('comes closer as the cells shrink, at random offsets', () => {
    const worst = (h: number, seed: number): number => {
      const r = random(seed);
      let most = 0;
      for (let i = 0; i < 3; i++) {
        const f = solidField(box(400, 300, 200), [200, 150, 100], h, [r.next(), r.next(), r.next()]);
        most = Math.max(
          most,
          Math.abs(air(f, 5, 0, [[0, 0, 100]]) - 0.52493),
          Math.abs(fuel(f, 0, 9, [[0, 0, -100]]) - (0.3 ** 2 * 0.4 * tan(9) * 1e3) / 8),
        );
      }
      return most;
    };
    const coarse = worst(10, 1);
    const fine = worst(5, 1);
    expect(coarse).toBeLessThan(0.1);
    expect(fine).toBeLessThan(coarse / 2.5);
  });

  it('turned about z against the grid the box keeps the same wedge', () => {
    const a = 0.4;
    const turned: Solid = (x, y, z) => box(400, 300, 200)(Math.cos(a) * x + Math.sin(a) * y, -Math.sin(a) * x + Math.cos(a) * y, z);
    const f = solidField(turned, [250, 230, 100], 4);
    const t = (5 * Math.PI) / 180;
    const up: Vec3 = [Math.sin(t) * Math.cos(a), Math.sin(t) * Math.sin(a), Math.cos(t)];
    expect(Math.abs(heldBack(f, up, [[0, 0, 100]]).volume / 1e6 - 0.5249)).toBeLessThan(0.015);
  });
});

describe('a lying cylinder, pitched', () => {
  it('the wedge over the vent in the middle equals an integral', () => {
    const R = 100;
    const L = 500;
    const t = (4 * Math.PI) / 180;
    const f = solidField(cylinder(R, L), [L / 2, R, R], 3);
    // Air above the plane through the top middle point; at x the plane stands x tan t below the top line.
    const steps = 2000;
    let want = 0;
    for (let i = 0; i < steps; i++) {
      const d = ((i + 0.5) / steps) * (L / 2) * Math.tan(t);
      const h = Math.min(d, 2 * R);
      want += (R * R * Math.acos((R - h) / R) - (R - h) * Math.sqrt(2 * R * h - h * h)) * (L / 2 / steps);
    }
    expect(Math.abs(heldBack(f, apparentUp({ pitch: 4, lean: 0 }), [[0, 0, R]]).volume - want) / want).toBeLessThan(0.03);
  });
});

describe('shapes with lobes', () => {
  // A saddle over a tube: a box of 300 x 400 x 200 with a tube of radius 60 along x pressed into its floor.
  const saddle = without(box(300, 400, 200), moved(cylinder(60, 400), [0, 0, -100]));

  it('a saddle keeps what lies in the other lobe below the tube, upright and leaned', () => {
    const f = solidField(saddle, [150, 200, 100], 4);
    // One lobe up to the crest of the tube: half the box's floor to a height of 60, less a quarter of the tube.
    const lobe = (300 * (200 * 60 - (Math.PI * 60 * 60) / 4)) / 1e6;
    expect(Math.abs(fuel(f, 0, 0, [[0, -150, -100]]) - lobe)).toBeLessThan(0.03);
    expect(
      fuel(f, 0, 0, [
        [0, -150, -100],
        [0, 150, -100],
      ]),
    ).toBeLessThan(0.01);
    const got = heldBack(f, [0, 0, -1], [[0, -150, -100]]);
    expect(got.pockets.length).toBe(1);
    expect(got.pockets[0].at[1]).toBeGreaterThan(60);
    expect(got.pockets[0].depth).toBeCloseTo(60, 0);
    // A pickup high in a lobe leaves what lies below it there as well.
    expect(Math.abs(fuel(f, 0, 0, [[0, -150, -70]]) - lobe - lobeUpTo(30))).toBeLessThan(0.06);
    expect(air(f, 0, 0, [[0, 0, 100]])).toBeLessThan(0.004);
  });

  /** Litres of one lobe up to `h` over the floor. */
  const lobeUpTo = (h: number): number => {
    let v = 0;
    for (let i = 0; i < 1000; i++) v += (300 * (200 - Math.sqrt(3600 - ((h * (i + 0.5)) / 1000) ** 2)) * h) / 1000;
    return v / 1e6;
  };

  it('an inverted U holds air in its bend when vented at a foot, none when vented on top', () => {
    // Two legs of 100 x 100, 200 apart, joined above by a bridge 100 high.
    const u = union(
      moved(box(300, 100, 100), [0, 0, 150]),
      moved(box(100, 100, 300), [-100, 0, 50]),
      moved(box(100, 100, 300), [100, 0, 50]),
    );
    const f = solidField(u, [150, 50, 200], 4);
    expect(air(f, 0, 0, [[0, 0, 200]])).toBeLessThan(0.004);
    // Vented at the bottom of one leg: everything but nothing below it stays; fuel at one foot strands the other leg.
    expect(Math.abs(air(f, 0, 0, [[-100, 0, -100]]) - (3 + 2 * 2))).toBeLessThan(0.03);
    expect(Math.abs(fuel(f, 0, 0, [[-100, 0, -100]]) - 2)).toBeLessThan(0.02);
  });

  it('a bulge in the roof traps air at its own lip, upright', () => {
    const dome = union(box(300, 300, 100), common(moved(cylinder(60, 200), [50, 0, 50]), box(600, 600, 600)));
    const f = solidField(dome, [150, 150, 110], 4);
    const half = (200 * Math.PI * 60 * 60) / 2 / 1e6;
    expect(Math.abs(air(f, 0, 0, [[-130, -130, 50]]) - half)).toBeLessThan(0.03);
  });
});

describe('exactness on cells', () => {
  it.each([11, 12, 13, 14])('random caverns, seed %i: the held cells are those of a slow search', (seed) => {
    const r = random(seed);
    const grid = gridOver({ min: [0, 0, 0], max: [9, 8, 10] }, 1);
    const f = fieldOf(grid, () => (r.next() < 0.62 ? 2 : -2));
    const up = r.direction();
    const open = [...f.data.keys()].filter((c) => f.data[c] > 0);
    const at = open[r.below(open.length)];
    const p: Vec3 = [grid.origin[0] + (at % 9), grid.origin[1] + (Math.floor(at / 9) % 8), grid.origin[2] + Math.floor(at / 72)];
    expect(cellAt(grid, p)).toBe(at);
    const got = heldBack(f, up, [p]);
    const { step, nx, ny } = grid;
    // Slow: relax the best level of every cell until nothing changes.
    const top = heights(f, up).data;
    top[at] = Math.min(top[at], up[0] * p[0] + up[1] * p[1] + up[2] * p[2]);
    const best = new Float64Array(top.length).fill(-Infinity);
    best[at] = top[at];
    for (let changed = true; changed; ) {
      changed = false;
      for (const c of open)
        for (const d of open) {
          const away =
            Math.abs((c % nx) - (d % nx)) +
            Math.abs((Math.floor(c / nx) % ny) - (Math.floor(d / nx) % ny)) +
            Math.abs(Math.floor(c / (nx * ny)) - Math.floor(d / (nx * ny)));
          const v = away === 1 ? Math.min(best[d], top[c]) : -Infinity;
          if (v > best[c]) {
            best[c] = v;
            changed = true;
          }
        }
    }
    // The field's sign tells which cells are held, wherever a cell's centre is above its lip and the pocket is deep enough to count.
    for (const c of open) {
      const centre = top[c] - step;
      if (c !== at && centre > best[c] + 1e-5) expect(got.field.data[c]).toBeGreaterThan(0);
      if (top[c] <= best[c]) expect(got.field.data[c]).toBeLessThanOrEqual(1e-5);
    }
    expect(open.filter((c) => top[c] > best[c]).length).toBeGreaterThan(20);
  });
});

describe('outlets', () => {
  it('must be at the cavity', () => {
    const f = solidField(box(100, 100, 100), [50, 50, 50], 5);
    expect(() => heldBack(f, [0, 0, 1], [[0, 0, 90]])).toThrow(Fault);
    expect(heldBack(f, [0, 0, 1], [[0, 0, 58]]).volume).toBe(0);
  });
});

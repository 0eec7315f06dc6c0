import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { type Grid, gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { area, moments, pieces, volume, volumeByLabel, volumeOfBoth } from '../../src/field/integrate.ts';
import { anyTurn, ball, both, box, capsule, cylinder, type Depth, halfSpace, not, placed, torus } from '../oracle/solids.ts';

/** A closed form: sizes in mm, volume mm3, area mm2, and the size that counts as "across". */
interface Case {
  readonly name: string;
  readonly solid: Depth;
  readonly volume: number;
  readonly area: number;
  readonly across: number;
  readonly reach: number;
}

const PI = Math.PI;
const leaning: [number, number, number] = [-0.5 / Math.hypot(0.5, 1), 0, 1 / Math.hypot(0.5, 1)];
const CASES: Case[] = [
  { name: 'ball', solid: ball(100), volume: (4 / 3) * PI * 1e6, area: 4 * PI * 1e4, across: 200, reach: 100 },
  {
    name: 'cylinder',
    solid: both(cylinder(100, 2), box([220, 220, 400])),
    volume: PI * 1e4 * 400,
    area: 2 * PI * 100 * 400 + 2 * PI * 1e4,
    across: 200,
    reach: 224,
  },
  {
    name: 'two crossing cylinders (Steinmetz)',
    solid: both(cylinder(100, 0), cylinder(100, 1)),
    volume: 5.33333333e6,
    area: 16e4,
    across: 200,
    reach: 142,
  },
  {
    name: 'three crossing cylinders',
    solid: both(cylinder(100, 0), cylinder(100, 1), cylinder(100, 2)),
    volume: 8 * (2 - Math.SQRT2) * 1e6,
    area: 24 * (2 - Math.SQRT2) * 1e4,
    across: 200,
    reach: 125,
  },
  {
    name: 'cap of height 30 on a ball of 100',
    solid: both(ball(100), halfSpace([0, 0, -1], -70)),
    volume: (PI * 900 * (300 - 30)) / 3,
    area: 2 * PI * 100 * 30 + PI * (1e4 - 4900),
    across: 143,
    reach: 101,
  },
  { name: 'torus', solid: torus(100, 30), volume: 2 * PI * PI * 100 * 900, area: 4 * PI * PI * 100 * 30, across: 130, reach: 130 },
  {
    name: 'capsule',
    solid: capsule(50, 200),
    volume: PI * 2500 * 200 + (4 / 3) * PI * 125e3,
    area: 2 * PI * 50 * 200 + 4 * PI * 2500,
    across: 100,
    reach: 151,
  },
  {
    // Under the plane z = x/2 and over z = 0, within the cylinder: (2/3) R^2 h.
    name: 'ungula (cylinder cut by a plane through a diameter of its foot)',
    solid: both(cylinder(100, 2), halfSpace([0, 0, -1], 0), halfSpace(leaning, 0)),
    volume: (2 / 3) * 1e4 * 50,
    area: 2 * 100 * 50 + (PI * 1e4) / 2 + ((PI * 1e4) / 2) * Math.hypot(1, 0.5),
    across: 100,
    reach: 112,
  },
  {
    name: 'ball of 100 less a through hole of 40',
    solid: both(ball(100), not(cylinder(40, 2))),
    volume: (4 / 3) * PI * (1e4 - 1600) ** 1.5,
    area: 4 * PI * (100 + 40) * Math.sqrt(1e4 - 1600),
    across: 200,
    reach: 101,
  },
  { name: 'box 400 x 300 x 200', solid: box([400, 300, 200]), volume: 24e6, area: 52e4, across: 200, reach: 270 },
];

/** The case's solid turned and shifted at random, on a grid with `cells` cells across it. */
function fieldFor(c: Case, cells: number, seed: number): Field {
  const r = random(seed);
  const step = c.across / cells;
  const half = c.reach + 2 * step;
  const grid = gridOver({ min: [-half, -half, -half], max: [half, half, half] }, step);
  const shift: [number, number, number] = [r.range(-0.5, 0.5) * step, r.range(-0.5, 0.5) * step, r.range(-0.5, 0.5) * step];
  return fieldOf(grid, placed(c.solid, anyTurn(r.normal), shift));
}

const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length);

describe('volume and area against closed forms, 40 cells across, turned and shifted at random', () => {
  for (const c of CASES)
    for (let seed = 1; seed <= 2; seed++)
      it(`${c.name}, seed ${seed}`, () => {
        const field = fieldFor(c, 40, seed);
        expect(Math.abs(volume(field) / c.volume - 1)).toBeLessThan(0.001);
        expect(Math.abs(area(field) / c.area - 1)).toBeLessThan(0.005);
      });
});

describe('order of convergence over three steps', () => {
  for (const c of CASES.filter((c) =>
    ['ball', 'torus', 'capsule', 'cylinder', 'box 400 x 300 x 200', 'two crossing cylinders (Steinmetz)'].includes(c.name),
  ))
    it(`${c.name}, seeds 11 to 15`, () => {
      const seeds = [11, 12, 13, 14, 15];
      const errors = [8, 16, 32].map((cells) => rms(seeds.map((s) => volume(fieldFor(c, cells, s)) / c.volume - 1)));
      expect(Math.log2(errors[0] / errors[2]) / 2).toBeGreaterThan(1.8);
    });
});

describe('integrals', () => {
  const grid: Grid = { origin: [-30, -30, -30], step: 2, nx: 31, ny: 31, nz: 31 };

  it('a half-space is exact whatever its direction and place, seeds 1 to 20', () => {
    // Linear field: no curvature. The cut of the grid's own box, by a fine oracle-free identity: both sides add up to the box.
    for (let seed = 1; seed <= 20; seed++) {
      const r = random(seed);
      const plane = halfSpace(r.direction(), r.range(-40, 40));
      const up = volume(fieldOf(grid, plane));
      const down = volume(fieldOf(grid, not(plane)));
      expect(up + down).toBeCloseTo(62 ** 3, 0);
    }
  });

  it('an axis-parallel slab is exact between cell centres', () => {
    for (const at of [0.1, 0.77, 1.3]) expect(volume(fieldOf(grid, (x) => at - x)) / (62 * 62)).toBeCloseTo(31 + at, 4);
  });

  it('the corner that a slanted plane cuts off a box is a tetrahedron', () => {
    // x + y + z < s measured from the corner of the grid's box: s^3 / 6.
    for (const s of [1, 1.7, 5, 20.3]) {
      const n = 1 / Math.sqrt(3);
      const field = fieldOf(grid, halfSpace([n, n, n], (s - 93) * n));
      expect(volume(field) / (s ** 3 / 6)).toBeCloseTo(1, 5);
      expect(area(field) / ((Math.sqrt(3) / 2) * s * s)).toBeCloseTo(1, 4);
    }
  });

  it('a level is the same as the field less the level', () => {
    expect(volume(fieldOf(grid, ball(20)), 5)).toBeCloseTo(volume(fieldOf(grid, ball(15))), 0);
  });

  it('the least of two fields, seeds 1 to 5', () => {
    for (let seed = 1; seed <= 5; seed++) {
      const r = random(seed);
      const a = ball(20, [r.range(-8, 0), r.range(-5, 5), 0]);
      const b = ball(18, [r.range(0, 8), r.range(-5, 5), 0]);
      expect(volumeOfBoth(fieldOf(grid, a), fieldOf(grid, b))).toBe(volume(fieldOf(grid, both(a, b))));
    }
  });

  it('cells that may not be counted hold -Infinity: the rest keeps its own cubes', () => {
    const field = fieldOf(grid, (x) => (x > 1 ? Number.NEGATIVE_INFINITY : 25));
    expect(volume(field)).toBeCloseTo(16 * 31 * 31 * 8, 6);
    const open = fieldOf(grid, (x) => (x > 1 ? Number.NEGATIVE_INFINITY : Number.POSITIVE_INFINITY));
    expect(volume(open)).toBeCloseTo(16 * 31 * 31 * 8, 6);
  });

  it('centroid and second moments of a half ball and of a box', () => {
    // Half ball: 3R/8 above its flat. Box about its middle: V (b^2 + ...)/12.
    const half = moments(fieldOf(grid, both(ball(24, [0.3, -0.7, -9.6]), halfSpace([0, 0, -1], 9.6))));
    expect(half.centroid[0]).toBeCloseTo(0.3, 2);
    expect(half.centroid[1]).toBeCloseTo(-0.7, 2);
    expect(Math.abs(half.centroid[2] - (-9.6 + 9))).toBeLessThan(0.035);
    const b = moments(fieldOf(grid, placed(box([50, 40, 30]), [1, 0, 0, 0], [0.4, 0.2, -0.6])));
    expect(b.volume / 6e4).toBeCloseTo(1, 3);
    for (const [i, edge] of [50, 40, 30].entries()) expect(b.second[i] / ((6e4 * edge * edge) / 12) - 1).toBeLessThan(0.012);
    for (const i of [3, 4, 5]) expect(Math.abs(b.second[i])).toBeLessThan(1e-3 * b.second[0]);
  });

  it('nothing has no volume and no middle', () => {
    const m = moments(fieldOf(grid, -1));
    expect(m.volume).toBe(0);
    expect(m.centroid[0]).toBeNaN();
    expect(area(fieldOf(grid, -1))).toBe(0);
  });
});

describe('pieces', () => {
  const grid: Grid = { origin: [-50, -30, -30], step: 2, nx: 51, ny: 31, nz: 31 };
  const two: Depth = (x, y, z) => Math.max(ball(15, [-28, 0, 0])(x, y, z), ball(22, [20, 1, 3])(x, y, z));

  it('two balls: largest first, volumes by coverage', () => {
    const { labels, volumes } = pieces(fieldOf(grid, two));
    expect(volumes).toHaveLength(2);
    expect(volumes[0] / ((4 / 3) * PI * 22 ** 3)).toBeCloseTo(1, 2.5);
    expect(volumes[1] / ((4 / 3) * PI * 15 ** 3)).toBeCloseTo(1, 2.5);
    expect(new Set(labels)).toEqual(new Set([-1, 0, 1]));
  });

  it('pieces add up to the whole, random noise fields, seeds 1 to 6', () => {
    for (let seed = 1; seed <= 6; seed++) {
      const r = random(seed);
      const g: Grid = { origin: [0, 0, 0], step: 1, nx: 12, ny: 9, nz: 10 };
      const field = fieldOf(g, () => r.range(-1, 0.6));
      const { labels, volumes } = pieces(field);
      expect(volumes.reduce((a, b) => a + b, 0) / volume(field)).toBeCloseTo(1, 2);
      expect(labels.reduce((n, l, c) => n + (l >= 0 === field.data[c] > 0 ? 0 : 1), 0)).toBe(0);
      for (let i = 1; i < volumes.length; i++) expect(volumes[i]).toBeLessThanOrEqual(volumes[i - 1]);
    }
  });

  it('volume by label: halves of a ball', () => {
    const field = fieldOf(grid, ball(25));
    const labels = Int32Array.from(field.data, (v, c) => (v > 0 ? (c % 51 < 25 ? 0 : 1) : -1));
    const [left, right] = volumeByLabel(field, labels, 2);
    expect(left + right).toBeCloseTo(volume(field), 6);
    // The middle plane of cells goes to the right: a disc of one step is the difference.
    expect((right - left) / (PI * 625 * 2)).toBeGreaterThan(0.98);
    expect((right - left) / (PI * 625 * 2)).toBeLessThan(1.04);
  });
});

describe('faces that fall between cells', () => {
  it('a box whose faces lie on cell faces has its whole area', () => {
    const g = gridOver({ min: [-30, -26, -22], max: [30, 26, 22] }, 2);
    const depth = fieldOf(g, (x, y, z) => Math.min(24 - Math.abs(x), 18 - Math.abs(y), 12 - Math.abs(z)));
    const exact = 2 * (48 * 36 + 36 * 24 + 48 * 24);
    expect(area(depth) / exact).toBeGreaterThan(0.99);
    expect(area(depth) / exact).toBeLessThan(1.01);
  });
});

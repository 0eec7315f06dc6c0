import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { type Box3, distance, type Vec3 } from '../../src/core/vec.ts';
import { type Bottleneck, type NearestTo, widestWay } from '../../src/fit/widest.ts';

/** Cells of 4 mm lie anyhow to what is measured. */
const STEP = 4;
const widest = (box: Box3, nearestTo: NearestTo, from: Vec3, to: Vec3, signed: (p: Vec3) => number): Bottleneck => {
  const field = fieldOf(gridOver(box, STEP), (x, y, z) => signed([x, y, z]));
  const coarse = widestWay(field, { from, to, rim: 0 })!;
  const found = widestWay(field, { from, to, rim: 0 }, nearestTo)!;
  // The grid alone reads too little, by less than it says.
  expect(coarse.radius).toBeLessThanOrEqual(found.radius + 0.01);
  expect(found.radius - coarse.radius).toBeLessThan(coarse.error);
  return found;
};

const boxOf = (x: [number, number], y: [number, number], z: [number, number]): Box3 => ({
  min: [x[0], y[0], z[0]],
  max: [x[1], y[1], z[1]],
});

/** A wall across x, with square doors [middle, width] along y. */
function wall(x: number, doors: readonly (readonly [number, number])[]): Box3[] {
  const out: Box3[] = [];
  let y = -120;
  for (const [m, w] of doors) {
    out.push(boxOf([x, x + 12], [y, m - w / 2], [-40, 40]));
    out.push(
      boxOf([x, x + 12], [m - w / 2, m + w / 2], [-40, -w / 2 - 1.3]),
      boxOf([x, x + 12], [m - w / 2, m + w / 2], [w / 2 - 1.3, 40]),
    );
    y = m + w / 2;
  }
  return [...out, boxOf([x, x + 12], [y, 120], [-40, 40])];
}

const clamp = ({ min, max }: Box3, p: Vec3): Vec3 => [
  Math.min(Math.max(p[0], min[0]), max[0]),
  Math.min(Math.max(p[1], min[1]), max[1]),
  Math.min(Math.max(p[2], min[2]), max[2]),
];

const boxOfRoom = boxOf([-21, 162], [-33, 32], [-22, 23]);

describe('the widest way, its narrowest place by exact distances', () => {
  it('a maze of doors: the way through the widest of the narrowest, which the grid cannot tell apart', () => {
    const boxes = [
      ...wall(0.7, [[-71.3, 16.1], [-3.9, 18.2], [64.4, 17.1]]), // biome-ignore format: one a line
      ...wall(61.2, [[-66.1, 17.6], [-22.7, 15.2], [40.3, 16.9]]), // biome-ignore format: one a line
      ...wall(119.5, [
        [-80.2, 16.3],
        [55.1, 18.9],
      ]),
      ...[boxOf([-80, 200], [-130, -120], [-40, 40]), boxOf([-80, 200], [120, 130], [-40, 40])],
      ...[boxOf([-80, 200], [-130, 130], [-50, -40]), boxOf([-80, 200], [-130, 130], [40, 50])],
    ];
    const nearestTo: NearestTo = (p) =>
      boxes.map((b) => ({ at: clamp(b, p), off: 0 })).reduce((a, b) => (distance(b.at, p) < distance(a.at, p) ? b : a));
    const signed = (p: Vec3): number =>
      Math.min(...boxes.map((b) => distance(clamp(b, p), p) || -Math.min(...p.map((v, a) => Math.min(v - b.min[a], b.max[a] - v)))));
    const found = widest(boxOf([-80, 200], [-130, 130], [-50, 50]), nearestTo, [-50, 0, 0], [170, 0, 0], signed);
    // 18.2, then 17.6, then 18.9 wide.
    expect(Math.abs(found.radius - 8.8)).toBeLessThanOrEqual(found.error + 1e-6);
    expect(found.error).toBeLessThan(0.05);
    expect(Math.abs(found.at[0] - 67.2)).toBeLessThan(7);
    expect(Math.abs(found.at[1] + 66.1)).toBeLessThan(2);
  });

  it('a straight pipe and an elbow: their radius', () => {
    const r = 15.3;
    const bend = 60;
    // Along x to the origin, a quarter circle about (0, bend), then along y.
    const centreOf = ([x, y]: Vec3): Vec3 => {
      if (x < 0) return [x, 0, 0];
      if (y > bend) return [bend, y, 0];
      const t = Math.hypot(x, y - bend) || 1;
      return [(bend * x) / t, bend + (bend * (y - bend)) / t, 0];
    };
    for (const line of [centreOf, ([x]: Vec3): Vec3 => [x, 0, 0]]) {
      const nearestTo: NearestTo = (p) => {
        const c = line(p);
        const d = distance(p, c);
        const out: Vec3 = d > 1e-9 ? [(p[0] - c[0]) / d, (p[1] - c[1]) / d, (p[2] - c[2]) / d] : [0, 0, 1];
        return { at: [c[0] + r * out[0], c[1] + r * out[1], c[2] + r * out[2]], off: 0 };
      };
      const to: Vec3 = line === centreOf ? [bend, 140, 0] : [70, 0, 0];
      const found = widest(boxOf([-83, 83], [-23, 163], [-21, 21]), nearestTo, [-70, 0, 0], to, (p) => r - distance(p, line(p)));
      expect(Math.abs(found.radius - r)).toBeLessThanOrEqual(0.02);
    }
  });

  it('by the rim of an end: the widest place of its ball, where two plates leave the end', () => {
    // Plates z = +-(6 + 0.05 x): an end at zero, its ball of 15 mm; outwards there is ever more room, so the rim is the narrowest place.
    const [open, slope, rim] = [6, 0.05, 15];
    const c = Math.hypot(1, slope);
    const nearestTo: NearestTo = (p) => {
      const d = (open + slope * p[0] - Math.abs(p[2])) / c;
      const up = Math.sign(p[2]) || 1;
      return { at: [p[0] - (d * slope) / c, p[1], p[2] + (up * d) / c], off: 0 };
    };
    const field = fieldOf(gridOver(boxOfRoom, STEP), (x, y, z) =>
      Math.hypot(x, y, z) <= rim ? 50 : Math.hypot(y, z) > 30 || x < -20 ? -1 : (open + slope * x - Math.abs(z)) / c,
    );
    const found = widestWay(field, { from: [0, 0, 0], to: [150, 0, 0], rim }, nearestTo)!;
    // On the ball of 15 mm the greatest distance is straight ahead.
    expect(Math.abs(found.radius - (open + slope * rim) / c)).toBeLessThanOrEqual(found.error + 1e-6);
    expect(found.error).toBeLessThan(0.05);
  });

  it('a rounded lip in a plate, and what stands out from its surface', () => {
    const [R, lip, off] = [31.7, 9.4, 1.5];
    const nearestTo: NearestTo = (p) => {
      const across = Math.hypot(p[0], p[1]) || 1e-9;
      const c: Vec3 = [(R * p[0]) / across, (R * p[1]) / across, 0];
      const d = distance(p, c);
      const ring = { at: [0, 1, 2].map((a) => c[a] + (lip * (p[a] - c[a])) / d), off };
      const plate: Vec3 = across > R ? [p[0], p[1], 0] : c;
      return { at: distance(p, plate) - 0.1 < d - lip ? plate : [ring.at[0], ring.at[1], ring.at[2]], off };
    };
    const signed = (p: Vec3): number => {
      const d = Math.hypot(Math.hypot(p[0], p[1]) - R, p[2]) - lip;
      return (Math.hypot(p[0], p[1]) > R ? Math.min(d, Math.abs(p[2]) - 2) : d) - off;
    };
    const found = widest(boxOf([-61, 62], [-63, 60], [-51.5, 50]), nearestTo, [5, 3, -45], [2, -4, 45], signed);
    expect(Math.abs(found.radius - (R - lip - off))).toBeLessThanOrEqual(0.02);
    expect(Math.hypot(...found.at)).toBeLessThan(0.5);
    expect(found.error).toBeLessThan(0.05);
  });
});

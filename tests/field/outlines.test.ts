import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { cross, dot, frameOf, length, sub, type Vec3 } from '../../src/core/vec.ts';
import { outlines, type Polyline, polylineArea, type SectionPlane } from '../../src/field/outlines.ts';

const W = 60;
const grid = gridOver({ min: [-W, -W, -W], max: [W, W, W] }, 2);
const total = (lines: readonly Polyline[]): number => lines.reduce((s, l) => s + polylineArea(l), 0);

describe('outlines on a plane', () => {
  it.each([1, 2, 3, 4])('ball cut at a random turn and height is a circle, seed %i', (seed) => {
    const r = random(seed);
    const at: Vec3 = [r.range(-2, 2), r.range(-2, 2), r.range(-2, 2)];
    const field = fieldOf(grid, (x, y, z) => 45 - length(sub([x, y, z], at)));
    const d = r.direction();
    const [u, v] = frameOf(d);
    const height = r.range(-20, 20);
    const origin: Vec3 = [at[0] + d[0] * height, at[1] + d[1] * height, at[2] + d[2] * height];
    const lines = outlines(field, { origin, u, v }, { step: 1 });
    expect(lines.length).toBe(1);
    const radius = Math.sqrt(45 * 45 - height * height);
    expect(Math.abs(total(lines) / (Math.PI * radius * radius) - 1)).toBeLessThan(3e-3);
    // Every point on the circle within the field's own interpolation error, step^2 / (8 R) a direction.
    const p = lines[0].points;
    for (let i = 0; i < p.length; i += 2) expect(Math.abs(Math.hypot(p[i], p[i + 1]) - radius)).toBeLessThan(0.05);
  });

  it('torus cut across gives two circles, along gives a ring with a hole that runs the other way', () => {
    const field = fieldOf(grid, (x, y, z) => 15 - Math.hypot(Math.hypot(x, y) - 35, z));
    const across = outlines(field, { origin: [0, 0, 0], u: [1, 0, 0], v: [0, 0, 1] });
    expect(across.length).toBe(2);
    expect(total(across) / (2 * Math.PI * 225)).toBeCloseTo(1, 1.8);
    const ring = outlines(field, { origin: [0, 0, 0], u: [1, 0, 0], v: [0, 1, 0] });
    expect(ring.map((l) => Math.sign(polylineArea(l)))).toEqual([1, -1]);
    expect(total(ring) / (Math.PI * (50 ** 2 - 20 ** 2))).toBeCloseTo(1, 2);
  });

  it('a set that fills the grid is cut off at the box of its cells', () => {
    const plane: SectionPlane = { origin: [0.3, 0.2, 5], u: [1, 0, 0], v: [0, 1, 0] };
    const lines = outlines(fieldOf(grid, 1), plane, { step: 3 });
    // The lattice rounds the four corners off: at most half a square each.
    expect(total(lines)).toBeGreaterThan(4 * W * W - 4 * 4.5 - 1e-6);
    expect(total(lines)).toBeLessThanOrEqual(4 * W * W + 1e-6);
    expect(outlines(fieldOf(grid, 1), { ...plane, origin: [0, 0, 61] })).toEqual([]);
    expect(outlines(fieldOf(grid, -1), plane)).toEqual([]);
  });

  it.each([1, 2, 3])('noise: every line is closed, none repeats a point, areas add up, seed %i', (seed) => {
    const r = random(seed);
    const field = fieldOf(gridOver({ min: [0, 0, 0], max: [30, 30, 30] }, 1), () => r.normal());
    const [u, v] = frameOf([0.48, 0.6, 0.64]);
    const lines = outlines(field, { origin: [15, 15, 15], u, v });
    expect(lines.length).toBeGreaterThan(20);
    const seen = new Set<string>();
    for (const l of lines) {
      expect(l.points.length).toBeGreaterThanOrEqual(6);
      for (let i = 0; i < l.points.length; i += 2) {
        const key = `${l.points[i]},${l.points[i + 1]}`;
        expect(seen.has(key)).toBe(false);
        seen.add(key);
        // Steps from point to point stay within one lattice square.
        const j = (i + 2) % l.points.length;
        expect(Math.hypot(l.points[i] - l.points[j], l.points[i + 1] - l.points[j + 1])).toBeLessThanOrEqual(Math.SQRT2 + 1e-9);
      }
    }
    expect(dot(cross(u, v), [0.48, 0.6, 0.64])).toBeCloseTo(1, 9);
  });
});

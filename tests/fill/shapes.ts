import { type Field, fieldOf } from '../../src/core/field.ts';
import { type Grid, gridOver } from '../../src/core/grid.ts';
import type { Vec3 } from '../../src/core/vec.ts';

/** Signed distances of plain solids about the origin, positive inside, mm. */
export type Solid = (x: number, y: number, z: number) => number;

export const box =
  (lx: number, ly: number, lz: number): Solid =>
  (x, y, z) => {
    const a = Math.abs(x) - lx / 2;
    const b = Math.abs(y) - ly / 2;
    const c = Math.abs(z) - lz / 2;
    return -(Math.hypot(Math.max(a, 0), Math.max(b, 0), Math.max(c, 0)) + Math.min(Math.max(a, b, c), 0));
  };

/** A cylinder lying along x with flat ends. */
export const cylinder =
  (radius: number, long: number): Solid =>
  (x, y, z) => {
    const a = Math.hypot(y, z) - radius;
    const b = Math.abs(x) - long / 2;
    return -(Math.hypot(Math.max(a, 0), Math.max(b, 0)) + Math.min(Math.max(a, b), 0));
  };

export const moved =
  (s: Solid, by: Vec3): Solid =>
  (x, y, z) =>
    s(x - by[0], y - by[1], z - by[2]);
export const union =
  (...all: Solid[]): Solid =>
  (x, y, z) =>
    Math.max(...all.map((s) => s(x, y, z)));
export const without =
  (a: Solid, b: Solid): Solid =>
  (x, y, z) =>
    Math.min(a(x, y, z), -b(x, y, z));
export const common =
  (a: Solid, b: Solid): Solid =>
  (x, y, z) =>
    Math.min(a(x, y, z), b(x, y, z));

/** A grid over a box about the origin with room round it, shifted by part of a cell so that nothing lies on a cell by luck. */
export function gridAbout(half: Vec3, step: number, shift: Vec3 = [0.31, -0.17, 0.23]): Grid {
  const room = 3 * step;
  const s = shift.map((v) => v * step);
  return gridOver(
    {
      min: [-half[0] - room + s[0], -half[1] - room + s[1], -half[2] - room + s[2]],
      max: [half[0] + room + s[0], half[1] + room + s[1], half[2] + room + s[2]],
    },
    step,
  );
}

export const solidField = (solid: Solid, half: Vec3, step: number, shift?: Vec3): Field => fieldOf(gridAbout(half, step, shift), solid);

/** Simpson's rule over [a, b] with 2n steps. */
export function simpson(f: (t: number) => number, a: number, b: number, n = 2000): number {
  const h = (b - a) / (2 * n);
  let sum = f(a) + f(b);
  for (let i = 1; i < 2 * n; i++) sum += f(a + i * h) * (i % 2 === 1 ? 4 : 2);
  return (sum * h) / 3;
}

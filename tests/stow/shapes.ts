import { type Field, fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import type { Budget } from '../../src/stow/budget.ts';

export type Solid = (x: number, y: number, z: number) => number;

/** A box about the origin turned about z by `turn` radians, positive inside. */
export const box =
  (lx: number, ly: number, lz: number, turn = 0): Solid =>
  (x, y, z) => {
    const c = Math.cos(turn);
    const s = Math.sin(turn);
    const a = Math.abs(c * x + s * y) - lx / 2;
    const b = Math.abs(-s * x + c * y) - ly / 2;
    const d = Math.abs(z) - lz / 2;
    return -(Math.hypot(Math.max(a, 0), Math.max(b, 0), Math.max(d, 0)) + Math.min(Math.max(a, b, d), 0));
  };

export const ball =
  (r: number): Solid =>
  (x, y, z) =>
    r - Math.hypot(x, y, z);

/** An upright cylinder. */
export const can =
  (r: number, tall: number): Solid =>
  (x, y, z) => {
    const a = Math.hypot(x, y) - r;
    const b = Math.abs(z) - tall / 2;
    return -(Math.hypot(Math.max(a, 0), Math.max(b, 0)) + Math.min(Math.max(a, b), 0));
  };

export function fieldIn(solid: Solid, half: Vec3, step: number, shift: Vec3 = [0.31, -0.17, 0.23]): Field {
  const room = 2 * step;
  const s = shift.map((v) => v * step);
  const min: Vec3 = [-half[0] - room + s[0], -half[1] - room + s[1], -half[2] - room + s[2]];
  const max: Vec3 = [half[0] + room + s[0], half[1] + room + s[1], half[2] + room + s[2]];
  return fieldOf(gridOver({ min, max }, step), solid);
}

/** A budget counted in questions rather than seconds, so that tests do not hang on the machine's speed. */
export function questions(n: number): Budget {
  let asked = 0;
  return { now: () => asked++, seconds: n };
}

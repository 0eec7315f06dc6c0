import type { Vec3 } from '../../src/core/vec.ts';

/** Depth inside a solid, mm, negative outside. */
export type Depth = (x: number, y: number, z: number) => number;

export const ball =
  (r: number, [cx, cy, cz]: Vec3 = [0, 0, 0]): Depth =>
  (x, y, z) =>
    r - Math.hypot(x - cx, y - cy, z - cz);

/** Endless cylinder along an axis (0, 1, 2) through the origin. */
export const cylinder =
  (r: number, axis: number): Depth =>
  (x, y, z) =>
    r - (axis === 0 ? Math.hypot(y, z) : axis === 1 ? Math.hypot(x, z) : Math.hypot(x, y));

/** Where n . p < d, n a unit vector. */
export const halfSpace =
  (n: Vec3, d: number): Depth =>
  (x, y, z) =>
    d - (n[0] * x + n[1] * y + n[2] * z);

/** Box of the given edges about the origin, exact distance inside and out. */
export const box =
  ([a, b, c]: Vec3): Depth =>
  (x, y, z) => {
    const dx = Math.abs(x) - a / 2;
    const dy = Math.abs(y) - b / 2;
    const dz = Math.abs(z) - c / 2;
    return -(Math.hypot(Math.max(dx, 0), Math.max(dy, 0), Math.max(dz, 0)) + Math.min(Math.max(dx, dy, dz), 0));
  };

/** Ring of radius R about z, round bar of radius r. */
export const torus =
  (R: number, r: number): Depth =>
  (x, y, z) =>
    r - Math.hypot(Math.hypot(x, y) - R, z);

/** All points within r of a segment of length L along z. */
export const capsule =
  (r: number, L: number): Depth =>
  (x, y, z) =>
    r - Math.hypot(x, y, Math.max(Math.abs(z) - L / 2, 0));

export const both =
  (...parts: Depth[]): Depth =>
  (x, y, z) => {
    let v = Infinity;
    for (const p of parts) v = Math.min(v, p(x, y, z));
    return v;
  };

export const either =
  (...parts: Depth[]): Depth =>
  (x, y, z) => {
    let v = -Infinity;
    for (const p of parts) v = Math.max(v, p(x, y, z));
    return v;
  };

export const not =
  (part: Depth): Depth =>
  (x, y, z) =>
    -part(x, y, z);

/** The solid moved: turned by the rotation with the unit quaternion q = (w, x, y, z), then shifted by t. */
export function placed(part: Depth, q: readonly number[], t: Vec3): Depth {
  const m = matrixOf(q);
  return (x, y, z) => {
    const u = x - t[0];
    const v = y - t[1];
    const w = z - t[2];
    // The transpose turns back.
    return part(m[0] * u + m[3] * v + m[6] * w, m[1] * u + m[4] * v + m[7] * w, m[2] * u + m[5] * v + m[8] * w);
  };
}

/** Row-major rotation matrix of a unit quaternion (w, x, y, z). */
export function matrixOf([w, x, y, z]: readonly number[]): number[] {
  return [
    1 - 2 * (y * y + z * z),
    2 * (x * y - w * z),
    2 * (x * z + w * y),
    2 * (x * y + w * z),
    1 - 2 * (x * x + z * z),
    2 * (y * z - w * x),
    2 * (x * z - w * y),
    2 * (y * z + w * x),
    1 - 2 * (x * x + y * y),
  ];
}

/** A unit quaternion, uniform over the rotations. */
export function anyTurn(normal: () => number): number[] {
  const q = [normal(), normal(), normal(), normal()];
  const n = Math.hypot(...q);
  return q.map((v) => v / n);
}

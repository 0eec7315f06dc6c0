import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { cross, dot, normalize, type Vec3 } from '../core/vec.ts';

/** Three rows of a rotation, or of any 3x3 matrix. */
export type Rows = readonly [Vec3, Vec3, Vec3];

/** Rows of the rotation that turns by `turn` degrees about the fixed axes x, then y, then z (right-handed): p' = rows * p. */
export function turnRows(turn: Vec3): Rows {
  const [a, b, c] = turn.map((d) => d * RADIANS_PER_DEGREE);
  const [sa, ca, sb, cb, sc, cc] = [Math.sin(a), Math.cos(a), Math.sin(b), Math.cos(b), Math.sin(c), Math.cos(c)];
  return [
    [cc * cb, cc * sb * sa - sc * ca, cc * sb * ca + sc * sa],
    [sc * cb, sc * sb * sa + cc * ca, sc * sb * ca - cc * sa],
    [-sb, cb * sa, cb * ca],
  ];
}

export const determinant = (m: Rows): number => dot(m[0], cross(m[1], m[2]));

/** The rotation nearest to `m` (polar factor, by Newton's iteration), for a matrix that is already close to one. */
export function nearestRotation(m: Rows): Rows {
  let r = m;
  for (let pass = 0; pass < 12; pass++) {
    const d = determinant(r);
    const cofactors: Rows = [cross(r[1], r[2]), cross(r[2], r[0]), cross(r[0], r[1])];
    const mean = (i: number): Vec3 => [0, 1, 2].map((j) => (r[i][j] + cofactors[i][j] / d) / 2) as [number, number, number];
    r = [mean(0), mean(1), mean(2)];
  }
  return r;
}

/**
 * Directions of an outline's two coordinates in the plane with unit normal `normal`: v points as far up as the plane allows, u is
 * horizontal, on the side where its largest component is positive. So an outline across x has points [y, z], across y [x, z],
 * and one across z, seen from above, [x, y].
 */
export function outlineFrame(normal: Vec3): { u: Vec3; v: Vec3 } {
  if (Math.hypot(normal[0], normal[1]) < 1e-9) return { u: [1, 0, 0], v: [0, 1, 0] };
  const side = normalize([-normal[1], normal[0], 0]);
  const sign = (Math.abs(side[0]) >= Math.abs(side[1]) ? side[0] : side[1]) < 0 ? -1 : 1;
  const u: Vec3 = [side[0] * sign, side[1] * sign, 0];
  const up = cross(u, normal);
  return { u, v: up[2] < 0 ? [-up[0], -up[1], -up[2]] : up };
}

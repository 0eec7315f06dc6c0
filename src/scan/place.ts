import { SingularValueDecomposition } from 'ml-matrix';
import { add, cross, dot, scale, sub, type Vec3 } from '../core/vec.ts';
import type { Rows } from '../job/turn.ts';

/** A rigid motion, mm: p' = rows p + shift. */
export interface Rigid {
  readonly rows: Rows;
  readonly shift: Vec3;
}

export const STAY: Rigid = {
  rows: [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ],
  shift: [0, 0, 0],
};

export const turnBy = (m: Rows, p: Vec3): Vec3 => [dot(m[0], p), dot(m[1], p), dot(m[2], p)];
export const moveBy = (m: Rigid, p: Vec3): Vec3 => add(turnBy(m.rows, p), m.shift);

/** First `b`, then `a`. */
export function after(a: Rigid, b: Rigid): Rigid {
  const column = (j: number): Vec3 => [b.rows[0][j], b.rows[1][j], b.rows[2][j]];
  const row = (i: number): Vec3 => [dot(a.rows[i], column(0)), dot(a.rows[i], column(1)), dot(a.rows[i], column(2))];
  return { rows: [row(0), row(1), row(2)], shift: moveBy(a, b.shift) };
}

export function inverse({ rows: m, shift }: Rigid): Rigid {
  const rows: Rows = [
    [m[0][0], m[1][0], m[2][0]],
    [m[0][1], m[1][1], m[2][1]],
    [m[0][2], m[1][2], m[2][2]],
  ];
  return { rows, shift: scale(turnBy(rows, shift), -1) };
}

/** A turn by |w| radians about the axis w (Rodrigues) through `centre`, then a shift by t. */
export function smallMotion(w: Vec3, t: Vec3, centre: Vec3): Rigid {
  const angle = Math.hypot(...w);
  const u: Vec3 = angle > 0 ? scale(w, 1 / angle) : [1, 0, 0];
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  const column = (e: Vec3): Vec3 => add(add(scale(e, c), scale(cross(u, e), s)), scale(u, dot(u, e) * (1 - c)));
  const x = column([1, 0, 0]);
  const y = column([0, 1, 0]);
  const z = column([0, 0, 1]);
  const rows: Rows = [
    [x[0], y[0], z[0]],
    [x[1], y[1], z[1]],
    [x[2], y[2], z[2]],
  ];
  return { rows, shift: add(sub(centre, turnBy(rows, centre)), t) };
}

/** The turn between two motions, degrees. */
export function turnBetween(a: Rigid, b: Rigid): number {
  const trace = [0, 1, 2].reduce((s, i) => s + dot(a.rows[i], b.rows[i]), 0);
  // From the sine as well, since the cosine alone cannot tell small angles.
  const d = after(a, inverse(b)).rows;
  const sine = Math.hypot(d[2][1] - d[1][2], d[0][2] - d[2][0], d[1][0] - d[0][1]) / 2;
  return (Math.atan2(sine, (trace - 1) / 2) * 180) / Math.PI;
}

export interface RigidFit {
  readonly placing: Rigid;
  /** Distance of each moved point from its partner, mm. */
  readonly residuals: readonly number[];
  /** Root mean square of the residuals, mm. */
  readonly rms: number;
  /** How much larger the moved points would have to be to fit best, as a share: 0.001 is 0.1 %. Never applied. */
  readonly scaleError: number;
  /** Root mean square spread of the points along their three main axes, mm, largest first: a small second one means they lie on a line. */
  readonly spread: Vec3;
}

/**
 * The rigid motion that brings `moving[i]` nearest to `fixed[i]` in the least-squares sense; at least three points. Reflections are
 * excluded and the scale stays 1 (Umeyama, IEEE PAMI 13(4), 1991; Arun, Huang, Blostein, IEEE PAMI 9(5), 1987).
 */
export function fitRigid(moving: readonly Vec3[], fixed: readonly Vec3[]): RigidFit {
  const n = moving.length;
  const from = centroid(moving);
  const to = centroid(fixed);
  const h = [new Float64Array(3), new Float64Array(3), new Float64Array(3)];
  let size = 0;
  for (let i = 0; i < n; i++) {
    const p = sub(moving[i], from);
    const q = sub(fixed[i], to);
    size += dot(p, p);
    for (let r = 0; r < 3; r++) for (let c = 0; c < 3; c++) h[r][c] += q[r] * p[c];
  }
  const svd = new SingularValueDecomposition(
    h.map((row) => [...row]),
    { autoTranspose: true },
  );
  const u = svd.leftSingularVectors;
  const v = svd.rightSingularVectors;
  const column = (m: typeof u, j: number): Vec3 => [m.get(0, j), m.get(1, j), m.get(2, j)];
  const flip = det(column(u, 0), column(u, 1), column(u, 2)) * det(column(v, 0), column(v, 1), column(v, 2)) < 0 ? -1 : 1;
  const at = (i: number, j: number): number => u.get(i, 0) * v.get(j, 0) + u.get(i, 1) * v.get(j, 1) + flip * u.get(i, 2) * v.get(j, 2);
  const row = (i: number): Vec3 => [at(i, 0), at(i, 1), at(i, 2)];
  const rows: Rows = [row(0), row(1), row(2)];
  const placing: Rigid = { rows, shift: sub(to, turnBy(rows, from)) };
  const residuals = moving.map((p, i) => Math.hypot(...sub(moveBy(placing, p), fixed[i])));
  const [s0, s1, s2] = svd.diagonal;
  return {
    placing,
    residuals,
    rms: Math.sqrt(residuals.reduce((s, e) => s + e * e, 0) / n),
    scaleError: size > 0 ? (s0 + s1 + flip * s2) / size - 1 : 0,
    spread: spreadOf(fixed),
  };
}

const det = (a: Vec3, b: Vec3, c: Vec3): number => dot(a, cross(b, c));

export function centroid(points: readonly Vec3[]): Vec3 {
  return scale(points.reduce<Vec3>(add, [0, 0, 0]), 1 / points.length);
}

/** Main axes of a set of points as unit vectors, and the root mean square spread along each, largest first. */
export function mainAxes(points: readonly Vec3[]): { axes: readonly [Vec3, Vec3, Vec3]; spread: Vec3 } {
  const c = centroid(points);
  const m = [
    [0, 0, 0],
    [0, 0, 0],
    [0, 0, 0],
  ];
  for (const p of points) {
    const d = sub(p, c);
    for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) m[i][j] += (d[i] * d[j]) / points.length;
  }
  const svd = new SingularValueDecomposition(m, { autoTranspose: true });
  const v = svd.leftSingularVectors;
  const axis = (j: number): Vec3 => [v.get(0, j), v.get(1, j), v.get(2, j)];
  const [a, b, d] = svd.diagonal.map((x) => Math.sqrt(Math.max(0, x)));
  return { axes: [axis(0), axis(1), axis(2)], spread: [a, b, d] };
}

const spreadOf = (points: readonly Vec3[]): Vec3 => mainAxes(points).spread;

/**
 * Expected error, mm (root mean square), of a placing from N fitted targets at the point `at`: TRE^2 = FLE^2 / N (1 + (1/3) sum d^2 / f^2),
 * d the distance of the point from main axis k of the targets, f the targets' own root mean square distance from it. `residual` is the
 * fit's rms, from which the error of one target follows by FLE^2 = rms^2 N / (N - 2).
 * (Fitzpatrick, West, Maurer, IEEE TMI 17(5), 1998: recalled, original not seen.) Infinity for fewer than three targets or targets on a line.
 */
export function targetError(targets: readonly Vec3[], residual: number, at: Vec3): number {
  const n = targets.length;
  if (n < 3) return Number.POSITIVE_INFINITY;
  const { axes, spread } = mainAxes(targets);
  const d = sub(at, centroid(targets));
  let sum = 0;
  for (let k = 0; k < 3; k++) {
    const along = dot(d, axes[k]);
    const f2 = spread[(k + 1) % 3] ** 2 + spread[(k + 2) % 3] ** 2;
    sum += (dot(d, d) - along * along) / f2;
  }
  const fle2 = (residual * residual * n) / (n - 2);
  return Math.sqrt((fle2 / n) * (1 + sum / 3));
}

/** Median and 95th percentile of a list of numbers. */
export function quantiles(values: readonly number[]): { median: number; p95: number } {
  const s = [...values].sort((a, b) => a - b);
  const at = (q: number): number => s[Math.min(s.length - 1, Math.floor(q * s.length))] ?? Number.NaN;
  return { median: at(0.5), p95: at(0.95) };
}

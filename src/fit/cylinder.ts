import { CholeskyDecomposition, EigenvalueDecomposition, Matrix } from 'ml-matrix';
import { add, dot, frameOf, normalize, scale, type Vec3 } from '../core/vec.ts';
import type { Points } from './points.ts';

/** A piece of a tube: a point on its axis, the axis (unit vector), its radius, mm. */
export interface Cylinder {
  readonly centre: Vec3;
  readonly axis: Vec3;
  readonly radius: number;
}

export interface CylinderFit extends Cylinder {
  /** How the axis bends at the centre, 1/mm, towards the inside of the bend; zero for a straight fit. */
  readonly curvature: Vec3;
  /** Scatter of the points about the surface, mm, and standard error of the radius, mm. */
  readonly scatter: number;
  readonly radiusError: number;
  /** Points that agree with it. */
  readonly used: number;
}

/** Least spread of normals (mean square across the middle direction) that tells a round patch from a flat one. */
const FLAT = 0.012;
/** Most spread along the axis: noise of the normals, not a second curvature. */
const BUMPY = 0.08;
const ROUNDS = 8;

/**
 * A first guess from the points `near`: on a cylinder all normals are square to the axis, so it is the direction in which they
 * vary least; across it, centre and radius follow from p = c + r n, which is linear. Undefined where the patch is flat, bent
 * both ways, hollow, or not round.
 */
export function guessCylinder({ position, normal }: Points, near: readonly number[]): Cylinder | undefined {
  if (near.length < 12) return undefined;
  const s = new Float64Array(9);
  for (const i of near) for (let a = 0; a < 3; a++) for (let b = 0; b < 3; b++) s[3 * a + b] += normal[3 * i + a] * normal[3 * i + b];
  const spread = new EigenvalueDecomposition(
    Matrix.from1DArray(
      3,
      3,
      Array.from(s, (v) => v / near.length),
    ),
    { assumeSymmetric: true },
  );
  const [least, middle] = spread.realEigenvalues;
  if (middle < FLAT || least > middle / 2 || least > BUMPY) return undefined;
  const axis = normalize([spread.eigenvectorMatrix.get(0, 0), spread.eigenvectorMatrix.get(1, 0), spread.eigenvectorMatrix.get(2, 0)]);
  const [u, v] = frameOf(axis);
  const mean = [0, 0, 0, 0];
  const flat = near.map((i) => [
    position[3 * i] * u[0] + position[3 * i + 1] * u[1] + position[3 * i + 2] * u[2],
    position[3 * i] * v[0] + position[3 * i + 1] * v[1] + position[3 * i + 2] * v[2],
    normal[3 * i] * u[0] + normal[3 * i + 1] * u[1] + normal[3 * i + 2] * u[2],
    normal[3 * i] * v[0] + normal[3 * i + 1] * v[1] + normal[3 * i + 2] * v[2],
  ]);
  for (const f of flat) for (let q = 0; q < 4; q++) mean[q] += f[q] / near.length;
  let top = 0;
  let bottom = 0;
  for (const f of flat) {
    top += (f[0] - mean[0]) * (f[2] - mean[2]) + (f[1] - mean[1]) * (f[3] - mean[3]);
    bottom += (f[2] - mean[2]) ** 2 + (f[3] - mean[3]) ** 2;
  }
  const radius = top / bottom;
  if (!(radius > 0)) return undefined;
  const x = mean[0] - radius * mean[2];
  const y = mean[1] - radius * mean[3];
  let along = 0;
  for (const i of near) along += (position[3 * i] * axis[0] + position[3 * i + 1] * axis[1] + position[3 * i + 2] * axis[2]) / near.length;
  return { centre: placed(axis, [x, y, along]), axis, radius };
}

/** The point with coordinates x, y across and z along an axis, about the origin. */
function placed(axis: Vec3, [x, y, z]: Vec3): Vec3 {
  const [u, v] = frameOf(axis);
  return [u[0] * x + v[0] * y + axis[0] * z, u[1] * x + v[1] * y + axis[1] * z, u[2] * x + v[2] * y + axis[2] * z];
}

export interface FitOptions {
  /** Expected scatter, mm: points far outside it count little (Tukey's weights). */
  readonly noise: number;
  /** Let the axis be a parabola: for short pieces of a bend. */
  readonly curved?: boolean;
  /** Keep the radius of the guess. */
  readonly keepRadius?: boolean;
}

/**
 * The cylinder nearest to the points by geometric distance: Gauss-Newton on shift and tilt of the axis, its bend if asked, and the
 * radius (Lukacs, Martin, Marshall, Faithful Least-Squares Fitting of Spheres, Cylinders, Cones and Tori, ECCV 1998), re-weighted
 * so that points of other parts do not pull. Undefined when it does not settle.
 */
export function fitCylinder({ position }: Points, near: readonly number[], guess: Cylinder, options: FitOptions): CylinderFit | undefined {
  let { centre, axis, radius } = guess;
  let curvature: Vec3 = [0, 0, 0];
  // Unknowns, all as lengths: shift x, y; tilt x, y (at one radius along); bend x, y (likewise); radius.
  const shape = options.curved ? 6 : 4;
  const size = options.keepRadius ? shape : shape + 1;
  const row = new Float64Array(7);
  let width = Math.max(options.noise * 3, radius * 0.05);
  let scatter = width;
  let used = 0;
  let radiusError = Infinity;
  for (let round = 0; round < ROUNDS; round++) {
    const [u, v] = frameOf(axis);
    const [ku, kv] = [dot(curvature, u), dot(curvature, v)];
    const normal = new Float64Array(49);
    const right = new Float64Array(7);
    let weights = 0;
    let squares = 0;
    let middle = 0;
    used = 0;
    for (const i of near) {
      const q0 = position[3 * i] - centre[0];
      const q1 = position[3 * i + 1] - centre[1];
      const q2 = position[3 * i + 2] - centre[2];
      const t = q0 * axis[0] + q1 * axis[1] + q2 * axis[2];
      const x = q0 * u[0] + q1 * u[1] + q2 * u[2] - (ku * t * t) / 2;
      const y = q0 * v[0] + q1 * v[1] + q2 * v[2] - (kv * t * t) / 2;
      const r = Math.sqrt(x * x + y * y);
      const e = r - radius;
      const k = e / (3 * width);
      if (r === 0 || k * k >= 1) continue;
      const w = (1 - k * k) ** 2;
      used++;
      weights += w;
      squares += w * e * e;
      middle += w * t;
      const along = t / radius;
      row[0] = x / r;
      row[1] = y / r;
      row[2] = along * row[0];
      row[3] = along * row[1];
      row[4] = along * row[2];
      row[5] = along * row[3];
      row[shape] = 1;
      for (let a = 0; a < size; a++) {
        right[a] += w * row[a] * e;
        for (let b = 0; b <= a; b++) normal[7 * a + b] += w * row[a] * row[b];
      }
    }
    if (used < 12) return undefined;
    scatter = Math.sqrt(squares / Math.max(weights - size, 1));
    const solver = new CholeskyDecomposition(symmetric(normal, size));
    if (!solver.isPositiveDefinite()) return undefined;
    const step = solver.solve(Matrix.columnVector(Array.from(right.subarray(0, size)))).getColumn(0);
    centre = add(centre, across([u, v], step[0], step[1]));
    if (options.curved) curvature = add(across([u, v], ku, kv), scale(across([u, v], step[4], step[5]), 2 / (radius * radius)));
    axis = normalize(add(axis, scale(across([u, v], step[2], step[3]), 1 / radius)));
    // The centre slides along the axis to the middle of its points, where shift, tilt and bend mix least; beyond the last
    // points a bend is guesswork.
    const slide = middle / weights;
    centre = add(centre, add(scale(axis, slide), scale(curvature, (slide * slide) / 2)));
    axis = normalize(add(axis, scale(curvature, slide)));
    if (!options.keepRadius) {
      radiusError =
        scatter * Math.sqrt(solver.solve(Matrix.columnVector(Array.from({ length: size }, (_, a) => (a === shape ? 1 : 0)))).get(shape, 0));
      radius += step[shape];
    }
    if (!(radius > 0.5) || !(Math.hypot(...step) < 1e4)) return undefined;
    width = Math.max(options.noise, Math.min(width, 1.2 * scatter + 0.2 * options.noise));
    if (Math.hypot(...step) < 1e-4 && round > 2) break;
  }
  return { centre, axis, radius, curvature, scatter, radiusError, used };
}

/** The lower triangle of the normal equations (rows of seven), as a full matrix. */
function symmetric(lower: Float64Array, size: number): Matrix {
  const out = new Matrix(size, size);
  for (let a = 0; a < size; a++) for (let b = 0; b <= a; b++) out.set(a, b, lower[7 * a + b]).set(b, a, lower[7 * a + b]);
  return out;
}

const across = ([u, v]: readonly [Vec3, Vec3], x: number, y: number): Vec3 => add(scale(u, x), scale(v, y));

/** Degrees of the circumference on which the points (those within `gate` mm of the surface) lie, in steps of 6 degrees. */
export function arcSeen({ position }: Points, near: readonly number[], { centre, axis, radius }: Cylinder, gate: number): number {
  const [u, v] = frameOf(axis);
  const bins = new Uint32Array(60);
  let total = 0;
  for (const i of near) {
    const q0 = position[3 * i] - centre[0];
    const q1 = position[3 * i + 1] - centre[1];
    const q2 = position[3 * i + 2] - centre[2];
    const x = q0 * u[0] + q1 * u[1] + q2 * u[2];
    const y = q0 * v[0] + q1 * v[1] + q2 * v[2];
    if (Math.abs(Math.hypot(x, y) - radius) > gate) continue;
    total++;
    bins[Math.floor(((Math.atan2(y, x) + Math.PI) / (2 * Math.PI)) * 60) % 60]++;
  }
  // A few stray points in a step do not make it seen.
  const enough =
    (0.2 * total) /
    Math.max(
      1,
      bins.reduce((n, b) => n + (b > 0 ? 1 : 0), 0),
    );
  return 6 * bins.reduce((n, b) => n + (b > enough ? 1 : 0), 0);
}

import { EigenvalueDecomposition, LuDecomposition, Matrix } from 'ml-matrix';
import type { Vec3 } from '../core/vec.ts';
import { type Rigid, smallMotion } from './place.ts';
import type { Pairs } from './place-pairs.ts';

/**
 * The normal equations of a point-to-plane step (Chen and Medioni, Image and Vision Computing 10(3), 1992): unknowns are a small turn w
 * (radians, about `centre`) and shift t; each pair says n . (p + w x (p - centre) + t - q) = 0, with a weight.
 */
export class PlaneStep {
  readonly centre: Vec3;
  /** Upper triangle is kept, 6 x 6, row by row. */
  private readonly a = new Float64Array(36);
  private readonly b = new Float64Array(6);
  /**
   * The same from one normal of each pair times the other. Noise makes a flat plate's normals waver, which looks like a hold against sliding
   * when they are squared; the two scans' noise is independent, so in their product it averages out.
   */
  private readonly held = new Float64Array(36);
  private readonly row = new Float64Array(6);
  private readonly own = new Float64Array(6);
  weight = 0;

  constructor(centre: Vec3) {
    this.centre = centre;
  }

  /** Pair k with a weight: its moved point, its partner's normal and the residual r = n . (p - q), mm. */
  add(pairs: Pairs, k: number, w: number): void {
    const { row, own, a, b, held, centre } = this;
    const o = 3 * k;
    const x = pairs.p[o] - centre[0];
    const y = pairs.p[o + 1] - centre[1];
    const z = pairs.p[o + 2] - centre[2];
    fill(row, pairs.n, o, x, y, z);
    fill(own, pairs.m, o, x, y, z);
    for (let i = 0; i < 6; i++) {
      const wi = w * row[i];
      const wo = w * own[i];
      for (let j = i; j < 6; j++) {
        a[i * 6 + j] += wi * row[j];
        held[i * 6 + j] += (wi * own[j] + wo * row[j]) / 2;
      }
      b[i] -= wi * pairs.r[k];
    }
    this.weight += w;
  }

  private static matrix(a: Float64Array): number[][] {
    return Array.from({ length: 6 }, (_, i) => Array.from({ length: 6 }, (_, j) => a[Math.min(i, j) * 6 + Math.max(i, j)]));
  }

  /** The least-squares motion; `damping` (a share of the mean diagonal) keeps undetermined directions still. */
  solve(damping: number): Rigid {
    const m = PlaneStep.matrix(this.a);
    const turn = (m[0][0] + m[1][1] + m[2][2]) / 3;
    const shift = (m[3][3] + m[4][4] + m[5][5]) / 3;
    for (let i = 0; i < 6; i++) m[i][i] += damping * (i < 3 ? turn : shift) + 1e-12;
    const x = new LuDecomposition(new Matrix(m)).solve(Matrix.columnVector([...this.b])).to1DArray();
    return smallMotion([x[0], x[1], x[2]], [x[3], x[4], x[5]], this.centre);
  }

  /**
   * How well the pairs hold the six directions. `length` mm turns radians into mm, so that all six compare.
   * `weakest` is the smallest eigenvalue of the mean normal matrix (1/3 on average, 0 when something slides) with its direction as
   * a turn (per `length`) and a shift; `error(at)` the expected error, mm rms, at a point for residuals of `sigma` mm.
   */
  strength(length: number): { weakest: number; turn: Vec3; shift: Vec3; error: (at: Vec3, sigma: number) => number } {
    const scaleOf = (i: number): number => (i < 3 ? 1 / length : 1);
    const m = PlaneStep.matrix(this.held).map((row, i) => row.map((v, j) => v * scaleOf(i) * scaleOf(j)));
    const eigen = new EigenvalueDecomposition(new Matrix(m), { assumeSymmetric: true });
    const values = eigen.realEigenvalues;
    const vectors = eigen.eigenvectorMatrix;
    let k = 0;
    for (let i = 1; i < 6; i++) if (values[i] < values[k]) k = i;
    const v = (i: number, j: number): number => vectors.get(i, j);
    const error = (at: Vec3, sigma: number): number => {
      const x = at[0] - this.centre[0];
      const y = at[1] - this.centre[1];
      const z = at[2] - this.centre[2];
      let sum = 0;
      // Each eigenvector moves the point by (turn x arm + shift), with variance sigma^2 / eigenvalue.
      for (let j = 0; j < 6; j++) {
        const [a, b, c] = [v(0, j) / length, v(1, j) / length, v(2, j) / length];
        const move = [b * z - c * y + v(3, j), c * x - a * z + v(4, j), a * y - b * x + v(5, j)];
        sum += ((sigma * sigma) / Math.max(values[j], 1e-12)) * (move[0] ** 2 + move[1] ** 2 + move[2] ** 2);
      }
      return Math.sqrt(sum);
    };
    return {
      weakest: values[k] / Math.max(this.weight, 1e-12),
      turn: [v(0, k), v(1, k), v(2, k)],
      shift: [v(3, k), v(4, k), v(5, k)],
      error,
    };
  }
}

/** How a residual changes with a turn and a shift, for a point at x, y, z from the centre and the normal at n[o]. */
function fill(row: Float64Array, n: Float64Array, o: number, x: number, y: number, z: number): void {
  row[0] = y * n[o + 2] - z * n[o + 1];
  row[1] = z * n[o] - x * n[o + 2];
  row[2] = x * n[o + 1] - y * n[o];
  row[3] = n[o];
  row[4] = n[o + 1];
  row[5] = n[o + 2];
}

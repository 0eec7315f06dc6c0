import { EigenvalueDecomposition, LuDecomposition, Matrix } from 'ml-matrix';
import type { Vec3 } from '../core/vec.ts';
import { type Rigid, smallMotion } from './place.ts';

/**
 * The normal equations of a point-to-plane step (Chen and Medioni, Image and Vision Computing 10(3), 1992): unknowns are a small turn w
 * (radians, about `centre`) and shift t; each pair says n . (p + w x (p - centre) + t - q) = 0, with a weight.
 */
export class PlaneStep {
  readonly centre: Vec3;
  /** Upper triangle is kept, 6 x 6, row by row. */
  private readonly a = new Float64Array(36);
  private readonly b = new Float64Array(6);
  private readonly row = new Float64Array(6);
  weight = 0;

  constructor(centre: Vec3) {
    this.centre = centre;
  }

  clear(): void {
    this.a.fill(0);
    this.b.fill(0);
    this.weight = 0;
  }

  /** A moved point p, the normal n of its partner, and the residual r = n . (p - q), mm. */
  add(p: Vec3, n: Vec3, r: number, w: number): void {
    const x = p[0] - this.centre[0];
    const y = p[1] - this.centre[1];
    const z = p[2] - this.centre[2];
    const { row, a, b } = this;
    row[0] = y * n[2] - z * n[1];
    row[1] = z * n[0] - x * n[2];
    row[2] = x * n[1] - y * n[0];
    row[3] = n[0];
    row[4] = n[1];
    row[5] = n[2];
    for (let i = 0; i < 6; i++) {
      const wi = w * row[i];
      for (let j = i; j < 6; j++) a[i * 6 + j] += wi * row[j];
      b[i] -= wi * r;
    }
    this.weight += w;
  }

  private matrix(): number[][] {
    return Array.from({ length: 6 }, (_, i) => Array.from({ length: 6 }, (_, j) => this.a[Math.min(i, j) * 6 + Math.max(i, j)]));
  }

  /** The least-squares motion; `damping` (a share of the mean diagonal) keeps undetermined directions still. */
  solve(damping: number): Rigid {
    const m = this.matrix();
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
    const m = this.matrix().map((row, i) => row.map((v, j) => v * scaleOf(i) * scaleOf(j)));
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

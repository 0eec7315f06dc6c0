import { closestOnTriangle } from './triangle.ts';

/** Plain, shared state of one run, in cells of the padded lattice. */
export interface Work {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  /** Nine numbers a triangle. */
  readonly corners: Float32Array;
  /** Squared distance to the nearest triangle in the splat; the result, in cells, at the end. */
  readonly value: Float32Array;
  /** Nearest triangle in the splat, then the seed that wins the cell, or -1. */
  readonly near: Int32Array;
}

export interface Seeds {
  readonly position: Float32Array;
  readonly triangle: Int32Array;
}

/** Square of the distance, cells, from which a seed counts as another part of the surface. */
const ELSEWHERE = 3;
/** Square of the distance, cells, beyond which the seeds of the cells across the edges are asked too. */
const SPARSE = 12 ** 2;
/** Looks for a nearer triangle among those that win the neighbours of a cell and the cells round its foot point. */
export class NearSearch {
  private readonly work: Work;
  private readonly seeds: Seeds;
  private readonly trial = new Float64Array(4);
  /** Steps to the six cells beside a cell, then to the twelve across its edges. */
  private readonly beside: Int32Array;
  private readonly tried = new Int32Array(64);
  private count = 0;
  /** The lowest of the eight cells last looked at, -1 before the first. */
  private round = -1;

  constructor(work: Work, seeds: Seeds) {
    this.work = work;
    this.seeds = seeds;
    const { nx, ny } = work;
    const z = nx * ny;
    const edges = [nx + 1, nx - 1, 1 - nx, -nx - 1, z + 1, z - 1, 1 - z, -z - 1, z + nx, z - nx, nx - z, -z - nx];
    this.beside = Int32Array.from([-1, 1, -nx, nx, -z, z, ...edges]);
  }

  /** Leaves the nearest point of cell `cell`, whose centre is `p`, in `foot`, and the square of its distance behind it. */
  least(cell: number, p: Float64Array, foot: Float64Array): void {
    const { nx, ny, nz, near } = this.work;
    this.count = 0;
    foot[3] = Infinity;
    this.round = -1;
    this.take(near[cell], p, foot);
    for (let round = 0; round < 3; round++) {
      const before = foot[3];
      this.takeRound(p, foot);
      if (!(foot[3] < before)) break;
    }
    // Neighbours whose seeds lie elsewhere may know of another part of the surface that is nearer.
    const i = p[0];
    const j = p[1];
    const k = p[2];
    if (i > 0) this.takeElsewhere(near[cell - 1], p, foot);
    if (i < nx - 1) this.takeElsewhere(near[cell + 1], p, foot);
    if (j > 0) this.takeElsewhere(near[cell - nx], p, foot);
    if (j < ny - 1) this.takeElsewhere(near[cell + nx], p, foot);
    if (k > 0) this.takeElsewhere(near[cell - nx * ny], p, foot);
    if (k < nz - 1) this.takeElsewhere(near[cell + nx * ny], p, foot);
  }

  /** Tries the triangles that win the eight cells round the foot point. */
  private takeRound(p: Float64Array, foot: Float64Array): void {
    const { nx, ny, nz, near } = this.work;
    const fi = Math.min(Math.max(Math.floor(foot[0]), 0), nx - 1);
    const fj = Math.min(Math.max(Math.floor(foot[1]), 0), ny - 1);
    const fk = Math.min(Math.max(Math.floor(foot[2]), 0), nz - 1);
    const first = fi + nx * (fj + ny * fk);
    if (first === this.round) return;
    this.round = first;
    const ii = Math.min(fi + 1, nx - 1);
    const jj = Math.min(fj + 1, ny - 1);
    const kk = Math.min(fk + 1, nz - 1);
    for (let z = fk; z <= kk; z++)
      for (let y = fj; y <= jj; y++) for (let x = fi; x <= ii; x++) this.take(near[x + nx * (y + ny * z)], p, foot);
  }

  private takeElsewhere(seed: number, p: Float64Array, foot: Float64Array): void {
    const { position } = this.seeds;
    const s = seed * 3;
    const away = (foot[0] - position[s]) ** 2 + (foot[1] - position[s + 1]) ** 2 + (foot[2] - position[s + 2]) ** 2;
    if (away < ELSEWHERE) return;
    const before = foot[3];
    this.take(seed, p, foot);
    if (foot[3] < before) this.takeRound(p, foot);
  }

  /** Square of the least distance to the seeds of a cell, of the six round it, and of those round the foot point that was found: to foot[3]. */
  leastSeed(cell: number, p: Float64Array, foot: Float64Array): void {
    const { nx, ny, nz, near } = this.work;
    const { position } = this.seeds;
    const slice = nx * ny;
    const i = p[0];
    const j = p[1];
    const k = p[2];
    let winner = near[cell] * 3;
    let best = (i - position[winner]) ** 2 + (j - position[winner + 1]) ** 2 + (k - position[winner + 2]) ** 2;
    let c = cell;
    for (let turn = 0; turn < 2; turn++) {
      if (turn > 0) {
        // Two seeds of a row may change places between the row and here: look round the one that won.
        const fi = Math.min(Math.max(Math.round(position[winner]), 0), nx - 1);
        const fj = Math.min(Math.max(Math.round(position[winner + 1]), 0), ny - 1);
        const fk = Math.min(Math.max(Math.round(position[winner + 2]), 0), nz - 1);
        c = fi + nx * (fj + ny * fk);
      }
      const count = turn > 0 && best > SPARSE ? 18 : 6;
      for (let n = 0; n < count; n++) {
        // Off the end of a row stands another row's cell. Its seed is a point of the surface too, so its distance is never too small.
        const q = c + this.beside[n];
        if (q < 0 || q >= slice * nz) continue;
        const s = near[q] * 3;
        if (s === winner) continue;
        const d = (i - position[s]) ** 2 + (j - position[s + 1]) ** 2 + (k - position[s + 2]) ** 2;
        if (d < best) {
          best = d;
          winner = s;
        }
      }
    }
    foot[3] = best;
  }

  private take(seed: number, p: Float64Array, foot: Float64Array): void {
    const t = this.seeds.triangle[seed];
    for (let i = 0; i < this.count; i++) if (this.tried[i] === t) return;
    if (this.count < this.tried.length) this.tried[this.count++] = t;
    const { trial } = this;
    closestOnTriangle(this.work.corners, t, p, trial);
    if (trial[3] < foot[3]) {
      foot[0] = trial[0];
      foot[1] = trial[1];
      foot[2] = trial[2];
      foot[3] = trial[3];
    }
  }
}

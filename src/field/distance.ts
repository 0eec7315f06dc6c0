import { allocateF32, allocateI32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { LinePass } from './envelope-pass.ts';
import { closestOnTriangle } from './triangle.ts';

/**
 * Distance from every cell centre to a triangle mesh.
 *
 * 1. splat: cells within SPLAT cells of a triangle learn their nearest triangle, exactly; each becomes one seed at its foot point.
 * 2. three separable lower-envelope passes carry the seed's index to all cells.
 * 3. evaluate: exact distance to the seed's triangle; within BAND cells of a level that is used, the triangles of the
 *    neighbours and those round the foot point are tried too, which finds the true nearest one on all but a few cells.
 */
export interface DistanceOptions {
  /** Distances, mm, at which the field will be cut: full accuracy within a cell of each. */
  readonly levels?: readonly number[];
  /** How far outside the grid, mm, surfaces still count; those farther away may be missed. Default 0. */
  readonly pad?: number;
}

const SPLAT = 0.9;
const BAND = 1.7;
const CLOSE = 2;
const FAR = 6;
const PARTS_PER_WORKER = 4;

/** Plain, shared state of one run, in cells of the padded lattice. */
interface Work {
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

interface Seeds {
  readonly position: Float32Array;
  readonly triangle: Int32Array;
}

interface Slab {
  readonly work: Work;
  readonly from: number;
  readonly to: number;
}

/**
 * Unsigned distance, mm, from each cell centre to the nearest triangle; Infinity everywhere when no triangle comes within
 * `pad` of the grid. The bytes do not depend on the number of workers.
 */
export async function distanceToMesh(mesh: Mesh, grid: Grid, options: DistanceOptions, context: Context): Promise<Field> {
  const pad = Math.ceil((options.pad ?? 0) / grid.step);
  const nx = grid.nx + 2 * pad;
  const ny = grid.ny + 2 * pad;
  const nz = grid.nz + 2 * pad;
  const { pool } = context;
  const n = nx * ny * nz;
  const work: Work = {
    nx,
    ny,
    nz,
    corners: cornersInCells(mesh, grid, pad, context),
    value: allocateF32(pool, n),
    near: allocateI32(pool, n),
  };
  const parts = pool.size === 1 ? 1 : pool.size * PARTS_PER_WORKER;
  const cuts = slabs(nz, parts).map((s) => ({ work, ...s }));
  const counts = await pool.map(splatTask, cuts);
  checkCancelled(context);
  const total = counts.reduce((a, b) => a + b, 0);
  const out = { grid, data: allocateF32(pool, cellCount(grid)) };
  if (total === 0) {
    out.data.fill(Number.POSITIVE_INFINITY);
    return out;
  }
  const seeds: Seeds = { position: allocateF32(pool, total * 3), triangle: allocateI32(pool, total) };
  let first = 0;
  const fills = cuts.map((cut, i) => {
    const slab = { ...cut, seeds, first };
    first += counts[i];
    return slab;
  });
  await pool.map(planeTask, fills);
  checkCancelled(context);
  await pool.map(
    depthTask,
    slabs(ny, parts).map((s) => ({ work, seeds, ...s })),
  );
  checkCancelled(context);
  const levels = (options.levels ?? []).map((l) => l / grid.step);
  await pool.map(
    evaluateTask,
    slabs(grid.nz, parts).map((s) => ({ work, seeds, levels, pad, step: grid.step, nx: grid.nx, ny: grid.ny, out: out.data, ...s })),
  );
  return out;
}

/** Corners of the triangles that can matter, in cells of the padded lattice (cell centre = whole numbers). */
function cornersInCells(mesh: Mesh, grid: Grid, pad: number, context: Context): Float32Array {
  const { positions, indices } = mesh;
  const shift = [0, 1, 2].map((a) => (mesh.origin[a] - grid.origin[a]) / grid.step + pad);
  const scale = 1 / grid.step;
  const last = [grid.nx + 2 * pad, grid.ny + 2 * pad, grid.nz + 2 * pad];
  const cells = new Float32Array(positions.length);
  for (let i = 0; i < positions.length; i += 3) {
    cells[i] = positions[i] * scale + shift[0];
    cells[i + 1] = positions[i + 1] * scale + shift[1];
    cells[i + 2] = positions[i + 2] * scale + shift[2];
  }
  const keep = new Uint32Array(indices.length / 3);
  let kept = 0;
  for (let t = 0; t < indices.length; t += 3) {
    const a = indices[t] * 3;
    const b = indices[t + 1] * 3;
    const c = indices[t + 2] * 3;
    let near = true;
    for (let axis = 0; axis < 3 && near; axis++) {
      const p = cells[a + axis];
      const q = cells[b + axis];
      const r = cells[c + axis];
      near = Math.max(p, q, r) >= -1 && Math.min(p, q, r) <= last[axis];
    }
    if (near) keep[kept++] = t;
  }
  const corners = allocateF32(context.pool, kept * 9);
  for (let i = 0; i < kept; i++)
    for (let v = 0; v < 3; v++) {
      const from = indices[keep[i] + v] * 3;
      const to = i * 9 + v * 3;
      corners[to] = cells[from];
      corners[to + 1] = cells[from + 1];
      corners[to + 2] = cells[from + 2];
    }
  return corners;
}

/** Nearest triangle of each cell within SPLAT cells of one; returns how many cells of the slab have one. */
function splat({ work, from, to }: Slab): number {
  const { nx, ny, corners, value, near } = work;
  const begin = from * nx * ny;
  const end = to * nx * ny;
  near.fill(-1, begin, end);
  value.fill(SPLAT * SPLAT, begin, end);
  const p = new Float64Array(3);
  const foot = new Float64Array(3);
  for (let t = 0, o = 0; o < corners.length; t++, o += 9) {
    const az = corners[o + 2];
    const bz = corners[o + 5];
    const cz = corners[o + 8];
    const k0 = Math.max(from, Math.ceil(Math.min(az, bz, cz) - SPLAT));
    const k1 = Math.min(to - 1, Math.floor(Math.max(az, bz, cz) + SPLAT));
    if (k0 > k1) continue;
    const ax = corners[o];
    const ay = corners[o + 1];
    const bx = corners[o + 3];
    const by = corners[o + 4];
    const cx = corners[o + 6];
    const cy = corners[o + 7];
    const i0 = Math.max(0, Math.ceil(Math.min(ax, bx, cx) - SPLAT));
    const i1 = Math.min(nx - 1, Math.floor(Math.max(ax, bx, cx) + SPLAT));
    const j0 = Math.max(0, Math.ceil(Math.min(ay, by, cy) - SPLAT));
    const j1 = Math.min(ny - 1, Math.floor(Math.max(ay, by, cy) + SPLAT));
    // Cells farther than SPLAT from the triangle's plane are passed over before the exact test.
    const nX = (by - ay) * (cz - az) - (bz - az) * (cy - ay);
    const nY = (bz - az) * (cx - ax) - (bx - ax) * (cz - az);
    const nZ = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
    const limit = SPLAT * Math.sqrt(nX * nX + nY * nY + nZ * nZ) * (1 + 1e-6);
    for (let k = k0; k <= k1; k++) {
      p[2] = k;
      for (let j = j0; j <= j1; j++) {
        p[1] = j;
        const row = nx * (j + ny * k);
        const plane = (j - ay) * nY + (k - az) * nZ - ax * nX;
        for (let i = i0; i <= i1; i++) {
          const off = plane + i * nX;
          if (off > limit || -off > limit) continue;
          p[0] = i;
          const d = closestOnTriangle(corners, t, p, foot);
          if (d < value[row + i]) {
            value[row + i] = d;
            near[row + i] = t;
          }
        }
      }
    }
  }
  let count = 0;
  for (let c = begin; c < end; c++) if (near[c] >= 0) count++;
  return count;
}

/** Makes the seeds of a slab of planes and carries them along x, then along y. */
function plane({ work, seeds, first, from, to }: Slab & { seeds: Seeds; first: number }): void {
  const { nx, ny, corners, near } = work;
  const { position, triangle } = seeds;
  const p = new Float64Array(3);
  const foot = new Float64Array(3);
  const line = new LinePass(Math.max(nx, ny));
  let s = first;
  for (let k = from; k < to; k++) {
    for (let j = 0; j < ny; j++) {
      const row = nx * (j + ny * k);
      line.clear();
      for (let i = 0; i < nx; i++) {
        const t = near[row + i];
        if (t < 0) continue;
        p[0] = i;
        p[1] = j;
        p[2] = k;
        closestOnTriangle(corners, t, p, foot);
        position[s * 3] = foot[0];
        position[s * 3 + 1] = foot[1];
        position[s * 3 + 2] = foot[2];
        triangle[s] = t;
        line.add(foot[0], (j - foot[1]) ** 2 + (k - foot[2]) ** 2, s++);
      }
      line.solve(nx, near, row, 1);
    }
    for (let i = 0; i < nx; i++) {
      line.clear();
      const column = i + nx * ny * k;
      for (let j = 0; j < ny; j++) {
        const q = near[column + nx * j];
        if (q >= 0) line.add(position[q * 3 + 1], (i - position[q * 3]) ** 2 + (k - position[q * 3 + 2]) ** 2, q);
      }
      line.solve(ny, near, column, nx);
    }
  }
}

/** Carries the seeds along z, for the rows from..to of every plane; columns are gathered in tiles so memory is read in runs. */
function depth({ work, seeds, from, to }: Slab & { seeds: Seeds }): void {
  const { nx, ny, nz, near } = work;
  const { position } = seeds;
  const line = new LinePass(nz);
  const width = 32;
  const tile = new Int32Array(width * nz);
  const planeSize = nx * ny;
  for (let j = from; j < to; j++) {
    for (let i0 = 0; i0 < nx; i0 += width) {
      const w = Math.min(width, nx - i0);
      const base = i0 + nx * j;
      for (let k = 0; k < nz; k++) for (let i = 0; i < w; i++) tile[i * nz + k] = near[base + planeSize * k + i];
      for (let i = 0; i < w; i++) {
        line.clear();
        for (let k = 0; k < nz; k++) {
          const q = tile[i * nz + k];
          if (q >= 0) line.add(position[q * 3 + 2], (i0 + i - position[q * 3]) ** 2 + (j - position[q * 3 + 1]) ** 2, q);
        }
        line.solve(nz, tile, i * nz, 1);
      }
      for (let k = 0; k < nz; k++) for (let i = 0; i < w; i++) near[base + planeSize * k + i] = tile[i * nz + k];
    }
  }
}

interface Evaluate {
  readonly work: Work;
  readonly seeds: Seeds;
  readonly levels: readonly number[];
  readonly pad: number;
  readonly step: number;
  readonly nx: number;
  readonly ny: number;
  readonly out: Float32Array;
  readonly from: number;
  readonly to: number;
}

/** Distances in mm, for the planes from..to of the unpadded grid. */
function evaluate(args: Evaluate): void {
  const { work, seeds, levels, pad, step, out } = args;
  const { corners, near } = work;
  const { position, triangle } = seeds;
  const p = new Float64Array(3);
  const foot = new Float64Array(3);
  const search = new NearSearch(work, seeds);
  let o = args.from * args.nx * args.ny;
  for (let k = args.from + pad; k < args.to + pad; k++) {
    p[2] = k;
    for (let j = pad; j < args.ny + pad; j++) {
      p[1] = j;
      let c = pad + work.nx * (j + work.ny * k);
      for (let i = pad; i < args.nx + pad; i++, c++) {
        p[0] = i;
        const s = near[c];
        const far = Math.sqrt((i - position[s * 3]) ** 2 + (j - position[s * 3 + 1]) ** 2 + (k - position[s * 3 + 2]) ** 2);
        let fine = far < CLOSE;
        for (let l = 0; l < levels.length; l++) fine ||= Math.abs(far - levels[l]) < BAND;
        // A seed misses the true foot point by about half a cell sideways, so far away its distance is as good as the triangle's.
        const d = fine ? Math.sqrt(search.least(c, p, foot)) : far < FAR ? Math.sqrt(closestOnTriangle(corners, triangle[s], p, foot)) : search.leastSeed(c, p);
        out[o++] = d * step;
      }
    }
  }
}

/** Looks for a nearer triangle among those that win the neighbours of a cell and the cells round its foot point. */
class NearSearch {
  private readonly work: Work;
  private readonly seeds: Seeds;
  private readonly trial = new Float64Array(3);
  private readonly tried = new Int32Array(64);
  private count = 0;
  private best = 0;

  constructor(work: Work, seeds: Seeds) {
    this.work = work;
    this.seeds = seeds;
  }

  least(cell: number, p: Float64Array, foot: Float64Array): number {
    const { nx, ny, nz, near } = this.work;
    this.count = 0;
    this.best = Infinity;
    this.take(near[cell], p, foot);
    const [i, j, k] = p;
    if (i > 0) this.take(near[cell - 1], p, foot);
    if (i < nx - 1) this.take(near[cell + 1], p, foot);
    if (j > 0) this.take(near[cell - nx], p, foot);
    if (j < ny - 1) this.take(near[cell + nx], p, foot);
    if (k > 0) this.take(near[cell - nx * ny], p, foot);
    if (k < nz - 1) this.take(near[cell + nx * ny], p, foot);
    for (let round = 0; round < 3; round++) {
      const before = this.best;
      const fi = Math.min(Math.max(Math.floor(foot[0]), 0), nx - 1);
      const fj = Math.min(Math.max(Math.floor(foot[1]), 0), ny - 1);
      const fk = Math.min(Math.max(Math.floor(foot[2]), 0), nz - 1);
      const ii = Math.min(fi + 1, nx - 1);
      const jj = Math.min(fj + 1, ny - 1);
      const kk = Math.min(fk + 1, nz - 1);
      for (let z = fk; z <= kk; z++)
        for (let y = fj; y <= jj; y++) for (let x = fi; x <= ii; x++) this.take(near[x + nx * (y + ny * z)], p, foot);
      if (!(this.best < before)) break;
    }
    return this.best;
  }

  /** Least distance to the seeds of a cell and of the six round it. */
  leastSeed(cell: number, p: Float64Array): number {
    const { nx, ny, nz, near } = this.work;
    const { position } = this.seeds;
    const [i, j, k] = p;
    let best = Infinity;
    for (let n = 0; n < 7; n++) {
      let c = cell;
      if (n === 1 && i > 0) c -= 1;
      else if (n === 2 && i < nx - 1) c += 1;
      else if (n === 3 && j > 0) c -= nx;
      else if (n === 4 && j < ny - 1) c += nx;
      else if (n === 5 && k > 0) c -= nx * ny;
      else if (n === 6 && k < nz - 1) c += nx * ny;
      const s = near[c] * 3;
      const d = (i - position[s]) ** 2 + (j - position[s + 1]) ** 2 + (k - position[s + 2]) ** 2;
      if (d < best) best = d;
    }
    return Math.sqrt(best);
  }

  private take(seed: number, p: Float64Array, foot: Float64Array): void {
    const t = this.seeds.triangle[seed];
    for (let i = 0; i < this.count; i++) if (this.tried[i] === t) return;
    if (this.count < this.tried.length) this.tried[this.count++] = t;
    const d = closestOnTriangle(this.work.corners, t, p, this.trial);
    if (d < this.best) {
      this.best = d;
      foot.set(this.trial);
    }
  }
}

export const splatTask: Task<Slab, number> = { name: 'distance.splat', run: splat };
export const planeTask: Task<Slab & { seeds: Seeds; first: number }, void> = { name: 'distance.plane', run: plane };
export const depthTask: Task<Slab & { seeds: Seeds }, void> = { name: 'distance.depth', run: depth };
export const evaluateTask: Task<Evaluate, void> = { name: 'distance.evaluate', run: evaluate };

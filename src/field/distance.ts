import { allocateF32, allocateI32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { LinePass } from './envelope-pass.ts';
import { NearSearch, type Seeds, type Work } from './near-search.ts';
import { closestOnTriangle } from './triangle.ts';
import { boxInCells, openCells, type Window } from './window.ts';

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
  /** Only the levels matter: everywhere else the distance to the nearest seed will do (up to a cell too large). Default false. */
  readonly levelsOnly?: boolean;
  /** Cells at or below this, mm, are left as they are. Default: only those at -Infinity. */
  readonly floor?: number;
}

const SPLAT = 0.87;
const BAND = 1.7;
/** Nearer than this, in cells, the triangles are always looked at; farther away a seed's distance is as good. */
const CLOSE = 3;
/** A seed is never farther than this many cells beyond the nearest triangle, where it matters. */
const SURE = 1.2;
/** Farther than this, in cells, the nearest seed is as good as its triangle: it stands at most 0.87 of a cell aside, so 0.02 of a cell too far. */
const DISTANT = 20;
const PARTS_PER_WORKER = 4;

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
  const out = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(Number.POSITIVE_INFINITY) };
  const pad = Math.ceil((options.pad ?? 0) / grid.step);
  const window = { from: [-pad, -pad, -pad], to: [grid.nx + pad, grid.ny + pad, grid.nz + pad] };
  await lowerInWindow(mesh, out, { ...options, offset: 0, window }, context);
  return out;
}

/**
 * Lowers `field` (in memory of the context's pool) to the distance to the mesh less `offset`, mm, where that is less. Cells whose
 * value cannot be lowered any more are passed over, and so is all that lies farther from the mesh's box than their values.
 */
export async function lowerToDistance(
  field: Field,
  mesh: Mesh,
  options: DistanceOptions & { readonly offset: number },
  context: Context,
): Promise<void> {
  if (mesh.indices.length === 0) return;
  const { step, nx, ny, nz } = field.grid;
  const box = boxInCells(mesh, field.grid);
  const open = openCells(field, box, options);
  if (!open) return;
  // The surfaces that can lower them, and a cell more, are within the mesh's box; those too far outside the grid are none.
  const reach = (open.most + options.offset) / step + 2;
  const pad = Math.ceil(Math.max(options.offset, 0) / step) + 1;
  const size = [nx, ny, nz];
  const from = size.map((_, a) => Math.min(open.from[a], Math.max(-pad, Math.floor(Math.max(box.min[a] - 1, open.from[a] - reach)))));
  const to = size.map((n, a) => Math.max(open.to[a], Math.min(n + pad, Math.ceil(Math.min(box.max[a] + 1, open.to[a] + reach)) + 1)));
  await lowerInWindow(mesh, field, { ...options, window: { from, to } }, context);
}

async function lowerInWindow(
  mesh: Mesh,
  target: Field,
  options: DistanceOptions & { readonly offset: number; readonly window: Window },
  context: Context,
): Promise<void> {
  const { pool } = context;
  const { window } = options;
  const { grid } = target;
  const [nx, ny, nz] = window.from.map((v, a) => window.to[a] - v);
  const n = nx * ny * nz;
  const corners = cornersInCells(mesh, grid, window, context);
  if (corners.length === 0) return;
  const work: Work = { nx, ny, nz, corners, value: allocateF32(pool, n), near: allocateI32(pool, n) };
  const parts = pool.size === 1 ? 1 : pool.size * PARTS_PER_WORKER;
  const cuts = slabs(nz, parts).map((s) => ({ work, ...s }));
  const counts = await pool.map(splatTask, cuts);
  checkCancelled(context);
  const total = counts.reduce((a, b) => a + b, 0);
  if (total === 0) return;
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
  const common = {
    work,
    seeds,
    levels: (options.levels ?? []).map((l) => l / grid.step),
    levelsOnly: options.levelsOnly === true,
    floor: options.floor ?? -Infinity,
    offset: options.offset / grid.step,
    step: grid.step,
    start: window.from,
    nx: grid.nx,
    ny: grid.ny,
    out: target.data,
  };
  const k0 = Math.max(window.from[2], 0);
  const k1 = Math.min(window.to[2], grid.nz);
  await pool.map(
    evaluateTask,
    slabs(k1 - k0, parts).map((s) => ({ ...common, from: s.from + k0, to: s.to + k0 })),
  );
}

/** Corners of the triangles that can matter, in cells of the window (cell centre = whole numbers). */
function cornersInCells(mesh: Mesh, grid: Grid, window: Window, context: Context): Float32Array {
  const { positions, indices } = mesh;
  const shift = [0, 1, 2].map((a) => (mesh.origin[a] - grid.origin[a]) / grid.step - window.from[a]);
  const scale = 1 / grid.step;
  const last = window.from.map((v, a) => window.to[a] - v);
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
  const foot = new Float64Array(4);
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
          closestOnTriangle(corners, t, p, foot);
          if (foot[3] < value[row + i]) {
            value[row + i] = foot[3];
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
  const foot = new Float64Array(4);
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
  /** In cells, like `offset`. */
  readonly levels: readonly number[];
  readonly levelsOnly: boolean;
  /** mm, like `step`. */
  readonly floor: number;
  readonly offset: number;
  readonly step: number;
  /** First cell of the window, in cells of the target grid, whose row length and rows a plane are nx and ny. */
  readonly start: readonly number[];
  readonly nx: number;
  readonly ny: number;
  readonly out: Float32Array;
  readonly from: number;
  readonly to: number;
}

/** Lowers the planes from..to of the target to the distances in mm. */
function evaluate(args: Evaluate): void {
  const { work, seeds, levels, levelsOnly, floor, offset, step, start, nx, ny, out } = args;
  const { near } = work;
  const { position } = seeds;
  const p = new Float64Array(3);
  const foot = new Float64Array(4);
  const search = new NearSearch(work, seeds);
  const i0 = Math.max(start[0], 0);
  const i1 = Math.min(start[0] + work.nx, nx);
  const j1 = Math.min(start[1] + work.ny, ny);
  for (let gk = args.from; gk < args.to; gk++) {
    const k = gk - start[2];
    p[2] = k;
    for (let gj = Math.max(start[1], 0); gj < j1; gj++) {
      const j = gj - start[1];
      p[1] = j;
      let c = i0 - start[0] + work.nx * (j + work.ny * k);
      let o = i0 + nx * (gj + ny * gk);
      for (let i = i0 - start[0]; i < i1 - start[0]; i++, c++, o++) {
        const bound = out[o];
        if (bound <= floor) continue;
        const s = near[c];
        const square = (i - position[s * 3]) ** 2 + (j - position[s * 3 + 1]) ** 2 + (k - position[s * 3 + 2]) ** 2;
        const far = Math.sqrt(square);
        if ((far - offset - SURE) * step > bound) continue;
        p[0] = i;
        const fine = far < CLOSE && !levelsOnly;
        let used = false;
        for (let l = 0; l < levels.length; l++) used ||= Math.abs(far - levels[l]) < BAND;
        foot[3] = square;
        if (fine || (used && far < DISTANT)) search.least(c, p, foot);
        else if (used || !levelsOnly) search.leastSeed(c, p, foot);
        const v = (Math.sqrt(foot[3]) - offset) * step;
        if (v < bound) out[o] = v;
      }
    }
  }
}

export const splatTask: Task<Slab, number> = { name: 'distance.splat', run: splat };
export const planeTask: Task<Slab & { seeds: Seeds; first: number }, void> = { name: 'distance.plane', run: plane };
export const depthTask: Task<Slab & { seeds: Seeds }, void> = { name: 'distance.depth', run: depth };
export const evaluateTask: Task<Evaluate, void> = { name: 'distance.evaluate', run: evaluate };

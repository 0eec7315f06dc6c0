import type { Field } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { BACK_6, components, insideOf } from './components.ts';
import { Coverage } from './coverage.ts';

export { type Euler, euler } from './euler.ts';

/**
 * Integrals over { field > level } by the coverage of each cell: volumes, centroids, areas; never counts of cells. The set
 * ends at the grid's edge, where cells count their own cube; no area is counted there. `level` is in mm everywhere.
 */

/** Volume of { field > level }, mm3. */
export function volume(field: Field, level = 0): number {
  return sumOfShares(new Coverage(field, level), field);
}

/** Volume of { min(a, b) > level }, mm3, for two fields on the same grid, without making a third. */
export function volumeOfBoth(a: Field, b: Field, level = 0): number {
  return sumOfShares(new Coverage(a, level, b), a);
}

/** The same for a field that nowhere rises by more than 1 mm per mm, such as the least of distances: half the time on a coarse grid. */
export function volumeOfSlack(field: Field): number {
  return sumOfShares(new Coverage(field, 0, undefined, 1), field);
}

function sumOfShares(cover: Coverage, { grid }: Field): number {
  let sum = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++) {
      cover.row(j, k);
      for (let i = 0; i < grid.nx; i++) sum += cover.share[i];
    }
  return sum * grid.step ** 3;
}

export interface Moments {
  /** mm3 */
  readonly volume: number;
  /** mm; the middle of nothing is NaN. */
  readonly centroid: Vec3;
  /** Of the surface { field = level } within the grid, mm2: the cut of each cell by its plane. */
  readonly area: number;
  /**
   * Second moments about the centroid, mm5: integrals of xx, yy, zz, xy, yz, zx. Those of a cell's share are taken at the
   * cell's centre, so they are good to second order.
   */
  readonly second: readonly [number, number, number, number, number, number];
}

/** Volume, centroid, surface and second moments of { field > level }, in one pass. */
export function moments(field: Field, level = 0): Moments {
  const { grid } = field;
  const { nx, ny, nz, step, origin } = grid;
  const cover = new Coverage(field, level);
  const s = new Float64Array(10);
  let faces = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      cover.row(j, k);
      let m0 = 0;
      let mx = 0;
      let mxx = 0;
      for (let i = 0; i < nx; i++) {
        const share = cover.share[i];
        m0 += share;
        mx += share * i;
        mxx += share * i * i;
        faces += cover.area[i];
      }
      const row = [m0, mx, m0 * j, m0 * k, mxx, m0 * j * j, m0 * k * k, mx * j, m0 * j * k, mx * k];
      for (let q = 0; q < 10; q++) s[q] += row[q];
    }
  const [m, x, y, z] = [s[0], s[1] / s[0], s[2] / s[0], s[3] / s[0]];
  // A cell's own spread about its centre: 1/12 along each axis.
  const central = [s[4] - m * x * x + m / 12, s[5] - m * y * y + m / 12, s[6] - m * z * z + m / 12];
  const mixed = [s[7] - m * x * y, s[8] - m * y * z, s[9] - m * z * x];
  const h5 = step ** 5;
  return {
    volume: m * step ** 3,
    centroid: [origin[0] + step * x, origin[1] + step * y, origin[2] + step * z],
    area: faces * step * step,
    second: [central[0] * h5, central[1] * h5, central[2] * h5, mixed[0] * h5, mixed[1] * h5, mixed[2] * h5],
  };
}

/** Area of the surface { field = level } within the grid, mm2. */
export const area = (field: Field, level = 0): number => moments(field, level).area;

/**
 * Volume of { field > level } by label, mm3: cell c counts for labels[c] where that is 0..count-1. A partly covered cell
 * without a label goes to its highest labelled neighbour, so that a label given to cells above the level still gets its rim.
 */
export function volumeByLabel(field: Field, labels: Int32Array, count: number, level = 0): Float64Array {
  const { nx, ny, nz, step } = field.grid;
  const cover = new Coverage(field, level);
  const out = new Float64Array(count);
  const near = rowsNear(field.grid, labels);
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      if (near[j + ny * k] === 0) continue;
      cover.row(j, k);
      const row = nx * (j + ny * k);
      for (let i = 0; i < nx; i++) {
        const share = cover.share[i];
        if (share === 0) continue;
        let label = labels[row + i];
        if (label < 0 && share < 1) label = labelBeside(field, labels, [i, j, k]);
        if (label >= 0 && label < count) out[label] += share;
      }
    }
  for (let l = 0; l < count; l++) out[l] *= step ** 3;
  return out;
}

/** 1 for each row of cells that has a label in it or in one of the eight rows round it: nothing can count elsewhere. */
function rowsNear({ nx, ny, nz }: Grid, labels: Int32Array): Uint8Array {
  const near = new Uint8Array(ny * nz);
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const row = nx * (j + ny * k);
      let i = 0;
      while (i < nx && labels[row + i] < 0) i++;
      if (i === nx) continue;
      for (let z = Math.max(0, k - 1); z <= Math.min(nz - 1, k + 1); z++)
        near.fill(1, Math.max(0, j - 1) + ny * z, Math.min(ny - 1, j + 1) + 1 + ny * z);
    }
  return near;
}

/** Label of the highest of the 26 neighbours that have one, or -1. */
function labelBeside({ grid: { nx, ny, nz }, data }: Field, labels: Int32Array, [i, j, k]: Vec3): number {
  let best = -Infinity;
  let label = -1;
  for (let z = Math.max(0, k - 1); z <= Math.min(nz - 1, k + 1); z++)
    for (let y = Math.max(0, j - 1); y <= Math.min(ny - 1, j + 1); y++)
      for (let x = Math.max(0, i - 1); x <= Math.min(nx - 1, i + 1); x++) {
        const c = x + nx * (y + ny * z);
        if (labels[c] >= 0 && data[c] > best) {
          best = data[c];
          label = labels[c];
        }
      }
  return label;
}

export interface Pieces {
  /** A cell each: number of its piece, 0 being the largest, or -1 outside the set. */
  readonly labels: Int32Array;
  /** Volume of each piece by coverage, mm3, falling. */
  readonly volumes: Float64Array;
}

/** Pieces of { field > level }, 6-neighbour, largest first (of equal volumes the one met first in cell order). */
export function pieces(field: Field, level = 0): Pieces {
  const inside = insideOf(field, level);
  const { labels, count } = components(field.grid, inside, BACK_6);
  const raw = volumeByLabel(field, labels, count, level);
  const order = Array.from(raw.keys()).sort((a, b) => raw[b] - raw[a] || a - b);
  const rank = new Int32Array(count);
  order.forEach((piece, i) => {
    rank[piece] = i;
  });
  for (let c = 0; c < labels.length; c++) if (labels[c] >= 0) labels[c] = rank[labels[c]];
  return { labels, volumes: Float64Array.from(order, (p) => raw[p]) };
}

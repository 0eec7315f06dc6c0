import { allocateF32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';

/**
 * Sweep: the least value of the field along the ray from each cell to the grid's edge.
 *
 * Slices across the direction's longest axis are taken from the far end back. A lattice of columns runs along the direction; it
 * meets every slice with one and the same fraction of a cell, so the field is interpolated onto the columns once (bilinear in
 * the slice), a running minimum goes down each column, and the result is interpolated back once: errors do not add up with
 * the ray's length. Between two slices the field may dip: lines through the samples before and after are carried on to
 * where they meet, never below what a slope of 1 allows.
 *
 * Against a fine march past sheets, balls and boxes: RMS 0.08 cell, at most 0.5. Time: 25 ns a cell, any direction; whole
 * columns at once, with the field sheared into memory of its own, would read and write three times as much. Only the columns
 * through a box of a 70th of the cells, from the box on: 1.3 ms a direction instead of 13 (1.2M cells).
 */
export interface SweepOptions {
  /** Value beyond the grid's edge, mm. Default Infinity: open. */
  readonly beyond?: number;
}

/** Stands for infinite values while they are interpolated; results beyond HUGE become infinite again. */
const BOUND = 1e9;
const HUGE = 1e6;
const PARTS_PER_WORKER = 2;
/** Columns count as far as the outer faces of the outermost cells, which lie half a cell beyond their centres. */
const EDGE = 0.5;

interface Columns {
  readonly grid: Grid;
  readonly data: Float32Array;
  readonly direction: Vec3;
  readonly beyond: number;
  readonly out: Float32Array;
  /** Rows of columns, counted as in `Shear`. */
  readonly from: number;
  readonly to: number;
  /** The only cells to be written; all that lie between the rows when left out. */
  readonly over?: CellBox;
}

/**
 * Least value, mm, on the ray from each cell centre along the unit vector `direction` to the grid's edge. A field that changes
 * by at most 1 mm per mm is met within half a cell. Along an axis the columns are the cells themselves, nothing is interpolated
 * sideways. The bytes do not depend on the number of workers.
 */
export async function sweep(field: Field, direction: Vec3, context: Context, options: SweepOptions = {}): Promise<Field> {
  const { grid } = field;
  const { pool } = context;
  const out = allocateF32(pool, cellCount(grid));
  const { rowMin, rows } = new Shear(grid, direction);
  const parts = pool.size === 1 ? 1 : pool.size * PARTS_PER_WORKER;
  const work = { grid, data: field.data, direction, beyond: options.beyond ?? Infinity, out };
  await pool.map(
    sweepTask,
    slabs(rows, parts).map((s) => ({ ...work, from: rowMin + s.from, to: rowMin + s.to })),
  );
  checkCancelled(context);
  return { grid, data: out };
}

/** Cells from..to (inclusive) along x, y, z. */
export interface CellBox {
  readonly from: Vec3;
  readonly to: Vec3;
}

/**
 * The same, here and at once, into `out` (one number a cell): for tasks that sweep many directions. With `over`, only the cells of
 * that box are sure to be written, and only the columns through it are followed.
 */
export function sweepInto(field: Field, direction: Vec3, out: Float32Array, options: SweepOptions & { over?: CellBox } = {}): void {
  const { over } = options;
  const shear = new Shear(field.grid, direction, over);
  const [from, to] = over ? shear.rowsThrough(over) : [shear.rowMin, shear.rowMin + shear.rows];
  columns({ grid: field.grid, data: field.data, direction, beyond: options.beyond ?? Infinity, out, from, to, ...(over ? { over } : {}) });
}

/**
 * How columns lie to cells. The slices are numbered along axis a; b and c are the other two. The column (u, v) meets slice k at
 * the place (u + slopeB k, v + slopeC k) of the slice, in cells.
 */
class Shear {
  readonly count: readonly [number, number, number];
  readonly stride: readonly [number, number, number];
  readonly up: boolean;
  /** Length of a column between two slices, mm. */
  readonly span: number;
  /** Columns that touch the grid, or pass between the cells of the box: u from uMin, `width` of them; v from rowMin, `rows` of them. */
  readonly uMin: number;
  readonly width: number;
  /** Cells along b that are written, first and last. */
  readonly cells: readonly [number, number];
  /** First and last slice to be written, counted from the far end. */
  readonly written: readonly [number, number];
  readonly rowMin: number;
  readonly rows: number;
  /** The slices' axis and the one that carries the rows. */
  private readonly axes: readonly [number, number];
  private readonly slopeB: number;
  private readonly slopeC: number;

  constructor(grid: Grid, d: Vec3, over?: CellBox) {
    const size = [grid.nx, grid.ny, grid.nz];
    const strides = [1, grid.nx, grid.nx * grid.ny];
    const abs = d.map(Math.abs);
    const a = abs[2] >= abs[1] && abs[2] >= abs[0] ? 2 : abs[1] >= abs[0] ? 1 : 0;
    // b is the axis that runs fastest in memory, c carries the slabs.
    const b = a === 0 ? 1 : 0;
    const c = a === 2 ? 1 : 2;
    this.count = [size[a], size[b], size[c]];
    this.stride = [strides[a], strides[b], strides[c]];
    this.axes = [a, c];
    this.up = d[a] > 0;
    this.span = grid.step / abs[a];
    this.slopeB = d[b] / d[a];
    this.slopeC = d[c] / d[a];
    const [first, end] = over ? [over.from[a], over.to[a]] : [0, size[a] - 1];
    this.written = this.up ? [size[a] - 1 - end, size[a] - 1 - first] : [first, end];
    this.cells = over ? [over.from[b], over.to[b]] : [0, size[b] - 1];
    const shifts = [this.wholeB(first), this.wholeB(end)];
    // A cell at b lies between the columns b - 1 - shift and b - shift.
    this.uMin = this.cells[0] - 1 - Math.max(...shifts);
    this.width = this.cells[1] - Math.min(...shifts) - this.uMin + 1;
    const endC = this.wholeC(size[a] - 1);
    this.rowMin = -1 - Math.max(0, endC);
    this.rows = size[c] + 1 + Math.abs(endC);
  }

  /** Rows from..to of columns that the cells of a box lie between. */
  rowsThrough({ from, to }: CellBox): [number, number] {
    const [a, c] = this.axes;
    const shifts = [this.wholeC(from[a]), this.wholeC(to[a])];
    // A cell at c lies between the rows c - 1 - shift and c - shift.
    return [from[c] - 1 - Math.max(...shifts), to[c] - Math.min(...shifts)];
  }

  /** Shift of slice k against the columns, in whole cells; the rest is `partB`. */
  wholeB(k: number): number {
    return Math.floor(this.slopeB * k + 1e-9);
  }

  wholeC(k: number): number {
    return Math.floor(this.slopeC * k + 1e-9);
  }

  partB(k: number): number {
    return Math.max(0, this.slopeB * k - this.wholeB(k));
  }

  partC(k: number): number {
    return Math.max(0, this.slopeC * k - this.wholeC(k));
  }
}

/** Sweeps the columns of the rows from..to and writes the cells that lie between these rows and the one after each. */
function columns({ grid, data, direction, beyond, out, from, to, over }: Columns): void {
  const shear = new Shear(grid, direction, over);
  const [slices] = shear.count;
  // A cell lies between two rows: one row more than is written.
  const rows = to - from + 1;
  const planes = Array.from({ length: 4 }, () => new Float32Array(rows * shear.width).fill(Number.NaN));
  const least = new Float32Array(rows * shear.width).fill(Math.min(beyond, BOUND));
  const slice = (q: number): number => (shear.up ? slices - 1 - q : q);
  const [first, last] = shear.written;
  for (let q = 0; q <= last + 1; q++) {
    // The samples of slice q come in; slice q - 1, whose neighbours on both sides are then known, is finished.
    const next = planes[q & 3];
    if (q < slices) sampleSlice(shear, data, next, { k: slice(q), from, rows });
    else next.fill(Number.NaN);
    if (q === 0) continue;
    lower(least, planes, q - 1, shear.span);
    if (q > first) writeSlice(shear, data, out, { least, k: slice(q - 1), from, to });
  }
}

/** The field on the columns where they meet slice k; NaN where they miss the cells of the grid. */
function sampleSlice(shear: Shear, data: Float32Array, plane: Float32Array, at: { k: number; from: number; rows: number }): void {
  const { k, from, rows } = at;
  const [, nb, nc] = shear.count;
  const [sa, sb, sc] = shear.stride;
  const { width, uMin } = shear;
  const wb = shear.partB(k);
  const wc = shear.partC(k);
  const shiftB = shear.wholeB(k);
  const shiftC = shear.wholeC(k);
  plane.fill(Number.NaN);
  // The column u meets the slice between the cells u + shift and u + shift + 1; beyond the grid's edge cells its own value goes on.
  const b0 = Math.max(0, uMin + shiftB + 1);
  const b1 = Math.min(nb - 1, uMin + width + shiftB);
  if (b1 < Math.max(0, b0 - 1)) return;
  for (let r = 0; r < rows; r++) {
    const c = from + r + shiftC;
    if (c + wc < -EDGE || c + wc > nc - 1 + EDGE) continue;
    const low = sa * k + sc * Math.max(c, 0);
    const high = sa * k + sc * Math.min(c + 1, nc - 1);
    let o = r * width + b0 - 1 - shiftB - uMin;
    const start = sb * Math.max(b0 - 1, 0);
    let before = mixed(data[low + start], data[high + start], wc);
    for (let b = b0; b <= b1; b++) {
      const here = mixed(data[low + sb * b], data[high + sb * b], wc);
      plane[o++] = before + (here - before) * wb;
      before = here;
    }
    // The columns at both ends of the slice may lie too far out.
    if (b0 === 0 && wb - 1 < -EDGE) plane[r * width - 1 - shiftB - uMin] = Number.NaN;
    if (b1 === nb - 1 && o < (r + 1) * width && wb <= EDGE) plane[o] = before;
  }
}

function mixed(a: number, b: number, w: number): number {
  const p = Math.max(-BOUND, Math.min(a, BOUND));
  const q = Math.max(-BOUND, Math.min(b, BOUND));
  return p + (q - p) * w;
}

/** Lowers the running minimum to the samples of the slice that came `at`-th and to the dip between it and the one before. */
function lower(least: Float32Array, planes: readonly Float32Array[], at: number, span: number): void {
  const back = planes[(at + 1) & 3];
  const here = planes[at & 3];
  const ahead = planes[(at + 3) & 3];
  const beyond = planes[(at + 2) & 3];
  for (let i = 0; i < least.length; i++) {
    const f = here[i];
    // NaN, off the grid, compares false throughout.
    if (f < least[i]) least[i] = f;
    const a = f - back[i];
    const b = ahead[i] - beyond[i];
    if (a < 0 && b < 0) {
      const t = (ahead[i] + b - f) / (a + b);
      if (t > 0 && t < 1) {
        const dip = Math.max(f + a * t, (f + ahead[i] - span) / 2);
        if (dip < least[i]) least[i] = dip;
      }
    }
  }
}

interface Finished {
  readonly least: Float32Array;
  readonly k: number;
  readonly from: number;
  readonly to: number;
}

/** Interpolates the running minimum back to the cells of slice k whose lower row of columns is in from..to. */
function writeSlice(shear: Shear, data: Float32Array, out: Float32Array, { least, k, from, to }: Finished): void {
  const nc = shear.count[2];
  const [sa, sb, sc] = shear.stride;
  const { width, uMin } = shear;
  const [first, end] = shear.cells;
  const wb = shear.partB(k);
  const wc = shear.partC(k);
  const shiftB = shear.wholeB(k);
  const shiftC = shear.wholeC(k);
  for (let r = 0; r < to - from; r++) {
    // Rows r and r + 1 meet the slice at c - 1 + wc and c + wc.
    const c = from + r + shiftC + 1;
    if (c < 0 || c > nc - 1) continue;
    const row = sa * k + sc * c;
    const low = r * width - 1 - shiftB - uMin;
    const high = low + width;
    for (let b = first; b <= end; b++) {
      const left = between(least[high + b], least[low + b], wc);
      const right = between(least[high + b + 1], least[low + b + 1], wc);
      const w = between(right, left, wb);
      const f = data[row + sb * b];
      const v = Math.min(w, f);
      out[row + sb * b] = v > HUGE ? Infinity : v < -HUGE ? -Infinity : v;
    }
  }
}

/** From a to b by share w; a column that has met nothing (it left the grid) says nothing, the other one counts alone. */
function between(a: number, b: number, w: number): number {
  if (a >= BOUND) return b;
  return b >= BOUND ? a : a + (b - a) * w;
}

export const sweepTask: Task<Columns, void> = { name: 'sweep.columns', run: columns };

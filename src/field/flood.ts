import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';

/**
 * Flood: over all 6-neighbour paths from the sources to a cell, the greatest possible value of the least field on the path
 * (maximin), and the necks through which pockets are entered. Negate the field before and the result after for a minimax.
 *
 * The flood sinks: cells are taken from the highest level down, and a cell above the level at which it is met is filled at
 * once from a stack (priority flood: Barnes, Lehman, Mulla, Priority-Flood, Computers & Geosciences 62, 2014). The queue has
 * one list for each 2^12 neighbouring float32 values and an exact heap for the list in hand.
 */
export interface FloodOptions {
  /** Cells below it are not entered, mm. Default: only cells of -Infinity (and NaN) are not entered. */
  readonly floor?: number;
  /**
   * A pocket whose own summit rises less than this above its neck, mm, is no pocket: it is joined to the one before it.
   * Default: one cell step.
   */
  readonly persistence?: number;
}

/** The narrow place through which a pocket (a connected set of cells that lie higher than they can be reached) is entered. */
export interface Neck {
  /** Index of the narrowest cell. */
  readonly cell: number;
  /** The field there, mm: a ball of this radius just passes. */
  readonly level: number;
  /** The highest cell behind the neck and its value, mm; pockets farther in count too. */
  readonly peakCell: number;
  readonly peak: number;
  /** Number of cells behind the neck, all pockets farther in included. */
  readonly cells: number;
  /** Index, in the same list, of the neck that must be passed before this one; -1 when there is none. */
  readonly parent: number;
}

export interface Flood {
  /** Maximin, mm; -Infinity where no path leads. */
  readonly reach: Field;
  /** From the widest to the narrowest; a parent stands before its children. */
  readonly necks: readonly Neck[];
  /** A cell each: index of the last neck passed on the way to it, -1 when none was, UNREACHED where no path leads. */
  readonly labels: Int32Array;
}

export const UNREACHED = -2;

/** Bits of a cell's state: the six sides of the grid it lies on, then what the flood has done with it. */
const DONE = 64;
const SOURCE = 128;
const BUCKET_SHIFT = 12;
const MINUS_ZERO = 0x80000000 | 0;

/**
 * Floods `field` from the cells `sources` (indices; those that may not be entered are passed over). Exact: equal, to the bit,
 * to a textbook shortest-path search. Cells of equal value are taken in a fixed order, so necks and labels are reproducible.
 */
export function flood(field: Field, sources: readonly number[], options: FloodOptions = {}): Flood {
  const f = field.data;
  const n = cellCount(field.grid);
  const floor = options.floor ?? -Infinity;
  const reach = new Float32Array(n).fill(-Infinity);
  const labels = new Int32Array(n).fill(UNREACHED);
  const state = sides(field.grid);
  const offset = [-1, 1, -field.grid.nx, field.grid.nx, -field.grid.nx * field.grid.ny, field.grid.nx * field.grid.ny];
  const queue = new SinkingQueue(f);
  const pockets = new Pockets();
  const stack: number[] = [];

  for (const s of sources) {
    if (state[s] & DONE || !(f[s] >= floor) || f[s] === -Infinity) continue;
    state[s] |= DONE | SOURCE;
    reach[s] = f[s];
    labels[s] = -1;
    queue.push(s);
  }
  for (let c = queue.pop(); c >= 0; c = queue.pop()) {
    const level = f[c];
    const border = state[c];
    for (let d = 0; d < 6; d++) {
      if (border & (1 << d)) continue;
      const n = c + offset[d];
      if (state[n] & DONE) continue;
      state[n] |= DONE;
      const v = f[n];
      if (!(v >= floor) || v === -Infinity) continue;
      if (v <= level) {
        reach[n] = v;
        labels[n] = labels[c];
        queue.push(n);
        continue;
      }
      // Upwards: everything higher that hangs together with n is reached at this level. From a source that is no neck.
      const id = border & SOURCE ? labels[c] : pockets.add(c, level, labels[c]);
      let peak = v;
      let peakCell = n;
      reach[n] = level;
      labels[n] = id;
      stack.push(n);
      while (stack.length > 0) {
        const p = stack.pop()!;
        const sides = state[p];
        for (let e = 0; e < 6; e++) {
          if (sides & (1 << e)) continue;
          const q = p + offset[e];
          if (state[q] & DONE) continue;
          state[q] |= DONE;
          const w = f[q];
          if (w > level) {
            reach[q] = level;
            labels[q] = id;
            stack.push(q);
            if (w > peak) {
              peak = w;
              peakCell = q;
            }
          } else if (w >= floor && w !== -Infinity) {
            reach[q] = w;
            labels[q] = id;
            queue.push(q);
          }
        }
      }
      if (!(border & SOURCE)) pockets.summit(peak, peakCell);
    }
  }
  const necks = pockets.finish(labels, options.persistence ?? field.grid.step);
  return { reach: { grid: field.grid, data: reach }, necks, labels };
}

/** One byte a cell: bit d is set where the neighbour in direction d (-x, +x, -y, +y, -z, +z) would lie outside the grid. */
function sides({ nx, ny, nz }: Grid): Uint8Array {
  const state = new Uint8Array(nx * ny * nz);
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const row = nx * (j + ny * k);
      const bits = (j === 0 ? 4 : 0) | (j === ny - 1 ? 8 : 0) | (k === 0 ? 16 : 0) | (k === nz - 1 ? 32 : 0);
      if (bits) state.fill(bits, row, row + nx);
      state[row] |= 1;
      state[row + nx - 1] |= 2;
    }
  return state;
}

/**
 * Cells by falling value, where nothing is ever pushed above the value last popped. The float's bits, made monotone, choose
 * the list; lists are chained through one number a cell.
 */
class SinkingQueue {
  private readonly f: Float32Array;
  private readonly bits: Int32Array;
  private readonly next: Int32Array;
  private readonly head = new Int32Array(1 << (32 - BUCKET_SHIFT)).fill(-1);
  private heap = new Int32Array(1024);
  private size = 0;
  /** List that the heap holds; all above it are empty. */
  private current = 0;
  /** How many cells wait in the lists. */
  private waiting = 0;

  constructor(f: Float32Array) {
    this.f = f;
    this.bits = new Int32Array(f.buffer, f.byteOffset, f.length);
    this.next = new Int32Array(f.length);
  }

  push(cell: number): void {
    const b = this.bits[cell];
    // Monotone as an unsigned number; -0 goes with +0, to which it compares equal.
    const bucket = (b >= 0 || b === MINUS_ZERO ? b | 0x80000000 : ~b) >>> BUCKET_SHIFT;
    if (bucket === this.current) {
      this.sift(cell);
      return;
    }
    // Only sources come above the list in hand, before the first pop: the heap is still empty.
    if (bucket > this.current) this.current = bucket;
    this.next[cell] = this.head[bucket];
    this.head[bucket] = cell;
    this.waiting++;
  }

  /** The highest cell, or -1 when there is none left. */
  pop(): number {
    if (this.size === 0) {
      if (this.waiting === 0) return -1;
      const { head, next } = this;
      while (head[this.current] < 0) this.current--;
      for (let c = head[this.current]; c >= 0; c = next[c]) {
        this.sift(c);
        this.waiting--;
      }
      head[this.current] = -1;
    }
    const { heap, f } = this;
    const top = heap[0];
    const last = heap[--this.size];
    const n = this.size;
    const value = f[last];
    let i = 0;
    for (;;) {
      const first = 4 * i + 1;
      if (first >= n) break;
      let best = first;
      let high = f[heap[first]];
      const end = Math.min(first + 4, n);
      for (let j = first + 1; j < end; j++) {
        const v = f[heap[j]];
        if (v > high) {
          high = v;
          best = j;
        }
      }
      if (high <= value) break;
      heap[i] = heap[best];
      i = best;
    }
    heap[i] = last;
    return top;
  }

  private sift(cell: number): void {
    if (this.size === this.heap.length) {
      const wider = new Int32Array(this.heap.length * 2);
      wider.set(this.heap);
      this.heap = wider;
    }
    const { heap, f } = this;
    const value = f[cell];
    let i = this.size++;
    while (i > 0) {
      const up = (i - 1) >> 2;
      if (f[heap[up]] >= value) break;
      heap[i] = heap[up];
      i = up;
    }
    heap[i] = cell;
  }
}

/** The pockets met so far, numbered as they are entered: a parent has a smaller number than its children. */
class Pockets {
  private readonly cell: number[] = [];
  private readonly level: number[] = [];
  private readonly parent: number[] = [];
  private readonly peak: number[] = [];
  private readonly peakCell: number[] = [];

  add(cell: number, level: number, parent: number): number {
    this.cell.push(cell);
    this.level.push(level);
    this.parent.push(parent);
    return this.cell.length - 1;
  }

  /** Sets the summit of the pocket added last. */
  summit(peak: number, cell: number): void {
    this.peak.push(peak);
    this.peakCell.push(cell);
  }

  /** Joins pockets that do not matter to the ones before them, sums up what lies behind each neck, and renumbers `labels`. */
  finish(labels: Int32Array, persistence: number): Neck[] {
    const { cell, level, parent, peak, peakCell } = this;
    const count = cell.length;
    const kept = new Int32Array(count);
    const behind = new Float64Array(count);
    for (let c = 0; c < labels.length; c++) if (labels[c] >= 0) behind[labels[c]]++;
    let n = 0;
    // A pocket's own summit decides; what lies farther in has a narrower neck of its own.
    for (let p = 0; p < count; p++) kept[p] = peak[p] - level[p] >= persistence ? n++ : parent[p] < 0 ? -1 : kept[parent[p]];
    const isKept = (p: number): boolean => kept[p] >= 0 && (parent[p] < 0 || kept[p] !== kept[parent[p]]);
    const keep = Array.from({ length: count }, (_, p) => isKept(p));
    for (let p = count - 1; p >= 0; p--) {
      const up = parent[p];
      if (up < 0) continue;
      behind[up] += behind[p];
      if (peak[p] > peak[up]) {
        peak[up] = peak[p];
        peakCell[up] = peakCell[p];
      }
    }
    for (let c = 0; c < labels.length; c++) if (labels[c] >= 0) labels[c] = kept[labels[c]];
    const necks: Neck[] = [];
    for (let p = 0; p < count; p++)
      if (keep[p])
        necks.push({
          cell: cell[p],
          level: level[p],
          peakCell: peakCell[p],
          peak: peak[p],
          cells: behind[p],
          parent: parent[p] < 0 ? -1 : kept[parent[p]],
        });
    return necks;
  }
}

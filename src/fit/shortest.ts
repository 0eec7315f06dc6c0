import { type Field, sampleField } from '../core/field.ts';
import { cellAt, cellCentre, cellCount } from '../core/grid.ts';
import { add, distance, normalize, scale, sub, type Vec3 } from '../core/vec.ts';

/**
 * The shortest way through { field >= gap }: over the 26 neighbours, cells nearer to the goal first (A*: Hart, Nilsson and Raphael, 1968; the demo's
 * two hoses took 8.6 s of processor time without that), then pulled taut. A path of a grid has corners where the
 * taut one has none; each is cut off where the straight is free. The field changes by at most 1 mm per mm, so a straight is
 * looked along in steps as long as the room at each point allows, and nothing is passed over.
 */

/** The corners of the taut way from `from` to `to`; undefined where none leads. */
export function shortest(field: Field, gap: number, from: Vec3, to: Vec3): Vec3[] | undefined {
  const cells = alongCells(field, gap, cellAt(field.grid, from), cellAt(field.grid, to));
  if (!cells) return undefined;
  const inner = cells.slice(1, -1).map((c) => cellCentre(field.grid, c));
  return taut(field, gap, [from, ...inner, to]);
}

const NEIGHBOURS = [-1, 0, 1]
  .flatMap((z) => [-1, 0, 1].flatMap((y) => [-1, 0, 1].map((x) => [x, y, z] as const)))
  .filter(([x, y, z]) => x || y || z);

function alongCells(field: Field, gap: number, source: number, target: number): number[] | undefined {
  const { grid, data } = field;
  const { nx, ny, nz } = grid;
  if (source < 0 || target < 0) return undefined;
  const n = cellCount(grid);
  const done = new Uint8Array(n);
  const [ti, tj, tk] = [target % nx, Math.floor(target / nx) % ny, Math.floor(target / (nx * ny))];
  /** What is left to the goal at least: the way along the 26 neighbours with nothing between. */
  const left = (i: number, j: number, k: number): number => {
    const [x, y, z] = [Math.abs(i - ti), Math.abs(j - tj), Math.abs(k - tk)];
    const least = Math.min(x, y, z);
    const most = Math.max(x, y, z);
    return (Math.sqrt(3) - Math.SQRT2) * least + (Math.SQRT2 - 1) * (x + y + z - least - most) + most;
  };
  const best = new Float32Array(n).fill(Infinity);
  const before = new Int32Array(n).fill(-1);
  const heap = new Heap();
  best[source] = 0;
  heap.push(source, 0);
  while (heap.size > 0) {
    const c = heap.pop();
    if (c === target) break;
    if (done[c]) continue;
    done[c] = 1;
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    for (const [x, y, z] of NEIGHBOURS) {
      if (i + x < 0 || i + x >= nx || j + y < 0 || j + y >= ny || k + z < 0 || k + z >= nz) continue;
      const q = c + x + nx * (y + ny * z);
      if (!(data[q] >= gap) && q !== target) continue;
      // Rounded as it is kept: else an equal way could look shorter for ever.
      const way = Math.fround(best[c] + Math.sqrt(x * x + y * y + z * z));
      if (!done[q] && way < best[q]) {
        best[q] = way;
        before[q] = c;
        heap.push(q, way + left(i + x, j + y, k + z));
      }
    }
  }
  if (best[target] === Infinity) return undefined;
  const path = [target];
  while (path[path.length - 1] !== source) path.push(before[path[path.length - 1]]);
  return path.reverse();
}

/** A binary heap of cells by key; entries that are out of date are passed over by the caller. */
class Heap {
  private keys = new Float32Array(1024);
  private cells = new Int32Array(1024);
  size = 0;

  push(cell: number, key: number): void {
    if (this.size === this.keys.length) {
      const keys = new Float32Array(2 * this.size);
      keys.set(this.keys);
      const cells = new Int32Array(2 * this.size);
      cells.set(this.cells);
      this.keys = keys;
      this.cells = cells;
    }
    const { keys, cells } = this;
    let i = this.size++;
    for (let up = (i - 1) >> 1; i > 0 && keys[up] > key; up = (i - 1) >> 1) {
      keys[i] = keys[up];
      cells[i] = cells[up];
      i = up;
    }
    keys[i] = key;
    cells[i] = cell;
  }

  pop(): number {
    const { keys, cells } = this;
    const top = cells[0];
    const last = --this.size;
    const key = keys[last];
    const cell = cells[last];
    let i = 0;
    for (;;) {
      let down = 2 * i + 1;
      if (down >= last) break;
      if (down + 1 < last && keys[down + 1] < keys[down]) down++;
      if (keys[down] >= key) break;
      keys[i] = keys[down];
      cells[i] = cells[down];
      i = down;
    }
    keys[i] = key;
    cells[i] = cell;
    return top;
  }
}

/** Rounds of pulling: each goes along the line once and cuts corners off, from the far end of sight; and passes of straightening in each. */
const ROUNDS = 4;
const PASSES = 30;

function taut(field: Field, gap: number, line: readonly Vec3[]): Vec3[] {
  let corners = [...line];
  for (let round = 0; round < ROUNDS; round++) {
    const before = corners.length;
    corners = relaxed(field, gap, cut(field, gap, corners));
    if (corners.length === before) break;
  }
  return merged(field, gap, corners);
}

/** Corners nearer to each other than a cell become one: two half turns in one place leave no room for an arc between them. */
function merged(field: Field, gap: number, line: readonly Vec3[]): Vec3[] {
  const out = [line[0]];
  for (let i = 1; i < line.length; i++) {
    const last = out[out.length - 1];
    const inner = out.length > 1 && i + 1 < line.length;
    const middle = scale(add(last, line[i]), 0.5);
    // What the middle may lack is less than the cells can tell; the curve is held against the surfaces themselves afterwards.
    const near = distance(last, line[i]) < field.grid.step && sampleField(field, middle) > gap - field.grid.step / 4;
    if (inner && near) out[out.length - 1] = middle;
    else out.push(line[i]);
  }
  return out;
}

/** From each corner on to the farthest one in sight. */
function cut(field: Field, gap: number, line: readonly Vec3[]): Vec3[] {
  const out = [line[0]];
  for (let i = 0; i < line.length - 1; ) {
    let next = i + 1;
    // Doubling, then halving: lines have hundreds of points.
    let reach = 1;
    while (i + 2 * reach < line.length && free(field, gap, line[i], line[i + 2 * reach])) reach *= 2;
    for (let step = reach; step >= 1; step = step >> 1)
      if (next + step < line.length && free(field, gap, line[i], line[next + step])) next += step;
    out.push(line[next]);
    i = next;
  }
  return out;
}

/** Moves each corner towards its neighbours and towards the straight between them, as far as both sides stay free: each makes the line shorter. */
function relaxed(field: Field, gap: number, line: readonly Vec3[]): Vec3[] {
  const out = [...line];
  for (let pass = 0; pass < PASSES; pass++)
    for (let i = 1; i + 1 < out.length; i++) {
      const [a, b, c] = [out[i - 1], out[i], out[i + 1]];
      const share = distance(a, b) / Math.max(distance(a, b) + distance(b, c), 1e-9);
      for (const aim of [add(a, scale(sub(c, a), share)), a, c]) {
        const b = out[i];
        for (let t = 1; t > 0.002; t /= 2) {
          const p = add(b, scale(sub(aim, b), t));
          if (!free(field, gap, a, p) || !free(field, gap, p, c)) continue;
          out[i] = p;
          break;
        }
      }
    }
  return out;
}

/** Whether the straight between two points keeps the gap, to a fiftieth of a cell. */
function free(field: Field, gap: number, a: Vec3, b: Vec3): boolean {
  const long = distance(a, b);
  if (long === 0) return true;
  const d = normalize(sub(b, a));
  const least = field.grid.step / 4;
  const slop = field.grid.step / 50;
  for (let t = 0; t < long; ) {
    const room = sampleField(field, add(a, scale(d, t))) - gap;
    if (room < -slop) return false;
    t += Math.max(room, least);
  }
  return sampleField(field, b) - gap >= -slop;
}

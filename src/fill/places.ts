import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { add, distance, dot, length, scale, sub, type Vec3 } from '../core/vec.ts';
import { heights } from './level.ts';

/**
 * Where a single vent or pickup does best. One pass a direction gives, for every cell of the cavity at once, what would be held back
 * if the only outlet were there: cells are added from the highest down to a forest of joined parts (union-find). When
 * two parts meet, each loses the other, for an outlet in the one can only be reached from the other by first going down to where they meet.
 * Held against one flood for each cell in the tests; a flood a cell would take hours.
 */

/** An outlet's place with the worst it does over the directions asked. */
export interface Place {
  readonly at: Vec3;
  /** mm3 held back at the worst and on average. */
  readonly worst: number;
  readonly mean: number;
  /** Index of the worst direction. */
  readonly worstOf: number;
}

/**
 * mm3 held back along `up` for an outlet in each cell of { cavity > 0 }; Infinity elsewhere. A cell counts its own share (half a cell at
 * the border) where its centre lies, so the figures are for comparing places.
 */
export function lossEverywhere(cavity: Field, up: Vec3): Float64Array {
  const { grid, data: f } = cavity;
  const { nx, ny, nz, step } = grid;
  const top = heights(cavity, up).data;
  const order = fallingOrder(top);
  const forest = new Forest(f.length);
  const slice = nx * ny;
  const next = [-1, 1, -nx, nx, -slice, slice];
  const roots: number[] = [];
  // A cell can be passed from its highest point down, but its volume stands at its centre: it is added when the level has come that far.
  const centre = Float32Array.from(top, (t, c) => t - Math.min(f[c], step));
  const sunk = fallingOrder(centre);
  let s = 0;
  for (const c of order) {
    for (; s < sunk.length && centre[sunk[s]] >= top[c]; s++) forest.grow(sunk[s], volumeOf(f[sunk[s]], step));
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / slice);
    roots.length = 0;
    for (let d = 0; d < 6; d++) {
      if ((d === 0 && i === 0) || (d === 1 && i + 1 === nx) || (d === 2 && j === 0)) continue;
      if ((d === 3 && j + 1 === ny) || (d === 4 && k === 0) || (d === 5 && k + 1 === nz)) continue;
      const n = c + next[d];
      if (!forest.has(n)) continue;
      const r = forest.root(n);
      if (!roots.includes(r)) roots.push(r);
    }
    forest.join(c, roots);
  }
  for (; s < sunk.length; s++) forest.grow(sunk[s], volumeOf(f[sunk[s]], step));
  return forest.losses();
}

const volumeOf = (f: number, step: number): number => Math.min(1, 0.5 + f / step) * step ** 3;

/**
 * Cells above -Infinity from the highest to the lowest; equal ones by their index. Both go into one number (32 bits of the value, then the index),
 * so that the sort needs no function to compare: exact up to 2^21 cells.
 */
function fallingOrder(top: Float32Array): Int32Array {
  const n = top.length;
  const bits = new Int32Array(top.buffer, top.byteOffset, n);
  const keys = new Float64Array(n);
  let count = 0;
  for (let c = 0; c < n; c++) {
    if (!(top[c] > -Infinity)) continue;
    // The bits of negative values count downwards.
    const rank = bits[c] < 0 ? -(bits[c] & 0x7fffffff) : bits[c];
    keys[count++] = c - rank * n;
  }
  return Int32Array.from(keys.subarray(0, count).sort(), (k) => ((k % n) + n) % n);
}

/** Union-find in which a number can be added to all members of a part at once: it is kept at the root, less what the root later joins. */
class Forest {
  private readonly parent: Int32Array;
  private readonly extra: Float64Array;
  private readonly size: Float64Array;

  constructor(n: number) {
    this.parent = new Int32Array(n).fill(-1);
    this.extra = new Float64Array(n);
    this.size = new Float64Array(n);
  }

  has(c: number): boolean {
    return this.parent[c] >= 0;
  }

  /** Root of a part, its path shortened: afterwards every member on it points at the root and holds its whole sum down to there. */
  root(c: number): number {
    let r = c;
    while (this.parent[r] !== r) r = this.parent[r];
    // From the top of the path down: each member takes over what stands between it and the root.
    let sum = 0;
    for (let m = c; this.parent[m] !== m && m !== r; m = this.parent[m]) sum += this.extra[m];
    for (let m = c; m !== r; ) {
      const up = this.parent[m];
      const own = this.extra[m];
      this.parent[m] = r;
      this.extra[m] = sum;
      sum -= own;
      m = up;
    }
    return r;
  }

  /** Adds a volume to the part that cell `c` belongs to: it lies below every place where the part's members met, so none of them loses it. */
  grow(c: number, v: number): void {
    this.size[this.root(c)] += v;
  }

  /** Adds cell `c` under the parts `roots` that it touches: each loses the others, and the cell itself loses them all. */
  join(c: number, roots: readonly number[]): void {
    let all = 0;
    for (const r of roots) all += this.size[r];
    let head = c;
    for (const r of roots) {
      this.extra[r] += all - this.size[r];
      if (head === c || this.size[r] > this.size[head]) head = r;
    }
    this.parent[head] = head;
    for (const r of roots) {
      if (r === head) continue;
      this.parent[r] = head;
      this.extra[r] -= this.extra[head];
    }
    if (head !== c) {
      this.parent[c] = head;
      this.extra[c] = all - this.extra[head];
    }
    this.size[head] = all;
  }

  /** Sum of each member down to its root, with everything that never joined its part. */
  losses(): Float64Array {
    let total = 0;
    for (let c = 0; c < this.parent.length; c++) if (this.parent[c] === c) total += this.size[c];
    return Float64Array.from(this.parent, (p, c) => {
      if (p < 0) return Infinity;
      const r = this.root(c);
      return this.extra[r] + (c === r ? 0 : this.extra[c]) + total - this.size[r];
    });
  }
}

export interface PlaceOptions {
  /** How many places, at least `apart` mm from each other. */
  readonly count: number;
  readonly apart: number;
  /** Places that may be taken at all. */
  readonly allow?: (p: Vec3) => boolean;
  /** Of equally good places those farthest along it go first. */
  readonly prefer: Vec3;
}

/**
 * The best places at the cavity's border for one outlet, over all `ups`: least at the worst, then least on average, then farthest along
 * `prefer`, then nearest the middle. Differences under a thousandth of the cavity count as none.
 */
export function bestPlaces(cavity: Field, ups: readonly Vec3[], options: PlaceOptions): Place[] {
  const { grid, data: f } = cavity;
  const all = ups.map((u) => lossEverywhere(cavity, u));
  let volume = 0;
  let middle: Vec3 = [0, 0, 0];
  for (let c = 0; c < f.length; c++) {
    if (!(f[c] > 0)) continue;
    volume += grid.step ** 3;
    middle = add(middle, cellCentre(grid, c));
  }
  middle = scale(middle, grid.step ** 3 / Math.max(volume, 1e-9));
  const grain = Math.max(volume / 1000, 1e-9);
  const found: { place: Place; rank: [number, number, number, number] }[] = [];
  for (let c = 0; c < f.length; c++) {
    if (!(f[c] > 0) || f[c] > 1.2 * grid.step) continue;
    const at = cellCentre(grid, c);
    if (options.allow && !options.allow(at)) continue;
    let worst = -1;
    let mean = 0;
    let worstOf = 0;
    for (let d = 0; d < all.length; d++) {
      mean += all[d][c] / all.length;
      if (all[d][c] > worst) {
        worst = all[d][c];
        worstOf = d;
      }
    }
    const along = dot(at, options.prefer);
    const off = sub(sub(at, middle), scale(options.prefer, dot(sub(at, middle), options.prefer)));
    const rank: [number, number, number, number] = [
      Math.round(worst / grain),
      Math.round(mean / grain),
      -Math.round((2 * along) / grid.step),
      Math.round((2 * length(off)) / grid.step),
    ];
    found.push({ place: { at, worst, mean, worstOf }, rank });
  }
  found.sort((a, b) => a.rank[0] - b.rank[0] || a.rank[1] - b.rank[1] || a.rank[2] - b.rank[2] || a.rank[3] - b.rank[3]);
  const out: Place[] = [];
  for (const { place } of found) {
    if (out.length === options.count) break;
    if (out.every((o) => distance(o.at, place.at) >= options.apart)) out.push(place);
  }
  return out;
}

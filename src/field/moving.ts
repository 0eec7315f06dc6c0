import { type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import { type Field, sampleAt } from '../core/field.ts';
import type { Joint } from '../core/joint.ts';

/**
 * Distance to a part that moves: the least over its poses, from one distance field of the part as scanned.
 *
 * The distance from x to the part in a pose is the part's own field at x moved back. Between poses it changes by no more than x itself
 * moves, so a range of poses whose middle is farther off than the best so far by the way to the range's end cannot do better and
 * is dropped whole; else it is halved. No pose is stepped over: the result is at most the tolerance too large, besides what the field
 * itself is off between its cells (it never reads higher than it is along a ridge, and up to a third of a cell too high at the surface itself).
 *
 * A ball on an arm of 120 mm, turned by 90 degrees, cells of 4 mm, a tolerance of 0.4 cell: off by 0.09 cell at most beside its surface; with a
 * slide as well 0.22 cell. Measured on the sample's front end in 8 mm cells (least of four runs): for a slide and a turn searched together the parabola at
 * the end, with a tolerance of 0.4 cell, takes 1.4 s where ranges down to 0.2 cell without it take 2.3 s and end higher; starting from the pose
 * that won the cell before takes off a quarter more; for one joint neither shows beside the noise. A trilinear read written out here was no faster than the shared one.
 */

/** The distance field of a part as scanned, mm, on a grid that holds its box and `reach` round it, or as much of that as is asked for. */
export interface PartField {
  readonly field: Field;
  readonly reach: number;
}

/** Beyond the levels the distance may be rougher: by this share of how far it is. */
const ROUGHER = 0.1;
const HALVES = [-1, 1];

/** How a part moves, and how closely its distance is wanted. */
export interface Motion {
  /** One or two; the second carries the first. */
  readonly joints: readonly Joint[];
  /** What is taken off the distance, mm. */
  readonly offset: number;
  /** Greatest level at which the target is cut, mm. */
  readonly level: number;
  /** Distance, mm, at which a cell is taken for certain and the search for less ends. */
  readonly certain: number;
  /** How much too large a distance may be, in cells of the target. */
  readonly tolerance: number;
  /** Cells whose distance is more than this already keep it, mm. */
  readonly within?: number;
}

interface Sweep extends Motion {
  readonly target: Field;
  readonly part: PartField;
  readonly from: number;
  readonly to: number;
}

/**
 * Lowers `target` (memory of the context's pool) to the distance to the moving part less the offset, mm, where that is less.
 * `part.reach` must be at least the target's greatest value plus the offset.
 */
export async function lowerToMoving(target: Field, part: PartField, motion: Motion, context: Context): Promise<void> {
  const { pool } = context;
  const parts = pool.size === 1 ? 1 : pool.size * 4;
  await pool.map(
    movingTask,
    slabs(target.grid.nz, parts).map((s) => ({ target, part, ...motion, ...s })),
  );
  checkCancelled(context);
}

function lower(args: Sweep): void {
  const { target, part, joints, offset, level, certain, tolerance, within = Infinity } = args;
  const { grid, data } = target;
  const search = new PoseSearch(part, joints, tolerance * grid.step);
  let c = args.from * grid.nx * grid.ny;
  for (let k = args.from; k < args.to; k++) {
    search.restart();
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        if (!(data[c] + offset > certain) || data[c] + offset > within) continue;
        const x = grid.origin[0] + i * grid.step;
        const y = grid.origin[1] + j * grid.step;
        const z = grid.origin[2] + k * grid.step;
        const d = search.least(x, y, z, { bound: data[c] + offset, enough: certain, exact: offset + level });
        if (d - offset < data[c]) data[c] = d - offset;
      }
  }
}

export const movingTask: Task<Sweep, void> = { name: 'moving.lower', run: lower };

/** What is asked at one point, mm: nothing of `bound` or more, any value of `enough` or less, roughly beyond `exact`. */
interface Question {
  readonly bound: number;
  readonly enough: number;
  readonly exact: number;
}

class PoseSearch {
  private readonly part: Field;
  private readonly reach: number;
  private readonly joints: readonly Joint[];
  private readonly tolerance: number;
  /** Ranges that wait: middle and half-width of each joint's values. */
  private readonly stack = new Float64Array(4 * 256);
  private readonly p = new Float64Array(3);
  /** The pose that was best last: the inner joint's value, and the outer one's when there are two. */
  private bestA = 0;
  private bestB = 0;
  private inner = 0;

  constructor(part: PartField, joints: readonly Joint[], tolerance: number) {
    this.part = part.field;
    this.reach = part.reach;
    this.joints = joints;
    this.tolerance = tolerance;
    this.restart();
  }

  /** Forgets the pose that was best last, so that what follows does not hang on what went before. */
  restart(): void {
    const middle = (j: Joint): number => (j.from + j.to) / 2;
    this.bestA = middle(this.joints[0]);
    this.bestB = this.joints.length > 1 ? middle(this.joints[1]) : 0;
  }

  /** Least distance over all poses, within the tolerance; `bound` where it is not less. */
  least(x: number, y: number, z: number, ask: Question): number {
    const { joints, stack } = this;
    const two = joints.length > 1;
    const first = joints[0];
    const last = joints[joints.length - 1];
    let best = ask.bound;
    let found = false;
    // The pose that won the cell before is a good guess: with it most ranges fall at once.
    const guess = this.at(x, y, z, this.bestA, this.bestB);
    if (guess < best) {
      best = guess;
      found = true;
      if (best <= ask.enough) return best;
    }
    stack[0] = (first.from + first.to) / 2;
    stack[1] = (first.to - first.from) / 2;
    stack[2] = two ? (last.from + last.to) / 2 : 0;
    stack[3] = two ? (last.to - last.from) / 2 : 0;
    let top = 4;
    // The outer joint's axis stands still, so its arm at x is the same in all poses.
    const outer = arm(last, x, y, z);
    while (top > 0) {
      top -= 4;
      const a = stack[top];
      const ha = stack[top + 1];
      const b = stack[top + 2];
      const hb = stack[top + 3];
      const d = this.at(x, y, z, a, b);
      const wayB = two ? outer * hb : 0;
      // Moving the outer joint moves the point, and with it the arm about the inner axis.
      const wayA = (two ? this.inner + (first.kind === 'turn' ? wayB : 0) : outer) * ha;
      const way = wayA + wayB;
      if (d < best) {
        best = d;
        found = true;
        this.bestA = a;
        this.bestB = b;
        if (best <= ask.enough) return best;
      }
      const slack = this.tolerance + (best > ask.exact ? ROUGHER * (best - ask.exact) : 0);
      if (d - way >= best - slack || way <= slack) continue;
      const splitB = wayB > wayA;
      const q = splitB ? hb / 2 : ha / 2;
      for (const s of HALVES) {
        stack[top] = splitB ? a : a + s * q;
        stack[top + 1] = splitB ? ha : q;
        stack[top + 2] = splitB ? b + s * q : b;
        stack[top + 3] = splitB ? q : hb;
        top += 4;
      }
    }
    return found ? this.refined(x, y, z, best, outer) : best;
  }

  /** The least of parabolas through the best pose and those half a tolerance's way beside it, one joint after the other. */
  private refined(x: number, y: number, z: number, from: number, outer: number): number {
    let best = from;
    for (let i = this.joints.length - 1; i >= 0; i--) {
      const j = this.joints[i];
      const length = i === this.joints.length - 1 ? outer : this.inner;
      const h = length > 0 ? Math.min((2 * this.tolerance) / length, (j.to - j.from) / 2) : 0;
      if (!(h > 0)) continue;
      const of = (v: number): number => (i === 0 ? this.at(x, y, z, v, this.bestB) : this.at(x, y, z, this.bestA, v));
      const middle = Math.min(Math.max(i === 0 ? this.bestA : this.bestB, j.from + h), j.to - h);
      const [l, m, r] = [of(middle - h), of(middle), of(middle + h)];
      const bend = l + r - 2 * m;
      const v = bend > 0 ? Math.min(Math.max(middle + (h * (l - r)) / (2 * bend), j.from), j.to) : l < r ? middle - h : middle + h;
      const d = of(v);
      if (d < best) {
        best = d;
        if (i === 0) this.bestA = v;
        else this.bestB = v;
      }
    }
    return best;
  }

  /** The distance in one pose; leaves the arm about the inner joint's axis in `inner`. */
  private at(x: number, y: number, z: number, a: number, b: number): number {
    const { joints, p } = this;
    p[0] = x;
    p[1] = y;
    p[2] = z;
    if (joints.length > 1) {
      back(joints[1], b, p);
      this.inner = arm(joints[0], p[0], p[1], p[2]);
    }
    back(joints[0], a, p);
    return this.distance();
  }

  /** The part's own field at this.p; beyond its grid the reach and the way from there, which is never more than the distance. */
  private distance(): number {
    const { nx, ny, nz, step, origin } = this.part.grid;
    const [px, py, pz] = this.p;
    const gx = (px - origin[0]) / step;
    const gy = (py - origin[1]) / step;
    const gz = (pz - origin[2]) / step;
    const x = Math.min(Math.max(gx, 0), nx - 1);
    const y = Math.min(Math.max(gy, 0), ny - 1);
    const z = Math.min(Math.max(gz, 0), nz - 1);
    if (x !== gx || y !== gy || z !== gz) return this.reach + Math.sqrt((gx - x) ** 2 + (gy - y) ** 2 + (gz - z) ** 2) * step;
    return sampleAt(this.part, px, py, pz);
  }
}

/** How far a point moves for a change of 1 in a joint's value. */
function arm(j: Joint, x: number, y: number, z: number): number {
  if (j.kind === 'slide') return 1;
  const dx = x - j.at[0];
  const dy = y - j.at[1];
  const dz = z - j.at[2];
  const along = dx * j.along[0] + dy * j.along[1] + dz * j.along[2];
  return Math.sqrt(Math.max(0, dx * dx + dy * dy + dz * dz - along * along));
}

/** Moves a point back by a joint's value. */
function back(j: Joint, value: number, p: Float64Array): void {
  const [ux, uy, uz] = j.along;
  if (j.kind === 'slide') {
    p[0] -= value * ux;
    p[1] -= value * uy;
    p[2] -= value * uz;
    return;
  }
  const c = Math.cos(value);
  const s = -Math.sin(value);
  const x = p[0] - j.at[0];
  const y = p[1] - j.at[1];
  const z = p[2] - j.at[2];
  const along = (x * ux + y * uy + z * uz) * (1 - c);
  p[0] = j.at[0] + x * c + (uy * z - uz * y) * s + ux * along;
  p[1] = j.at[1] + y * c + (uz * x - ux * z) * s + uy * along;
  p[2] = j.at[2] + z * c + (ux * y - uy * x) * s + uz * along;
}

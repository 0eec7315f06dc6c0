import type { Field } from '../core/field.ts';
import { CYCLE_OF, EDGE_CORNER } from './dual.ts';
import { solveQef } from './qef.ts';

/**
 * Vertices that keep creases, for fields that are locally the least of smooth functions (distances).
 *
 * Near a cube the field is taken as the least of eight planes, one through each corner, with one-sided gradients: along each axis
 * the side whose second difference is smaller, so that the stencil does not reach across a crease (essentially non-oscillatory differences,
 * Harten et al., J. Comput. Phys. 71, 1987). A vertex is the point that fits the active planes of its crossings best (the quadratic error
 * of Ju et al., Dual contouring of Hermite data, SIGGRAPH 2002), pulled back toward the crossings' mean
 * where the model says that it has left the set.
 *
 * Where three pieces meet, both sides of a sample may cross a crease. Such a sample borrows the plane of a sure sample nearby that
 * predicts its value; planes that cut the vertex off join the fit. Without this, corners of a turned box were up to a cell short.
 */
/** Normals closer than this cosine are one smooth face. */
const SMOOTH = 0.96;
/** Outward shift of smooth vertices per second difference: mean of crossings and faces lie inside a curved surface. */
const SAGITTA = 0.15;
const MOST_BEND = 0.25;

/** Samples whose second differences are below this, in cells, have a sure gradient: first the strict bound, then, if it finds less than two planes, the other. */
const SURE = [0.001, 0.03];
const GRADES = 3;
/** A borrowed plane predicts the sample within this, in cells. */
const FITS = 0.05;
/** Sure planes are looked for so many samples round the cube; at most this many different ones are kept. */
const AROUND = 2;
const MOST_PLANES = 12;
/** How far outside its cube a vertex on sure planes may lie, in cells: tips and crests that slip between the samples. */
const REACH = 0.75;
/** A corner fits its planes to this, in cells. */
const EXACT = 2e-3;

export class Creases {
  private readonly data: Float32Array;
  private readonly n: readonly [number, number, number];
  private readonly stride: readonly [number, number, number];
  private readonly level: number;
  private readonly step: number;
  private value: Float64Array = new Float64Array(8);
  private low: Int32Array = new Int32Array(3);
  /**
   * Planes: value at the cube's lowest corner, gradient and second differences, seven numbers each, in mm and cells. The first eight
   * belong to the corners, others are sure planes from nearby.
   */
  private readonly plane = new Float64Array(7 * (8 + MOST_PLANES));
  private planes = 8;
  /** One-sided derivatives along x, y, z and second differences, six numbers a sample, and 1 + where a sample's stand; 0: not worked out. */
  private slopes = new Float64Array(6 * 4096);
  private slots = 0;
  private readonly slotOf: Int32Array;
  /** How sure a sample's slopes are: 0 not worked out, 1 not, 2 and 3 by the loose and the strict bound. */
  private readonly grade: Uint8Array;
  /** The bound in force, mm. */
  private below = 0;
  /** Whether nearby planes have been looked for, and whether every corner has a sure plane now. */
  private searched = false;
  private sure = false;
  /** Points and unit normals of the cycle's crossings, then of planes that cut the vertex off. */
  private readonly points = new Float64Array(48);
  private readonly normals = new Float64Array(48);
  private readonly trial = new Float64Array(3);
  private readonly mass = new Float64Array(3);
  /** Mean second difference over slope at the last crossings. */
  private curvature = 0;
  /** How far outside the cube the last vertex may lie. */
  reach = 0;

  constructor(field: Field, level: number) {
    const { nx, ny, nz, step } = field.grid;
    this.data = field.data;
    this.slotOf = new Int32Array(nx * ny * nz);
    this.grade = new Uint8Array(nx * ny * nz);
    this.n = [nx, ny, nz];
    this.stride = [1, nx, nx * ny];
    this.level = level;
    this.step = step;
  }

  /** Loads the cube whose lowest corner is sample `low` (all of it in the grid); `value` holds the corners' values less the level. */
  cube(low: Int32Array, value: Float64Array): void {
    this.value = value;
    this.low = low;
    this.planes = 8;
    this.searched = false;
    for (let c = 0; c < 8; c++) this.fit(c, c & 1, (c >> 1) & 1, c >> 2, value[c]);
  }

  /** Fits plane number `p` to the sample (x, y, z) cells from the lowest corner, of value `f0`. */
  private fit(p: number, x: number, y: number, z: number, f0: number): void {
    const { low, stride, plane } = this;
    const s = 6 * this.slopesAt(low[0] + x, low[1] + y, low[2] + z, low[0] + x + stride[1] * (low[1] + y) + stride[2] * (low[2] + z), f0);
    const { slopes } = this;
    const o = 7 * p;
    for (let a = 0; a < 6; a++) plane[o + 1 + a] = slopes[s + a];
    plane[o] = f0 - plane[o + 1] * x - plane[o + 2] * y - plane[o + 3] * z;
  }

  /** Where in `slopes` those of sample `c` = (i, j, k), of value `f0`, stand: worked out once for all the cubes that use it. */
  private slopesAt(i: number, j: number, k: number, c: number, f0: number): number {
    const { n, stride, slotOf } = this;
    if (slotOf[c] > 0) return slotOf[c] - 1;
    const slot = this.slots++;
    if (6 * this.slots > this.slopes.length) {
      const more = new Float64Array(2 * this.slopes.length);
      more.set(this.slopes);
      this.slopes = more;
    }
    slotOf[c] = slot + 1;
    this.oneSided(6 * slot, 1, c, i, n[0], f0);
    this.oneSided(6 * slot + 1, stride[1], c, j, n[1], f0);
    this.oneSided(6 * slot + 2, stride[2], c, k, n[2], f0);
    const { slopes } = this;
    const bent = Math.abs(slopes[6 * slot + 3]) + Math.abs(slopes[6 * slot + 4]) + Math.abs(slopes[6 * slot + 5]);
    this.grade[c] = bent < SURE[0] * this.step ? GRADES : bent < SURE[1] * this.step ? GRADES - 1 : 1;
    return slot;
  }

  /** One-sided derivative at sample `c`, number i of n along an axis of stride `d`; to slopes[o] and, its second difference, slopes[o + 3]. */
  private oneSided(o: number, d: number, c: number, i: number, n: number, f0: number): void {
    const f = this.data;
    const l = this.level;
    const p1 = i + 1 < n ? f[c + d] - l - f0 : Number.NaN;
    const m1 = i > 0 ? f0 - f[c - d] + l : Number.NaN;
    const sp = i + 2 < n ? f[c + 2 * d] - l - f0 - 2 * p1 : Number.NaN;
    // f(-2) - 2 f(-1) + f(0), written with the difference m1 = f(0) - f(-1).
    const sm = i > 1 ? 2 * m1 - f0 + f[c - 2 * d] - l : Number.NaN;
    const forward = sp - sp === 0;
    const backward = sm - sm === 0;
    let g = 0;
    let s = 0;
    // A crease through the sample itself: either side is smooth by itself, so neither may speak for both; it counts as unsure.
    if (forward && backward && Math.abs(Math.abs(sp) - Math.abs(sm)) < 1e-4 * this.step && Math.abs(p1 - m1) > 0.05 * this.step) {
      g = (p1 + m1) / 2;
      s = p1 - m1;
    } else if (forward && (!backward || Math.abs(sp) < Math.abs(sm))) {
      s = sp;
      g = p1 - sp / 2;
    } else if (backward) {
      s = sm;
      g = m1 + sm / 2;
    } else if (p1 - p1 === 0) g = p1;
    else if (m1 - m1 === 0) g = m1;
    this.slopes[o] = g;
    this.slopes[o + 3] = s;
  }

  private isSure(p: number): boolean {
    const { plane, below } = this;
    const o = 7 * p;
    return Math.abs(plane[o + 4]) + Math.abs(plane[o + 5]) + Math.abs(plane[o + 6]) < below;
  }

  /** Value of plane `p` at a point, cells from the lowest corner. */
  private at(p: number, x: number, y: number, z: number): number {
    const o = 7 * p;
    return this.plane[o] + this.plane[o + 1] * x + this.plane[o + 2] * y + this.plane[o + 3] * z;
  }

  /** Collects the different sure planes nearby and lends them to corners that have none. */
  private search(): void {
    this.searched = true;
    for (let n = 0; n < SURE.length && this.planes < 10; n++) this.collect(SURE[n] * this.step, GRADES - n);
    this.lend();
  }

  private collect(below: number, least: number): void {
    this.below = below;
    this.planes = 8;
    const { low, n, stride, data, level, grade } = this;
    const from = [0, 1, 2].map((a) => Math.max(-AROUND, -low[a]));
    const to = [0, 1, 2].map((a) => Math.min(1 + AROUND, n[a] - 1 - low[a]));
    for (let z = from[2]; z <= to[2]; z++)
      for (let y = from[1]; y <= to[1]; y++)
        for (let x = from[0]; x <= to[0] && this.planes < 8 + MOST_PLANES; x++) {
          const c = low[0] + x + stride[1] * (low[1] + y) + stride[2] * (low[2] + z);
          if (grade[c] !== 0 && grade[c] < least) continue;
          const f = data[c] - level;
          if (f - f !== 0) continue;
          if (grade[c] === 0) this.slopesAt(low[0] + x, low[1] + y, low[2] + z, c, f);
          if (grade[c] < least) continue;
          this.fit(this.planes, x, y, z, f);
          if (this.isNew()) this.planes++;
        }
  }

  private lend(): void {
    const { value, plane, step } = this;
    this.sure = true;
    for (let c = 0; c < 8; c++) {
      if (this.isSure(c)) continue;
      let best = -1;
      let least = FITS * step;
      for (let p = 8; p < this.planes; p++) {
        const off = Math.abs(this.at(p, c & 1, (c >> 1) & 1, c >> 2) - value[c]);
        if (off < least) {
          least = off;
          best = p;
        }
      }
      if (best < 0) this.sure = false;
      else plane.copyWithin(7 * c, 7 * best, 7 * best + 7);
    }
  }

  /** Whether plane number `planes` bounds the cube's values from above and is unlike those kept before. */
  private isNew(): boolean {
    const { value, planes, below, plane } = this;
    const o = 7 * planes;
    for (let q = 56; q < o; q += 7) {
      const x = plane[q + 1] - plane[o + 1];
      const y = plane[q + 2] - plane[o + 2];
      const z = plane[q + 3] - plane[o + 3];
      // Two planes part most at a corner: by as much as at the middle and half of each slope besides.
      const most = Math.abs(plane[q] - plane[o] + (x + y + z) / 2) + (Math.abs(x) + Math.abs(y) + Math.abs(z)) / 2;
      if (most < 4 * below) return false;
    }
    for (let c = 0; c < 8; c++) if (this.at(planes, c & 1, (c >> 1) & 1, c >> 2) < value[c] - 2 * below) return false;
    return true;
  }

  /** Leaves the vertex of cycle `cycle` in `at`, in cells from the cube's lowest corner. */
  vertex(which: number, cycle: number, at: Float64Array): void {
    let n = this.crossings(which, cycle);
    this.reach = -1e-4;
    if (this.flat(n)) {
      this.shift(n, at);
      return;
    }
    if (!this.searched) this.search();
    n = this.crossings(which, cycle);
    solveQef(this.points, this.normals, n, this.mass, at);
    for (let turn = 0; turn < 3 && this.cutOff(n, at); turn++) solveQef(this.points, this.normals, ++n, this.mass, at);
    this.corner(n, at);
    if (this.sure) this.reach = REACH;
    for (let a = 0; a < 3; a++) at[a] = Math.min(Math.max(at[a], -this.reach), 1 + this.reach);
    this.pull(at);
  }

  /** Gathers the cycle's crossings; returns how many. */
  private crossings(which: number, cycle: number): number {
    const { points, mass, plane } = this;
    let n = 0;
    let bent = 0;
    let slope = 0;
    mass.fill(0);
    for (let e = 0; e < 12; e++) {
      if (CYCLE_OF[which * 12 + e] !== cycle) continue;
      const o = 7 * this.cross(e, n);
      mass[0] += points[3 * n];
      mass[1] += points[3 * n + 1];
      mass[2] += points[3 * n + 2];
      bent += plane[o + 4] + plane[o + 5] + plane[o + 6];
      slope += Math.sqrt(plane[o + 1] ** 2 + plane[o + 2] ** 2 + plane[o + 3] ** 2);
      n++;
    }
    for (let a = 0; a < 3; a++) mass[a] /= n;
    this.curvature = slope > 0 ? bent / slope : 0;
    return n;
  }

  /** Crossing point and normal of edge `e` as number `n`; returns the corner whose plane is active. */
  private cross(e: number, n: number): number {
    const { value, points, plane } = this;
    const axis = e >> 2;
    const low = EDGE_CORNER[e];
    const high = low | (1 << axis);
    const inside = value[low] >= 0 ? low : high;
    const outside = low + high - inside;
    const sign = inside === low ? 1 : -1;
    // Way t from the inside end at which each end's own parabola is at the level; the first one is active.
    const gi = plane[7 * inside + 1 + axis] * sign;
    const go = plane[7 * outside + 1 + axis] * sign;
    const ti = gi < 0 ? root(value[inside], gi, plane[7 * inside + 4 + axis]) : Infinity;
    const to = go < 0 ? 1 + root(value[outside], go, plane[7 * outside + 4 + axis]) : Infinity;
    let t = Math.min(ti, to);
    if (!(t <= 1.5)) t = value[inside] / (value[inside] - value[outside]);
    t = Math.min(Math.max(t, 0), 1);
    const end = to < ti ? outside : inside;
    points[3 * n] = low & 1;
    points[3 * n + 1] = (low >> 1) & 1;
    points[3 * n + 2] = low >> 2;
    points[3 * n + axis] = sign > 0 ? t : 1 - t;
    this.normal(end, n);
    return end;
  }

  /** Unit normal of plane `p` as number `n`. */
  private normal(p: number, n: number): void {
    const { plane, normals } = this;
    const x = plane[7 * p + 1];
    const y = plane[7 * p + 2];
    const z = plane[7 * p + 3];
    const size = Math.sqrt(x * x + y * y + z * z);
    const k = size > 0 ? 1 / size : 0;
    normals[3 * n] = x * k;
    normals[3 * n + 1] = y * k;
    normals[3 * n + 2] = z * k;
  }

  /** Adds the plane that puts `at` farthest outside to the fit, as number `n`; false when none does. */
  private cutOff(n: number, at: Float64Array): boolean {
    let worst = -1;
    let least = -1e-3 * this.step;
    for (let p = 0; p < this.planes; p++) {
      const f = this.at(p, at[0], at[1], at[2]);
      if (f < least && this.isSure(p)) {
        least = f;
        worst = p;
      }
    }
    if (worst < 0) return false;
    const { plane, points, normals } = this;
    this.normal(worst, n);
    const size = Math.sqrt(plane[7 * worst + 1] ** 2 + plane[7 * worst + 2] ** 2 + plane[7 * worst + 3] ** 2);
    for (let a = 0; a < 3; a++) points[3 * n + a] = at[a] - (normals[3 * n + a] * least) / size;
    return true;
  }

  /**
   * Where a corner of the model lies in the cube but only its crest is crossed, moves `at` there: a further plane through which the fit
   * stays exact.
   */
  private corner(n: number, at: Float64Array): void {
    const { plane, points, normals, mass, trial, step } = this;
    for (let p = 8; p < this.planes; p++) {
      if (Math.abs(this.at(p, at[0], at[1], at[2])) < EXACT * step) continue;
      this.normal(p, n);
      const size = Math.sqrt(plane[7 * p + 1] ** 2 + plane[7 * p + 2] ** 2 + plane[7 * p + 3] ** 2);
      const f = this.at(p, mass[0], mass[1], mass[2]);
      for (let a = 0; a < 3; a++) points[3 * n + a] = mass[a] - (normals[3 * n + a] * f) / size;
      solveQef(points, normals, n + 1, mass, trial);
      if (!(Math.min(trial[0], trial[1], trial[2]) >= 0 && Math.max(trial[0], trial[1], trial[2]) <= 1)) continue;
      if (this.misfit(n + 1, trial) > EXACT || this.lowest(trial) < -EXACT * step) continue;
      at.set(trial);
      return;
    }
  }

  /** Greatest distance of a point from the planes of the fit, in cells. */
  private misfit(n: number, at: Float64Array): number {
    const { points: p, normals: v } = this;
    let most = 0;
    for (let q = 0; q < 3 * n; q += 3)
      most = Math.max(most, Math.abs(v[q] * (at[0] - p[q]) + v[q + 1] * (at[1] - p[q + 1]) + v[q + 2] * (at[2] - p[q + 2])));
    return most;
  }

  /** Least value of the sure planes nearby. */
  private lowest(at: Float64Array): number {
    let least = Infinity;
    for (let p = 8; p < this.planes; p++) least = Math.min(least, this.at(p, at[0], at[1], at[2]));
    return least;
  }

  private flat(n: number): boolean {
    const v = this.normals;
    for (let p = 0; p < n; p++)
      for (let q = 0; q < p; q++)
        if (v[3 * p] * v[3 * q] + v[3 * p + 1] * v[3 * q + 1] + v[3 * p + 2] * v[3 * q + 2] < SMOOTH) return false;
    return true;
  }

  /** One smooth face: the mean of the crossings, moved along the mean normal by the curvature's share. */
  private shift(n: number, at: Float64Array): void {
    const { normals, mass } = this;
    const by = SAGITTA * Math.min(Math.max(this.curvature, -MOST_BEND), MOST_BEND);
    for (let a = 0; a < 3; a++) {
      let m = 0;
      for (let p = 0; p < n; p++) m += normals[3 * p + a];
      at[a] = mass[a] + (by * m) / n;
    }
  }

  /** Moves `at` toward the mean of the crossings until no plane of the model puts it outside that has the mean inside. */
  private pull(at: Float64Array): void {
    const { mass } = this;
    let share = 0;
    // Unsure planes count only where there is nothing better.
    const better = this.planes > 8;
    for (let p = 0; p < this.planes; p++) {
      if (better && !this.isSure(p)) continue;
      const here = this.at(p, at[0], at[1], at[2]);
      const there = this.at(p, mass[0], mass[1], mass[2]);
      if (here < 0 && there > here) share = Math.max(share, Math.min(1, here / (here - there)));
    }
    for (let a = 0; a < 3; a++) at[a] += share * (mass[a] - at[a]);
  }
}

/** Least root size of f + g t + s t^2 / 2 by one Newton step from the straight line's. */
function root(f: number, g: number, s: number): number {
  const t = -f / g;
  const slope = g + s * t;
  return slope < 0.3 * g ? t - (s * t * t) / 2 / slope : t;
}

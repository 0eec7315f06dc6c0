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
 */
/** Normals closer than this cosine are one smooth face. */
const SMOOTH = 0.96;
/** Outward shift of smooth vertices per second difference: mean of crossings and faces lie inside a curved surface. */
const SAGITTA = 0.15;
const MOST_BEND = 0.25;

export class Creases {
  private readonly data: Float32Array;
  private readonly n: readonly [number, number, number];
  private readonly stride: readonly [number, number, number];
  private readonly level: number;
  private value: Float64Array = new Float64Array(8);
  /** Gradient and second difference of each corner, three numbers each, per cell. */
  private readonly gradient = new Float64Array(24);
  private readonly bend = new Float64Array(24);
  /** Points and unit normals of the cycle's crossings. */
  private readonly points = new Float64Array(36);
  private readonly normals = new Float64Array(36);
  private readonly mass = new Float64Array(3);

  constructor(field: Field, level: number) {
    const { nx, ny, nz } = field.grid;
    this.data = field.data;
    this.n = [nx, ny, nz];
    this.stride = [1, nx, nx * ny];
    this.level = level;
  }

  /** Loads the cube whose lowest corner is sample `low` (all of it in the grid); `value` holds the corners' values less the level. */
  cube(low: Int32Array, value: Float64Array): void {
    this.value = value;
    const { stride, n } = this;
    const c0 = low[0] + stride[1] * low[1] + stride[2] * low[2];
    for (let corner = 0; corner < 8; corner++) {
      const c = c0 + (corner & 1) + ((corner >> 1) & 1) * stride[1] + (corner >> 2) * stride[2];
      for (let a = 0; a < 3; a++) this.oneSided(corner, a, c, low[a] + ((corner >> a) & 1), n[a]);
    }
  }

  private oneSided(corner: number, axis: number, c: number, i: number, n: number): void {
    const f = this.data;
    const d = this.stride[axis];
    const f0 = this.value[corner];
    const l = this.level;
    const p1 = i + 1 < n ? f[c + d] - l - f0 : Number.NaN;
    const m1 = i > 0 ? f0 - f[c - d] + l : Number.NaN;
    const sp = i + 2 < n ? f[c + 2 * d] - l - f0 - 2 * p1 : Number.NaN;
    const sm = i > 1 ? 2 * m1 - f0 + f[c - 2 * d] - l : Number.NaN;
    // sm is f(-2) - 2 f(-1) + f(0) written with the difference m1 = f(0) - f(-1).
    const forward = sp - sp === 0;
    const backward = sm - sm === 0;
    let g: number;
    let s = 0;
    if (forward && (!backward || Math.abs(sp) < Math.abs(sm))) {
      s = sp;
      g = p1 - sp / 2;
    } else if (backward) {
      s = sm;
      g = m1 + sm / 2;
    } else g = p1 - p1 === 0 ? p1 : m1 - m1 === 0 ? m1 : 0;
    this.gradient[3 * corner + axis] = g;
    this.bend[3 * corner + axis] = s;
  }

  /** Leaves the vertex of cycle `cycle` in `at`, in cells from the cube's lowest corner. */
  vertex(pattern: number, cycle: number, at: Float64Array): void {
    const { points, normals, mass } = this;
    let n = 0;
    let bend = 0;
    let slope = 0;
    mass.fill(0);
    for (let e = 0; e < 12; e++) {
      if (CYCLE_OF[pattern * 12 + e] !== cycle) continue;
      const end = this.cross(e, n);
      for (let a = 0; a < 3; a++) {
        mass[a] += points[3 * n + a];
        bend += this.bend[3 * end + a];
      }
      slope += Math.hypot(this.gradient[3 * end], this.gradient[3 * end + 1], this.gradient[3 * end + 2]);
      n++;
    }
    for (let a = 0; a < 3; a++) mass[a] /= n;
    if (this.flat(n)) this.shift(n, bend / slope, at);
    else {
      solveQef(points, normals, n, mass, at);
      for (let a = 0; a < 3; a++) at[a] = Math.min(Math.max(at[a], 0), 1);
      this.pull(at);
    }
  }

  /** Crossing point and normal of edge `e` as number `n`; returns the corner whose plane is active. */
  private cross(e: number, n: number): number {
    const { value, points, normals, gradient } = this;
    const axis = e >> 2;
    const low = EDGE_CORNER[e];
    const high = low | (1 << axis);
    const inside = value[low] >= 0 ? low : high;
    const outside = low + high - inside;
    const sign = inside === low ? 1 : -1;
    // Way t from the inside end at which each end's own parabola is at the level; the first one is active.
    const gi = gradient[3 * inside + axis] * sign;
    const go = gradient[3 * outside + axis] * sign;
    const ti = gi < 0 ? root(value[inside], gi, this.bend[3 * inside + axis]) : Infinity;
    const to = go < 0 ? 1 + root(value[outside], go, this.bend[3 * outside + axis]) : Infinity;
    let t = Math.min(ti, to);
    if (!(t <= 1.5)) t = value[inside] / (value[inside] - value[outside]);
    t = Math.min(Math.max(t, 0), 1);
    const end = to < ti ? outside : inside;
    points[3 * n] = low & 1;
    points[3 * n + 1] = (low >> 1) & 1;
    points[3 * n + 2] = low >> 2;
    points[3 * n + axis] = sign > 0 ? t : 1 - t;
    const [x, y, z] = [gradient[3 * end], gradient[3 * end + 1], gradient[3 * end + 2]];
    const size = Math.sqrt(x * x + y * y + z * z);
    const k = size > 0 ? 1 / size : 0;
    normals[3 * n] = x * k;
    normals[3 * n + 1] = y * k;
    normals[3 * n + 2] = z * k;
    return end;
  }

  private flat(n: number): boolean {
    const v = this.normals;
    for (let p = 0; p < n; p++)
      for (let q = 0; q < p; q++)
        if (v[3 * p] * v[3 * q] + v[3 * p + 1] * v[3 * q + 1] + v[3 * p + 2] * v[3 * q + 2] < SMOOTH) return false;
    return true;
  }

  /** One smooth face: the mean of the crossings, moved along the mean normal by the curvature's share. */
  private shift(n: number, bend: number, at: Float64Array): void {
    const { normals, mass } = this;
    const by = SAGITTA * Math.min(Math.max(bend, -MOST_BEND), MOST_BEND);
    for (let a = 0; a < 3; a++) {
      let m = 0;
      for (let p = 0; p < n; p++) m += normals[3 * p + a];
      at[a] = mass[a] + (by * m) / n;
    }
  }

  /** Moves `at` toward the mean of the crossings until no plane of the model puts it outside that has the mean inside. */
  private pull(at: Float64Array): void {
    const { value, gradient: g, mass } = this;
    let share = 0;
    for (let c = 0; c < 8; c++) {
      const x = c & 1;
      const y = (c >> 1) & 1;
      const z = c >> 2;
      const here = value[c] + g[3 * c] * (at[0] - x) + g[3 * c + 1] * (at[1] - y) + g[3 * c + 2] * (at[2] - z);
      const there = value[c] + g[3 * c] * (mass[0] - x) + g[3 * c + 1] * (mass[1] - y) + g[3 * c + 2] * (mass[2] - z);
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

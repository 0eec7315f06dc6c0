import type { Field } from '../core/field.ts';
import { Creases } from './creases.ts';
import { CYCLE_OF, CYCLES, EDGE_CORNER, FACE_CORNERS } from './dual.ts';

/**
 * Where the vertices of a level surface go; works in cells, one cube at a time, on scratch of its own.
 *
 * Smooth placing: mean of the cycle's crossing points, then Newton steps onto the level of the trilinear value less
 * sum of D_a t_a (1 - t_a) / 2, D_a the second differences: the interpolation's own error. The level aimed at is lowered by
 * SAGITTA * sum(D_a), which puts the vertices as far outside as the faces between them lie inside.
 * Without these two terms a ball of 40 cells across comes out 0.2 % too small, with them within 0.02 %.
 */
const SAGITTA = 0.066;
/** Second differences beyond this share of the gradient are creases, not curvature. */
const MOST_BEND = 0.25;
/** Vertices stay this far inside their cube, so that no two of different cubes coincide. */
const MARGIN = 1e-4;
/** The field's drop to a neighbour that holds -Infinity or no number, in cells. */
const BLOCKED_DROP = 1;

export class Placer {
  private readonly data: Float32Array;
  private readonly nx: number;
  private readonly ny: number;
  private readonly nz: number;
  private readonly level: number;
  private readonly step: number;
  /** Where the vertices are written; set before the first is placed. */
  positions = new Float32Array(0);
  private readonly creases: Creases | undefined;
  /** Values of the eight corners less the level. */
  private readonly value = new Float64Array(8);
  /** Lower corner of the cube in samples of the grid, -1 outside. */
  private readonly low = new Int32Array(3);
  /** 1 along axes where the cube stands half outside the grid. */
  private readonly rim = new Uint8Array(3);
  private readonly bend = new Float64Array(3);
  private plain = true;
  /** First sample of the loaded cube. */
  private c = 0;
  private readonly at = new Float64Array(3);

  constructor(field: Field, level: number, sharp: boolean) {
    const { nx, ny, nz, step } = field.grid;
    this.data = field.data;
    this.nx = nx;
    this.ny = ny;
    this.nz = nz;
    this.step = step;
    this.level = level;
    this.creases = sharp ? new Creases(field, level) : undefined;
  }

  /** Loads cube (i, j, k), whose corners are the samples i-1..i; outside the grid the outermost sample goes on. */
  cube(i: number, j: number, k: number): void {
    const { nx, ny, nz, value, low, rim } = this;
    low[0] = i - 1;
    low[1] = j - 1;
    low[2] = k - 1;
    rim[0] = i === 0 || i === nx ? 1 : 0;
    rim[1] = j === 0 || j === ny ? 1 : 0;
    rim[2] = k === 0 || k === nz ? 1 : 0;
    const x0 = i === 0 ? 0 : i - 1;
    const y0 = j === 0 ? 0 : j - 1;
    const z0 = k === 0 ? 0 : k - 1;
    const dx = rim[0] ? 0 : 1;
    const dy = rim[1] ? 0 : nx;
    const dz = rim[2] ? 0 : nx * ny;
    const c = x0 + nx * (y0 + ny * z0);
    value[0] = this.read(c);
    value[1] = this.read(c + dx);
    value[2] = this.read(c + dy);
    value[3] = this.read(c + dx + dy);
    value[4] = this.read(c + dz);
    value[5] = this.read(c + dx + dz);
    value[6] = this.read(c + dy + dz);
    value[7] = this.read(c + dx + dy + dz);
    this.plain = rim[0] + rim[1] + rim[2] === 0;
    this.c = c;
  }

  /** Whether the inside corners of an alternating face of the loaded cube are joined across it: the saddle of the bilinear is inside. */
  joined(pattern: number, face: number): boolean {
    const v = this.value;
    const o = 4 * face;
    const saddle = v[FACE_CORNERS[o]] * v[FACE_CORNERS[o + 2]] - v[FACE_CORNERS[o + 1]] * v[FACE_CORNERS[o + 3]];
    return (pattern >> FACE_CORNERS[o]) & 1 ? saddle > 0 : saddle < 0;
  }

  private read(c: number): number {
    const v = this.data[c] - this.level;
    if (v - v === 0) return v;
    return v > 0 ? BLOCKED_DROP * this.step : -BLOCKED_DROP * this.step;
  }

  /** Second differences along each axis: of the means at the two ends, the smaller one, 0 where they disagree in sign. */
  private bends(): void {
    const { nx, ny, nz, low, bend, rim, c } = this;
    const dx = rim[0] ? 0 : 1;
    const dy = rim[1] ? 0 : nx;
    const dz = rim[2] ? 0 : nx * ny;
    const v = this.value;
    const ex = v[0] + v[2] + v[4] + v[6] - v[1] - v[3] - v[5] - v[7];
    const ey = v[0] + v[1] + v[4] + v[5] - v[2] - v[3] - v[6] - v[7];
    const ez = v[0] + v[1] + v[2] + v[3] - v[4] - v[5] - v[6] - v[7];
    bend[0] = dx === 0 ? 0 : this.bendAlong(c, 1, dy, dz, low[0] > 0, low[0] + 2 < nx, ex);
    bend[1] = dy === 0 ? 0 : this.bendAlong(c, nx, dx, dz, low[1] > 0, low[1] + 2 < ny, ey);
    bend[2] = dz === 0 ? 0 : this.bendAlong(c, nx * ny, dx, dy, low[2] > 0, low[2] + 2 < nz, ez);
  }

  /** `drop` is the sum over the four parallel edges of the low value less the high one. */
  private bendAlong(c: number, d: number, p: number, q: number, before: boolean, after: boolean, drop: number): number {
    const f = this.data;
    const b = c - d;
    const a = c + 2 * d;
    const h = c + d;
    const lower = before
      ? (f[b] + f[b + p] + f[b + q] + f[b + p + q] - (f[c] + f[c + p] + f[c + q] + f[c + p + q]) - drop) / 4
      : Number.NaN;
    const upper = after ? (f[a] + f[a + p] + f[a + q] + f[a + p + q] - (f[h] + f[h + p] + f[h + q] + f[h + p + q]) + drop) / 4 : Number.NaN;
    const lowerOk = lower - lower === 0;
    const upperOk = upper - upper === 0;
    if (lowerOk && upperOk) return lower * upper <= 0 ? 0 : Math.abs(lower) < Math.abs(upper) ? lower : upper;
    return lowerOk ? lower : upperOk ? upper : 0;
  }

  /** Places the cycles of the loaded cube as vertices first, first + 1, … */
  cycles(which: number, first: number): void {
    const n = CYCLES[which];
    const { at, plain, creases } = this;
    if (plain && creases !== undefined) {
      creases.cube(this.low, this.value);
      for (let m = 0; m < n; m++) {
        creases.vertex(which, m, at);
        this.write(first + m, -creases.reach);
      }
      return;
    }
    for (let m = 0; m < n; m++) {
      const real = this.mean(which, m);
      if (n === 1 && (plain || real)) {
        this.bends();
        this.settle();
      }
      if (!plain) for (let a = 0; a < 3; a++) if (this.rim[a]) at[a] = 0.5;
      this.write(first + m, MARGIN);
    }
  }

  /** Leaves the mean of a cycle's crossings in `at`; true when not all are on the cap, which otherwise do not count. */
  private mean(which: number, cycle: number): boolean {
    const { at, rim, value } = this;
    let x = 0;
    let y = 0;
    let z = 0;
    let n = 0;
    let real = false;
    for (let e = 0; e < 12; e++) {
      if (CYCLE_OF[which * 12 + e] !== cycle) continue;
      const axis = e >> 2;
      const cap = rim[axis] === 1;
      if (cap && real) continue;
      if (!cap && !real) {
        real = true;
        x = 0;
        y = 0;
        z = 0;
        n = 0;
      }
      const c = EDGE_CORNER[e];
      const a = value[c];
      const t = cap ? 0.5 : a / (a - value[c + (1 << axis)]);
      x += axis === 0 ? t : c & 1;
      y += axis === 1 ? t : (c >> 1) & 1;
      z += axis === 2 ? t : c >> 2;
      n++;
    }
    at[0] = x / n;
    at[1] = y / n;
    at[2] = z / n;
    return real;
  }

  /** Two Newton steps from `at` onto the corrected level, kept in the cube. */
  private settle(): void {
    const { value: v, at, bend } = this;
    let most = -1;
    for (let turn = 0; turn < 2; turn++) {
      const x = at[0];
      const y = at[1];
      const z = at[2];
      const a00 = v[0] + (v[1] - v[0]) * x;
      const a10 = v[2] + (v[3] - v[2]) * x;
      const a01 = v[4] + (v[5] - v[4]) * x;
      const a11 = v[6] + (v[7] - v[6]) * x;
      const b0 = a00 + (a10 - a00) * y;
      const b1 = a01 + (a11 - a01) * y;
      let gx = ((v[1] - v[0]) * (1 - y) + (v[3] - v[2]) * y) * (1 - z) + ((v[5] - v[4]) * (1 - y) + (v[7] - v[6]) * y) * z;
      let gy = (a10 - a00) * (1 - z) + (a11 - a01) * z;
      let gz = b1 - b0;
      if (most < 0) {
        most = MOST_BEND * Math.sqrt(gx * gx + gy * gy + gz * gz);
        for (let a = 0; a < 3; a++) bend[a] = Math.min(Math.max(bend[a], -most), most);
      }
      const p = bend[0];
      const q = bend[1];
      const r = bend[2];
      const f = b0 + (b1 - b0) * z - (p * x * (1 - x) + q * y * (1 - y) + r * z * (1 - z)) / 2 - SAGITTA * (p + q + r);
      gx -= p * (0.5 - x);
      gy -= q * (0.5 - y);
      gz -= r * (0.5 - z);
      const g2 = gx * gx + gy * gy + gz * gz;
      if (!(g2 > 0)) return;
      at[0] = Math.min(Math.max(x - (f * gx) / g2, 0), 1);
      at[1] = Math.min(Math.max(y - (f * gy) / g2, 0), 1);
      at[2] = Math.min(Math.max(z - (f * gz) / g2, 0), 1);
    }
  }

  /** Places two vertices on each flagged lower face, at the middle of its segments; returns the next free number. */
  extras(pattern: number, faces: number, first: number): number {
    let next = first;
    const { at } = this;
    for (let axis = 0; axis < 3; axis++) {
      if (!((faces >> axis) & 1)) continue;
      const u = (axis + 1) % 3;
      const v = (axis + 2) % 3;
      for (let s = 0; s < 2; s++) {
        // The corner that the segment cuts off: inside, or outside where the face is joined.
        const side = s << u;
        const corner = ((pattern >> side) & 1) !== ((faces >> (axis + 3)) & 1) ? side : side | (1 << v);
        at[axis] = 0;
        at[u] = (s + this.crossing(corner, u)) / 2;
        at[v] = (((corner >> v) & 1) + this.crossing(corner, v)) / 2;
        this.write(next++, 0);
      }
    }
    return next;
  }

  /** Coordinate of the crossing between a corner and its neighbour along `axis`, 0..1. */
  private crossing(corner: number, axis: number): number {
    const low = corner & ~(1 << axis);
    const a = this.value[low];
    return a / (a - this.value[low | (1 << axis)]);
  }

  /** Writes `at`, kept `margin` cells inside the cube. */
  private write(vertex: number, margin: number): void {
    const { at, low, positions, step } = this;
    const most = 1 - margin;
    const o = 3 * vertex;
    positions[o] = (low[0] + Math.min(Math.max(at[0], margin), most) - (this.nx - 1) / 2) * step;
    positions[o + 1] = (low[1] + Math.min(Math.max(at[1], margin), most) - (this.ny - 1) / 2) * step;
    positions[o + 2] = (low[2] + Math.min(Math.max(at[2], margin), most) - (this.nz - 1) / 2) * step;
  }
}

import { readFileSync, writeFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import type { Vec3 } from '../src/core/vec.ts';
import type { Job } from '../src/job/job.ts';
import { parseJob } from '../src/job/job.ts';
import type { Primitive } from './primitives.ts';
import { PART_NAMES, type PartName, part } from './solids.ts';

/**
 * The demo's true figures, from the exact solids on a fine grid, in plain code that shares nothing with the program's kernels (only
 * the job file is read by the program's own parser). Definitions as the program's:
 *   f = least of (distance - clearance) over the obstacles, of (within - distance to the airbox), and of the depth inside the box;
 *   core = the piece of { f >= r } with the most room where the airbox was; envelope = all within r of the core;
 *   already free = all within r of { f >= r } with the airbox in place; cavity = all of the envelope at least one wall inside.
 * Every ball of radius f(y) about a core point y lies in the envelope, so the greatest of f(y)^2 - |x-y|^2 gives it from inside. The
 * error is of second order in the step, but of first order along sharp edges of the core that lie askew in the lattice (a box rolled
 * out by 25 mm: -0.64 % at 5 mm, -0.35 at 2.5, -0.24 at 1.6). Two steps are extrapolated to zero as second order; how far a
 * first-order extrapolation would differ is recorded as `uncertain_l`.
 */
export interface Truth {
  readonly step_mm: number;
  readonly envelope_l: number;
  readonly reclaimed_l: number;
  readonly brim_l: number;
  /** Radius of the greatest ball in the envelope, at a grid point, mm. */
  readonly largest_ball_mm: number;
  /** Free diameter of the way from the main room into the pocket over the battery, mm. */
  readonly neck_mm: number;
}

/** A point in the pocket over the battery and one in the main room, mm. */
export const POCKET: Vec3 = [-470, 0, 706];
export const ROOM: Vec3 = [-320, 0, 640];

export interface Lattice {
  readonly origin: Vec3;
  readonly step: number;
  readonly n: readonly [number, number, number];
}

const PAD = 4;

/** Cell centres over the job's box, with a few cells to spare on each side. */
export function latticeOver(box: { min: Vec3; max: Vec3 }, step: number): Lattice {
  const n = [0, 1, 2].map((a) => Math.ceil((box.max[a] - box.min[a]) / step) + 2 * PAD);
  const at = (a: 0 | 1 | 2): number => box.min[a] - (PAD - 0.5) * step;
  return { origin: [at(0), at(1), at(2)], step, n: [n[0], n[1], n[2]] };
}

type Weighted = { readonly primitives: readonly Primitive[]; readonly less: number };

/**
 * Least over all solids of (distance - less) at every lattice point. Block by block: distances change by at most 1 mm a mm, so a
 * primitive that is far behind the nearest at the block's middle cannot be nearest anywhere in it.
 */
function leastDistance(lattice: Lattice, solids: readonly Weighted[]): Float32Array {
  const [nx, ny, nz] = lattice.n;
  const { origin: o, step } = lattice;
  const out = new Float32Array(nx * ny * nz);
  const all = solids.flatMap((s) => s.primitives.map((p) => ({ distance: p.distance, less: s.less })));
  const B = 10;
  const half = (Math.sqrt(3) * step * (B - 1)) / 2;
  for (let k0 = 0; k0 < nz; k0 += B)
    for (let j0 = 0; j0 < ny; j0 += B)
      for (let i0 = 0; i0 < nx; i0 += B) {
        const m = (B - 1) / 2;
        const [x, y, z] = [o[0] + (i0 + m) * step, o[1] + (j0 + m) * step, o[2] + (k0 + m) * step];
        const middle = all.map((p) => p.distance(x, y, z) - p.less);
        const limit = Math.min(...middle) + 2 * half + 1e-6;
        const near = all.filter((_, q) => middle[q] <= limit);
        for (let k = k0; k < Math.min(k0 + B, nz); k++)
          for (let j = j0; j < Math.min(j0 + B, ny); j++)
            for (let i = i0; i < Math.min(i0 + B, nx); i++) {
              let d = Infinity;
              for (const p of near) d = Math.min(d, p.distance(o[0] + i * step, o[1] + j * step, o[2] + k * step) - p.less);
              out[i + nx * (j + ny * k)] = d;
            }
      }
  return out;
}

/** Number of the face-joined piece that each cell with f >= level belongs to, from 1; 0 for the others. */
export function label(lattice: Lattice, f: Float32Array, level: number): Int32Array {
  const [nx, ny, nz] = lattice.n;
  const out = new Int32Array(f.length);
  const stack: number[] = [];
  let name = 0;
  const visit = (c: number): void => {
    if (out[c] === 0 && f[c] >= level) {
      out[c] = name;
      stack.push(c);
    }
  };
  for (let first = 0; first < f.length; first++) {
    if (out[first] !== 0 || !(f[first] >= level)) continue;
    name++;
    visit(first);
    while (stack.length > 0) {
      const c = stack.pop()!;
      const i = c % nx;
      const j = Math.floor(c / nx) % ny;
      const k = Math.floor(c / (nx * ny));
      if (i > 0) visit(c - 1);
      if (i < nx - 1) visit(c + 1);
      if (j > 0) visit(c - nx);
      if (j < ny - 1) visit(c + nx);
      if (k > 0) visit(c - nx * ny);
      if (k < nz - 1) visit(c + nx * ny);
    }
  }
  return out;
}

/**
 * For balls of radius `radius[y]` mm about the lattice points (negative: no ball), how deep each lattice point lies inside the ball
 * that holds it best: radius - |x - y| for the y that makes radius^2 - |x - y|^2 greatest. Exact on the surface of the union.
 * One axis at a time, by the lower envelope of parabolas (Felzenszwalb & Huttenlocher 2012).
 */
export function depthInBalls(lattice: Lattice, radius: Float32Array): Float32Array {
  const { n, step } = lattice;
  const cost = new Float32Array(radius.length);
  const from = new Int32Array(radius.length);
  for (let c = 0; c < radius.length; c++) {
    cost[c] = radius[c] >= 0 ? -((radius[c] / step) ** 2) : Infinity;
    from[c] = c;
  }
  const strides = [1, n[0], n[0] * n[1]];
  for (let axis = 0; axis < 3; axis++) {
    const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
    const row = new RowPass(n[axis], strides[axis]);
    for (let b = 0; b < n[v]; b++) for (let a = 0; a < n[u]; a++) row.run(cost, from, a * strides[u] + b * strides[v]);
  }
  const out = new Float32Array(radius.length);
  const [nx, ny] = n;
  for (let c = 0; c < out.length; c++) {
    if (cost[c] === Infinity) {
      out[c] = -Infinity;
      continue;
    }
    const y = from[c];
    const di = (c % nx) - (y % nx);
    const dj = (Math.floor(c / nx) % ny) - (Math.floor(y / nx) % ny);
    const dk = Math.floor(c / (nx * ny)) - Math.floor(y / (nx * ny));
    out[c] = radius[y] - step * Math.sqrt(di * di + dj * dj + dk * dk);
  }
  return out;
}

/** The least of cost[q] + (p - q)^2 along one row, in place, with where it comes from. */
class RowPass {
  private readonly apex: Int32Array;
  private readonly starts: Float64Array;
  private readonly cost: Float64Array;
  private readonly source: Int32Array;
  private readonly n: number;
  private readonly stride: number;

  constructor(n: number, stride: number) {
    this.n = n;
    this.stride = stride;
    this.apex = new Int32Array(n);
    this.starts = new Float64Array(n + 1);
    this.cost = new Float64Array(n);
    this.source = new Int32Array(n);
  }

  run(cost: Float32Array, from: Int32Array, base: number): void {
    const { n, stride, apex, starts } = this;
    let top = -1;
    for (let q = 0; q < n; q++) {
      const c = cost[base + q * stride];
      this.cost[q] = c;
      this.source[q] = from[base + q * stride];
      if (c === Infinity) continue;
      let s = -Infinity;
      while (top >= 0) {
        const p = apex[top];
        s = (c + q * q - this.cost[p] - p * p) / (2 * (q - p));
        if (s > starts[top]) break;
        top--;
        s = -Infinity;
      }
      apex[++top] = q;
      starts[top] = s;
    }
    if (top < 0) return;
    starts[top + 1] = Infinity;
    for (let p = 0, t = 0; p < n; p++) {
      while (starts[t + 1] < p) t++;
      const q = apex[t];
      cost[base + p * stride] = this.cost[q] + (p - q) ** 2;
      from[base + p * stride] = this.source[q];
    }
  }
}

/** Volume of { f > 0 }, mm3: f taken as trilinear between lattice points; cubes that the surface crosses are cut into 6^3 parts. */
export function volumeOf(lattice: Lattice, f: Float32Array): number {
  const [nx, ny, nz] = lattice.n;
  const parts = 6;
  const corner = new Float64Array(8);
  const shifts = [0, 1, nx, nx + 1, nx * ny, nx * ny + 1, nx * ny + nx, nx * ny + nx + 1];
  let cubes = 0;
  for (let k = 0; k + 1 < nz; k++)
    for (let j = 0; j + 1 < ny; j++)
      for (let i = 0; i + 1 < nx; i++) {
        const c = i + nx * (j + ny * k);
        let inside = 0;
        for (let q = 0; q < 8; q++) {
          // Far outside there is no depth; two steps below zero is far enough for the cube's border.
          corner[q] = Math.max(f[c + shifts[q]], -2 * lattice.step);
          if (corner[q] > 0) inside++;
        }
        cubes += inside === 8 ? 1 : inside === 0 ? 0 : share(corner, parts);
      }
  return cubes * lattice.step ** 3;
}

function share(v: Float64Array, parts: number): number {
  let count = 0;
  for (let c = 0; c < parts; c++)
    for (let b = 0; b < parts; b++)
      for (let a = 0; a < parts; a++) {
        const [x, y, z] = [(a + 0.5) / parts, (b + 0.5) / parts, (c + 0.5) / parts];
        const low = (v[0] * (1 - x) + v[1] * x) * (1 - y) + (v[2] * (1 - x) + v[3] * x) * y;
        const high = (v[4] * (1 - x) + v[5] * x) * (1 - y) + (v[6] * (1 - x) + v[7] * x) * y;
        if (low * (1 - z) + high * z > 0) count++;
      }
  return count / parts ** 3;
}

const solidsOf = (job: Job, names: readonly PartName[]): Weighted[] =>
  names.map((name) => ({ primitives: part(name).primitives, less: job.scans[name].clearance }));

/** The job's parts with the role `role`. */
const named = (job: Job, role: string): PartName[] => PART_NAMES.filter((n) => job.scans[n]?.role === role);

interface Room {
  readonly lattice: Lattice;
  /** The field f without and with the airbox. */
  readonly free: Float32Array;
  readonly before: Float32Array;
}

/** f at every cell centre, for the job's box and nearness. The skin is looked at apart, by `skinDepth`. */
function roomOf(job: Job, step: number): Room {
  const { box, near } = job.region;
  if (!box || !near) throw new Error('The demo job names a box and a nearness.');
  const lattice = latticeOver(box, step);
  const free = leastDistance(lattice, solidsOf(job, named(job, 'obstacle')));
  const airbox = leastDistance(lattice, [{ primitives: part('airbox').primitives, less: 0 }]);
  const before = new Float32Array(free.length);
  const [nx, ny] = lattice.n;
  for (let c = 0; c < free.length; c++) {
    const cell = [c % nx, Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))];
    let f = Math.min(free[c], near.within - airbox[c]);
    for (let a = 0; a < 3; a++) {
      const x = lattice.origin[a] + cell[a] * step;
      f = Math.min(f, x - box.min[a], box.max[a] - x);
    }
    free[c] = f;
    before[c] = Math.min(f, airbox[c] - job.scans['airbox'].clearance);
  }
  return { lattice, free, before };
}

const cellOf = ({ origin, step, n }: Lattice, p: Vec3): number => {
  const [i, j, k] = [0, 1, 2].map((a) => Math.round((p[a] - origin[a]) / step));
  return i + n[0] * (j + n[1] * k);
};

/** f on the piece of { f >= r } that holds ROOM, -1 elsewhere: the radii of the balls that make up the envelope. */
function coreOf({ lattice, free }: Room, r: number): Float32Array {
  const pieces = label(lattice, free, r);
  const mine = pieces[cellOf(lattice, ROOM)];
  if (mine === 0) throw new Error('The room where the airbox was is not free.');
  return free.map((f, c) => (pieces[c] === mine ? f : -1));
}

/** The greatest level at which the pocket and the main room are still one piece, doubled: the neck's free diameter, mm. */
function neckOf({ lattice, free }: Room): number {
  let [low, high] = [0, Math.min(free[cellOf(lattice, POCKET)], free[cellOf(lattice, ROOM)])];
  while (high - low > 0.01) {
    const middle = (low + high) / 2;
    const pieces = label(lattice, free, middle);
    if (pieces[cellOf(lattice, POCKET)] === pieces[cellOf(lattice, ROOM)]) low = middle;
    else high = middle;
  }
  return low + high;
}

/** All figures at one step. */
export function figuresAt(job: Job, step: number): Truth {
  const room = roomOf(job, step);
  const { lattice } = room;
  const r = job.least_radius;
  const core = coreOf(room, r);
  const envelope = depthInBalls(lattice, core);
  const already = depthInBalls(
    lattice,
    room.before.map((f) => (f >= r ? f : -1)),
  );
  const kept = already.map((d, c) => Math.min(d, envelope[c]));
  // Balls that just miss the envelope, each larger by the wall, cover all that is not cavity.
  const wall = job.tank ? job.tank.wall : 0;
  const outside = depthInBalls(
    lattice,
    envelope.map((d) => (d > 0 ? -1 : Math.min(-d, 3 * step) + wall)),
  );
  const cavity = outside.map((d) => -d);
  let ball = 0;
  for (const f of core) ball = Math.max(ball, f);
  const full = volumeOf(lattice, envelope);
  return {
    step_mm: step,
    envelope_l: full / 1e6,
    reclaimed_l: (full - volumeOf(lattice, kept)) / 1e6,
    brim_l: volumeOf(lattice, cavity) / 1e6,
    largest_ball_mm: ball,
    neck_mm: neckOf(room),
  };
}

/** Two runs extrapolated to a step of zero, the error taken to fall with the step's square. */
export function extrapolated(coarse: Truth, fine: Truth): Truth {
  const k = (coarse.step_mm / fine.step_mm) ** 2;
  const to = (key: 'envelope_l' | 'reclaimed_l' | 'brim_l'): number => (k * fine[key] - coarse[key]) / (k - 1);
  return { ...fine, envelope_l: to('envelope_l'), reclaimed_l: to('reclaimed_l'), brim_l: to('brim_l') };
}

/** What is recorded: the figures at a step of zero, how far they may be off, litres, and the two runs behind them. */
export interface Recorded extends Truth {
  readonly uncertain_l: number;
  /** See `skinDepth`. */
  readonly skin_depth_mm: number;
  readonly runs: readonly Truth[];
}

/** The record of two runs, rounded to 0.1 ml. */
export function recordOf(coarse: Truth, fine: Truth, skin: number): Recorded {
  const best = extrapolated(coarse, fine);
  const k = coarse.step_mm / fine.step_mm;
  const off = (['envelope_l', 'reclaimed_l', 'brim_l'] as const).map((key) =>
    Math.abs((k * fine[key] - coarse[key]) / (k - 1) - best[key]),
  );
  const round = (t: Truth): Truth =>
    Object.fromEntries(Object.entries(t).map(([key, v]) => [key, Math.round(v * 1e4) / 1e4])) as Record<keyof Truth, number>;
  return {
    ...round(best),
    uncertain_l: Math.round(Math.max(...off) * 1e4) / 1e4,
    skin_depth_mm: Math.round(skin * 10) / 10,
    runs: [round(coarse), round(fine)],
  };
}

/**
 * Least distance, mm, by which the core stays away from what a ball of the skin's radius can touch from outside, airbox in place. As
 * long as it is more than the least radius, the skin takes nothing from the envelope and the figures above are the job's.
 */
export function skinDepth(job: Job, step: number): number {
  const { skin, box } = job.region;
  if (!skin || !box) throw new Error('The demo job names a skin and a box.');
  const reach = skin * 2 + 4 * step;
  const whole = { min: [-1000 - reach, -580 - reach, -reach] as Vec3, max: [1000 + reach, 580 + reach, 1120 + reach] as Vec3 };
  const lattice = latticeOver(whole, step);
  const distance = leastDistance(
    lattice,
    PART_NAMES.map((n) => ({ primitives: part(n).primitives, less: 0 })),
  );
  const pieces = label(lattice, distance, skin);
  const outer = pieces[0];
  const touched = depthInBalls(
    lattice,
    distance.map((d, c) => (pieces[c] === outer ? d : -1)),
  );
  const room = roomOf(job, step);
  const core = coreOf(room, job.least_radius);
  const [nx, ny] = room.lattice.n;
  let least = Infinity;
  for (let c = 0; c < core.length; c++) {
    if (core[c] < 0) continue;
    const at = [c % nx, Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))].map((q, a) => room.lattice.origin[a] + q * step);
    least = Math.min(least, -touched[cellOf(lattice, [at[0], at[1], at[2]])]);
  }
  return least;
}

export const demoJob = (): Job => parseJob(readFileSync(new URL('./quad.yaml', import.meta.url), 'utf8'), 'quad.yaml');

/** Writes the recorded figures: 1 and 2 mm extrapolated (1 mm takes about a minute and 1 GB). */
function record(): void {
  const job = demoJob();
  const out = recordOf(figuresAt(job, 2), figuresAt(job, 1), skinDepth(job, 8));
  writeFileSync(new URL('./quad.expected.json', import.meta.url), `${JSON.stringify(out, null, 2)}\n`);
  console.log(out);
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href) record();

import type { Task } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { add, cross, dot, normalize, scale, type Vec3 } from '../core/vec.ts';
import { type Budget, budgetOf, clock } from './budget.ts';
import { boxFits, certifyBox, certifyCylinder, cylinderFits, type PlacedBox, type PlacedCylinder, UNIT_AXES } from './inside.ts';
import { largestCuboid, largestUpright } from './mask.ts';

/** Largest plain solids in { f >= 0 }; f is distance-like, positive inside, mm. Each result is proved inside (see inside.ts). */
export interface BallResult {
  readonly radius_mm: number;
  readonly centre_mm: Vec3;
  readonly volume_l: number;
  /** No ball is larger than this: half a cell's diagonal over the best cell. */
  readonly radius_bound_mm: number;
}

export interface CylinderResult {
  readonly radius_mm: number;
  readonly height_mm: number;
  readonly centre_mm: Vec3;
  readonly volume_l: number;
  /** What the field between the cells would allow; the proof took the rest off. */
  readonly seen_l: number;
}

export interface BoxResult {
  readonly size_mm: Vec3;
  readonly centre_mm: Vec3;
  /** Unit vectors along the sizes. */
  readonly axes: readonly [Vec3, Vec3, Vec3];
  readonly volume_l: number;
  readonly seen_l: number;
}

export interface LargestOptions {
  /** By how much a cell's value may be too high, mm. */
  readonly doubt: number;
  readonly budget: Budget;
}

/** Cells a side of the masks on which the searches start. */
const MASK = 44;
const MASK_TURNED = 28;

/** The largest ball about a cell's centre; null when nothing is free. */
export function largestBall(f: Field, doubt = 0): BallResult | null {
  let best = -1;
  for (let c = 0; c < f.data.length; c++) if (f.data[c] > 0 && (best < 0 || f.data[c] > f.data[best])) best = c;
  if (best < 0 || f.data[best] <= doubt) return null;
  const radius = f.data[best] - doubt;
  return {
    radius_mm: radius,
    centre_mm: cellCentre(f.grid, best),
    volume_l: ((4 / 3) * Math.PI * radius ** 3) / 1e6,
    radius_bound_mm: f.data[best] + (Math.sqrt(3) / 2) * f.grid.step,
  };
}

/** The largest box: its sides along x, y, z; turned about z; or turned any way. Null when nothing is free. */
export function largestBox(f: Field, turning: 'none' | 'z' | 'any', options: LargestOptions): BoxResult | null {
  const more = clock(options.budget);
  const starts: PlacedBox[] = [];
  for (const axes of orientations(turning)) {
    if (starts.length > 0 && !more()) break;
    const start = startBox(f, axes, turning === 'none' ? MASK : MASK_TURNED);
    if (start) starts.push(start);
  }
  starts.sort((a, b) => size(b) - size(a));
  let best: PlacedBox | null = null;
  for (const start of starts.slice(0, turning === 'none' ? 1 : 4)) {
    if (best && !more()) break;
    const grown = refineBox(f, start, turning, more);
    if (!best || size(grown) > size(best)) best = grown;
  }
  if (!best || size(best) <= 0) return null;
  const sure = proved(f.grid.step, (inset) => {
    const b = insetBox(best as PlacedBox, inset);
    return b.half.every((h) => h > 0) && certifyBox(f, b, options.doubt) ? b : null;
  });
  if (!sure) return null;
  const half = sure.half;
  return {
    size_mm: [2 * half[0], 2 * half[1], 2 * half[2]],
    centre_mm: sure.centre,
    axes: sure.axes,
    volume_l: size(sure) / 1e6,
    seen_l: size(best) / 1e6,
  };
}

/** The largest cylinder that stands along z; null when nothing is free. */
export function largestCylinder(f: Field, options: LargestOptions): CylinderResult | null {
  const more = clock(options.budget);
  const mask = maskOf(f, UNIT_AXES, MASK);
  const found = largestUpright(mask.free, mask.n);
  if (!found) return null;
  const s = mask.pitch;
  const centre = mask.at([found.x, found.y, (found.from + found.to) / 2]);
  let best: PlacedCylinder = { centre, radius: found.radius * s, halfHeight: ((found.to - found.from + 1) * s) / 2 };
  const fits = (c: PlacedCylinder): boolean =>
    c.radius > 0 && c.halfHeight > 0 && cylinderFits(f, c, 1.5 * f.grid.step, -EDGE * f.grid.step);
  const shrink = (c: PlacedCylinder, k: number): PlacedCylinder => ({ ...c, radius: c.radius * k, halfHeight: c.halfHeight * k });
  for (let i = 0; i < 60 && !fits(best); i++) best = shrink(best, 0.95);
  if (!fits(best)) return null;
  const roll = (c: PlacedCylinder): number => Math.PI * c.radius ** 2 * 2 * c.halfHeight;
  for (let step = s; step > f.grid.step / 16 && more(); step /= 2)
    for (let better = true; better && more(); ) {
      better = false;
      for (const next of cylinderMoves(best, step))
        if (roll(next) > roll(best) * (1 + 1e-9) && fits(next)) {
          best = next;
          better = true;
        }
    }
  const seen = best;
  const sure = proved(f.grid.step, (inset) => {
    const c = { ...seen, radius: seen.radius - inset, halfHeight: seen.halfHeight - inset };
    return c.radius > 0 && c.halfHeight > 0 && certifyCylinder(f, c, options.doubt) ? c : null;
  });
  if (!sure) return null;
  return {
    radius_mm: sure.radius,
    height_mm: 2 * sure.halfHeight,
    centre_mm: sure.centre,
    volume_l: roll(sure) / 1e6,
    seen_l: roll(seen) / 1e6,
  };
}

/** Between cells an edge in a corner reads up to half a cell short; that much is forgiven while searching, the proof forgives nothing. */
const EDGE = 0.5;

const size = (b: PlacedBox): number => 8 * b.half[0] * b.half[1] * b.half[2];
const insetBox = (b: PlacedBox, by: number): PlacedBox => ({ ...b, half: [b.half[0] - by, b.half[1] - by, b.half[2] - by] });

/** The largest solid of a family shrinking by an inset that passes its proof, found by halving up to three cells; null when none does. */
function proved<T>(step: number, tryInset: (inset: number) => T | null): T | null {
  let lo = 0;
  let hi = 3 * step;
  let best = tryInset(0);
  if (best) return best;
  best = tryInset(hi);
  for (let i = 0; i < 4 && !best; i++) {
    lo = hi;
    hi *= 2;
    best = tryInset(hi);
  }
  for (let i = 0; i < 7 && best; i++) {
    const mid = (lo + hi) / 2;
    const b = tryInset(mid);
    if (b) {
      best = b;
      hi = mid;
    } else lo = mid;
  }
  return best;
}

/** Orientations to start from: one; every 3 degrees of a quarter turn; or about 12 degrees apart over all that differ for a box. */
function orientations(turning: 'none' | 'z' | 'any'): (readonly [Vec3, Vec3, Vec3])[] {
  if (turning === 'none') return [UNIT_AXES];
  const aboutZ = Array.from({ length: 30 }, (_, i): readonly [Vec3, Vec3, Vec3] => turned(UNIT_AXES, [0, 0, 1], (i * Math.PI) / 60));
  if (turning === 'z') return aboutZ;
  // z leans into every direction of a cube face's octant (54.7 degrees to its corner), then turns a quarter: every box comes up, some twice.
  const all: (readonly [Vec3, Vec3, Vec3])[] = [...aboutZ];
  for (let u = 0; u <= 4; u++)
    for (let v = -4; v <= 4; v++) {
      if (u === 0 && v === 0) continue;
      const w = normalize([Math.tan((u * Math.PI) / 16), Math.tan((v * Math.PI) / 16), 1]);
      const about = normalize(cross([0, 0, 1], w));
      const leaned = turned(UNIT_AXES, about, Math.acos(Math.min(1, w[2])));
      for (let t = 0; t < 8; t++) all.push(turned(leaned, w, (t * Math.PI) / 16));
    }
  return all;
}

/** Axes turned about a unit vector by an angle (Rodrigues). */
function turned(axes: readonly [Vec3, Vec3, Vec3], about: Vec3, angle: number): [Vec3, Vec3, Vec3] {
  const one = (v: Vec3): Vec3 =>
    add(add(scale(v, Math.cos(angle)), scale(cross(about, v), Math.sin(angle))), scale(about, dot(about, v) * (1 - Math.cos(angle))));
  return [one(axes[0]), one(axes[1]), one(axes[2])];
}

interface TurnedMask {
  readonly free: Uint8Array;
  readonly n: Vec3;
  readonly pitch: number;
  /** World place of a (fractional) mask cell's centre. */
  readonly at: (cell: Vec3) => Vec3;
}

/** Cells along `axes` over { f > 0 }, at most `most` along the longest side; a cell is free when its centre is 0.4 of its side inside. */
function maskOf(f: Field, axes: readonly [Vec3, Vec3, Vec3], most: number): TurnedMask {
  const lo = [Infinity, Infinity, Infinity];
  const hi = [-Infinity, -Infinity, -Infinity];
  const { grid } = f;
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        if (!(f.data[c] > 0)) continue;
        const p: Vec3 = [grid.origin[0] + i * grid.step, grid.origin[1] + j * grid.step, grid.origin[2] + k * grid.step];
        for (let a = 0; a < 3; a++) {
          const t = dot(p, axes[a]);
          // The border lies about the cell's own depth beyond its centre.
          const d = Math.min(f.data[c], grid.step);
          if (t - d < lo[a]) lo[a] = t - d;
          if (t + d > hi[a]) hi[a] = t + d;
        }
      }
  const pitch = Math.max(grid.step, ...[0, 1, 2].map((a) => (hi[a] - lo[a]) / most));
  const n = [0, 1, 2].map((a) => (hi[a] > lo[a] ? Math.max(1, Math.round((hi[a] - lo[a]) / pitch)) : 0)) as [number, number, number];
  const first = [0, 1, 2].map((a) => (lo[a] + hi[a]) / 2 - ((n[a] - 1) / 2) * pitch);
  const at = (cell: Vec3): Vec3 =>
    add(
      scale(axes[0], first[0] + cell[0] * pitch),
      add(scale(axes[1], first[1] + cell[1] * pitch), scale(axes[2], first[2] + cell[2] * pitch)),
    );
  const free = new Uint8Array(n[0] * n[1] * n[2]);
  let m = 0;
  for (let k = 0; k < n[2]; k++)
    for (let j = 0; j < n[1]; j++) for (let i = 0; i < n[0]; i++) free[m++] = sampleField(f, at([i, j, k])) >= 0.4 * pitch ? 1 : 0;
  return { free, n, pitch, at };
}

function startBox(f: Field, axes: readonly [Vec3, Vec3, Vec3], most: number): PlacedBox | null {
  const mask = maskOf(f, axes, most);
  const found = largestCuboid(mask.free, mask.n);
  if (!found) return null;
  const centre = mask.at([(found.lo[0] + found.hi[0]) / 2, (found.lo[1] + found.hi[1]) / 2, (found.lo[2] + found.hi[2]) / 2]);
  const half = [0, 1, 2].map((a) => ((found.hi[a] - found.lo[a] + 1) * mask.pitch) / 2) as [number, number, number];
  return { centre, axes, half };
}

/** Moves faces, and with `turning` the box itself, to more volume, in ever smaller steps. */
function refineBox(f: Field, start: PlacedBox, turning: 'none' | 'z' | 'any', more: () => boolean): PlacedBox {
  const h = f.grid.step;
  const fits = (b: PlacedBox): boolean => b.half.every((v) => v > 0) && boxFits(f, b, 1.5 * h, -EDGE * h);
  let best = start;
  for (let i = 0; i < 80 && !fits(best); i++) best = { ...best, half: scale(best.half, 0.96) };
  if (!fits(best)) return { ...best, half: [0, 0, 0] };
  const first = Math.max(h, Math.min(...start.half) / 4);
  for (let step = first; step > h / 16; step /= 2) {
    best = climb(best, step, fits, more);
    if (turning === 'none') continue;
    for (const about of turning === 'z' ? [best.axes[2]] : best.axes)
      for (const sign of [-1, 1]) {
        if (!more()) return best;
        // Turned by what moves the farthest corner one step, drawn in by as much, then let grow again.
        const angle = (sign * step) / Math.max(...best.half);
        const tilted = insetBox({ ...best, axes: turned(best.axes, about, angle) }, step / 2);
        if (!fits(tilted)) continue;
        const next = climb(tilted, step / 2, fits, more);
        if (size(next) > size(best)) best = next;
      }
  }
  return best;
}

/** Single faces out, then one face out against another in, while the volume grows. */
function climb(start: PlacedBox, step: number, fits: (b: PlacedBox) => boolean, more: () => boolean): PlacedBox {
  let best = start;
  for (let better = true; better && more(); ) {
    better = false;
    for (let face = 0; face < 6; face++) {
      const out = moveFace(best, face, step);
      if (fits(out)) {
        best = out;
        better = true;
        continue;
      }
      for (let other = 0; other < 6; other++) {
        const traded = moveFace(out, other, -step);
        if (other === face || !(size(traded) > size(best) * (1 + 1e-6)) || !fits(traded)) continue;
        best = traded;
        better = true;
        break;
      }
    }
  }
  return best;
}

/** Face 0..5 (two an axis, low then high) moved outwards by `by` mm. */
function moveFace(b: PlacedBox, face: number, by: number): PlacedBox {
  const a = face >> 1;
  const half = b.half.map((v, i) => (i === a ? v + by / 2 : v)) as [number, number, number];
  return { ...b, half, centre: add(b.centre, scale(b.axes[a], (face & 1 ? by : -by) / 2)) };
}

function cylinderMoves(c: PlacedCylinder, s: number): PlacedCylinder[] {
  const out: PlacedCylinder[] = [];
  const shifts: Vec3[] = [
    [0, 0, 0],
    [s, 0, 0],
    [-s, 0, 0],
    [0, s, 0],
    [0, -s, 0],
  ];
  for (const d of shifts)
    for (const grow of [s, s / 2, 0, -s / 2])
      for (const low of [-s, 0, s])
        for (const high of [-s, 0, s]) {
          const centre = add(c.centre, add(d, [0, 0, (high - low) / 2]));
          out.push({ centre, radius: c.radius + grow, halfHeight: c.halfHeight + (low + high) / 2 });
        }
  return out;
}

interface Largest {
  readonly ball: BallResult | null;
  readonly cylinder: CylinderResult | null;
  readonly box: BoxResult | null;
  readonly box_turned_about_z: BoxResult | null;
  readonly box_turned: BoxResult | null;
}

const larger = (a: BoxResult | null, b: BoxResult | null): BoxResult | null => (!b || (a && a.volume_l >= b.volume_l) ? a : b);

interface LargestOrder {
  readonly field: Field;
  readonly doubt: number;
  readonly seconds: number;
  readonly enough?: Int32Array;
}

/** All of them as one task; the time is shared out among the four searches. */
export const largestTask: Task<LargestOrder, Largest> = {
  name: 'largest.all',
  run: ({ field, doubt, seconds, enough }) => {
    const options = (): LargestOptions => ({ doubt, budget: budgetOf(seconds / 4, enough) });
    // A box that may turn may also not turn: cut short, the wider search must not end below the narrower one.
    const box = largestBox(field, 'none', options());
    const aboutZ = larger(box, largestBox(field, 'z', options()));
    return {
      ball: largestBall(field, doubt),
      cylinder: largestCylinder(field, options()),
      box,
      box_turned_about_z: aboutZ,
      box_turned: larger(aboutZ, largestBox(field, 'any', options())),
    };
  },
};

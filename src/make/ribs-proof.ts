import { type Field, sampleField } from '../core/field.ts';
import { dot, type Vec3 } from '../core/vec.ts';
import { surface } from '../field/surface.ts';
import { type Figure, type Flat, figureBox, inFigure, rectangle } from './flat.ts';
import type { Frame, Rib, RibOptions, RibPlane } from './ribs-plan.ts';
import type { Joint } from './ribs-slots.ts';

/** What was found on the finished parts, without regard to how they were made. */
export interface KitProof {
  readonly ok: boolean;
  /** What does not hold; empty when all does. */
  readonly faults: readonly string[];
  /** Every part lies inside the body over the whole thickness of the sheet: proven, not sampled. */
  readonly inside: boolean;
  /** Pairs of ribs of different families that would be in each other's way, in place or while one goes on. */
  readonly collisions: number;
  /** Joints whose two slots meet, and the widest gap between the ends of two slots of a joint, mm. */
  readonly joints: number;
  readonly joint_gap_mm: number;
  /** Parts that do not hang together with the rest by joints. */
  readonly loose: number;
  /** Share of the body's surface within `COVERED` mm of a rib's edge, percent. */
  readonly covered_percent: number;
}

export const COVERED = 5;

interface Kit {
  readonly frame: Frame;
  readonly ribs: readonly Rib[];
  readonly joints: readonly Joint[];
  readonly options: RibOptions;
}

/** A body and the bound of its slope. */
export interface Ground {
  readonly field: Field;
  readonly slope: number;
}

export const groundOf = (field: Field): Ground => ({ field, slope: steepest(field) });

/** Distances that do not count, mm: far below what a cutter keeps, well above rounding. */
const SLIGHT = 1e-3;

/** Looks at everything that the kit promises. */
export function proveKit(ground: Ground, kit: Kit, flat: Flat): KitProof {
  const { ribs, joints, options } = kit;
  const faults: string[] = [];
  const outside = ribs.filter((r) => !(roomOfRib(ground, r.plane, r.part, options.thickness) >= 0));
  for (const r of outside) faults.push(`${r.name} may stick out of the body`);
  const clashes = collisions(ribs, options.thickness, flat);
  for (const [p, q] of clashes) faults.push(`${p} and ${q} are in each other's way`);
  let gap = 0;
  let met = 0;
  for (const j of joints) {
    const [p, q] = [ribs.find((r) => r.name === j.first), ribs.find((r) => r.name === j.second)];
    const own = p && q ? jointGap(p, q, j, options, flat) : undefined;
    if (own === undefined || own > options.fit + 2 * SLIGHT) faults.push(`the slots of ${j.first} and ${j.second} do not meet`);
    else {
      met++;
      gap = Math.max(gap, own);
    }
  }
  const loose = ribs.length - largestGroup(ribs, joints).size;
  if (loose > 0) faults.push(`${loose} parts do not hang together with the rest`);
  return {
    ok: faults.length === 0,
    faults,
    inside: outside.length === 0,
    collisions: clashes.length,
    joints: met,
    joint_gap_mm: gap,
    loose,
    covered_percent: 100 * coverage(ground.field, ribs, options.thickness),
  };
}

/**
 * Pairs that collide. Over the common prism of two crossing ribs (both thicknesses wide, endless along the slots) all material of the
 * first family must lie below all material of the second: then neither meets the other in place, nor anywhere on the way up along w.
 */
export function collisions(ribs: readonly Rib[], thickness: number, flat: Flat): [string, string][] {
  const strip = (r: Rib, at: number): [number, number, number, number] =>
    figureBox(flat.common(r.part, rectangle(at - thickness / 2, -1e5, at + thickness / 2, 1e5)));
  const out: [string, string][] = [];
  for (const p of ribs.filter((r) => r.family === 0))
    for (const q of ribs.filter((r) => r.family === 1))
      if (strip(p, q.plane.at)[3] > strip(q, p.plane.at)[1] + SLIGHT) out.push([p.name, q.name]);
  return out;
}

/**
 * Gap along w between the ends of the two slots of a joint, mm; undefined where a slot is missing or narrower than the sheet, or a rib has
 * no material at the end of its slot.
 */
function jointGap(p: Rib, q: Rib, joint: Joint, options: RibOptions, flat: Flat): number | undefined {
  const half = options.thickness / 2;
  // A strip the sheet's thickness wide, each side of the joint: empty on the slot's side, filled at the slot's end on the other.
  const near = (r: Rib, at: number, low: number, high: number) =>
    flat.common(r.part, rectangle(at - half + SLIGHT, low, at + half - SLIGHT, high));
  const reach = joint.length / 2;
  const lower = figureBox(near(p, q.plane.at, joint.at - reach, joint.at + reach));
  const upper = figureBox(near(q, p.plane.at, joint.at - reach, joint.at + reach));
  if (!(lower[1] < lower[3] && upper[1] < upper[3]) || lower[3] > joint.at || upper[1] < joint.at) return undefined;
  return upper[1] - lower[3];
}

/** Names of the parts that hang together by joints, in the largest such group. */
export function largestGroup(ribs: readonly { readonly name: string }[], joints: readonly Joint[]): Set<string> {
  const next = new Map(ribs.map((r) => [r.name, new Set<string>()]));
  for (const j of joints) {
    next.get(j.first)?.add(j.second);
    next.get(j.second)?.add(j.first);
  }
  let best = new Set<string>();
  const seen = new Set<string>();
  for (const { name } of ribs) {
    if (seen.has(name)) continue;
    const group = new Set([name]);
    for (const n of group) for (const m of next.get(n) ?? []) group.add(m);
    for (const n of group) seen.add(n);
    if (group.size > best.size) best = group;
  }
  return best;
}

/** Finest box, mm, when a part is searched for places outside the body. */
const FINEST = 0.06;
const COARSEST = 16;
/** Boxes that fail before the search ends. */
const ENOUGH = 50;

/**
 * Not negative when the part lies in { f >= 0 } over its whole thickness, for every point and not at samples: the part is covered with boxes, and
 * in each the field at its middle exceeds what it can fall by to a corner (its steepest slope times half the diagonal), or the box is split.
 * Where that cannot be shown in boxes of 0.06 mm: the least bound found until there are enough of them, negative, mm. -Infinity for an empty part.
 */
export function roomOfRib({ field, slope }: Ground, plane: RibPlane, figure: Figure, thickness: number): number {
  const segments = segmentsOf(figure);
  if (segments.length === 0) return Number.NEGATIVE_INFINITY;
  const [a0, b0, a1, b1] = figureBox(figure);
  let least = Infinity;
  let failed = 0;
  const { normal } = plane;
  const { origin: o, u, v } = plane.section;
  const at = (a: number, b: number, c: number): number =>
    sampleField(field, [
      o[0] + a * u[0] + b * v[0] + c * normal[0],
      o[1] + a * u[1] + b * v[1] + c * normal[1],
      o[2] + a * u[2] + b * v[2] + c * normal[2],
    ]);
  const look = (a: number, b: number, size: number, near: Int32Array): void => {
    const half = size / 2;
    const own = near.filter((s) => meetsBox(segments, s, a, b, half));
    if (own.length === 0 && !inFigure(figure, a, b)) return;
    const layers = Math.max(1, Math.ceil(thickness / size));
    const drop = slope * Math.hypot(half, half, thickness / layers / 2);
    let bound = Infinity;
    for (let l = 0; l < layers; l++) bound = Math.min(bound, at(a, b, thickness * ((l + 0.5) / layers - 0.5)) - drop);
    if (bound >= 0 || size <= FINEST) {
      least = Math.min(least, bound);
      if (bound < 0) failed++;
      return;
    }
    // Once it has failed, there is no need to look for the very worst place.
    if (failed >= ENOUGH || (bound >= least && least < 0)) return;
    for (const [da, db] of QUARTERS) look(a + da * size, b + db * size, half, own);
  };
  const all = Int32Array.from({ length: segments.length / 4 }, (_, i) => i);
  for (let a = a0 + COARSEST / 2; a - COARSEST / 2 < a1; a += COARSEST)
    for (let b = b0 + COARSEST / 2; b - COARSEST / 2 < b1; b += COARSEST) look(a, b, COARSEST, all);
  return least;
}

const QUARTERS = [
  [-0.25, -0.25],
  [0.25, -0.25],
  [-0.25, 0.25],
  [0.25, 0.25],
] as const;

/** Four numbers an edge: from and to. */
function segmentsOf(figure: Figure): Float64Array {
  return Float64Array.from(figure.flatMap((ring) => ring.flatMap((p, i) => [...ring[(i + ring.length - 1) % ring.length], ...p])));
}

/** Whether an edge may meet the box: never false when it does. */
function meetsBox(s: Float64Array, i: number, a: number, b: number, half: number): boolean {
  const [x0, y0, x1, y1] = [s[4 * i] - a, s[4 * i + 1] - b, s[4 * i + 2] - a, s[4 * i + 3] - b];
  if (Math.min(x0, x1) > half || Math.max(x0, x1) < -half || Math.min(y0, y1) > half || Math.max(y0, y1) < -half) return false;
  const [dx, dy] = [x1 - x0, y1 - y0];
  return Math.abs(x0 * dy - y0 * dx) <= half * (Math.abs(dx) + Math.abs(dy)) + 1e-12;
}

/**
 * Bound of the slope of the field between cell centres, mm a mm: in a trilinear cell each derivative is a mean of differences along
 * that axis. Only cells at or above a step below zero count: parts lie nowhere else.
 */
export function steepest({ grid, data }: Field): number {
  const { nx, ny, nz, step } = grid;
  const most = [0, 0, 0];
  const stride = [1, nx, nx * ny];
  const size = [nx, ny, nz];
  for (let a = 0; a < 3; a++) {
    for (let c = 0; c < data.length; c++) {
      if (Math.floor(c / stride[a]) % size[a] === size[a] - 1) continue;
      const [p, q] = [data[c], data[c + stride[a]]];
      if (p < -step && q < -step) continue;
      const d = Math.abs(q - p);
      if (d > most[a]) most[a] = d;
    }
  }
  return Math.hypot(...most) / step;
}

/** Share, 0..1, of the surface whose faces' middles lie within `COVERED` mm of a rib's edge (the whole thickness of it). */
export function coverage(body: Field, ribs: readonly Rib[], thickness: number): number {
  const mesh = surface(body, 0);
  const { positions: p, indices: t, origin } = mesh;
  const edges = ribs.map((r) => ({ rib: r, ...binned(segmentsOf(r.part)) }));
  let [all, near] = [0, 0];
  for (let f = 0; f < t.length; f += 3) {
    const [i, j, k] = [3 * t[f], 3 * t[f + 1], 3 * t[f + 2]];
    const [ux, uy, uz] = [p[j] - p[i], p[j + 1] - p[i + 1], p[j + 2] - p[i + 2]];
    const [vx, vy, vz] = [p[k] - p[i], p[k + 1] - p[i + 1], p[k + 2] - p[i + 2]];
    const area = Math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx);
    const middle = (a: number): number => (p[i + a] + p[j + a] + p[k + a]) / 3 + origin[a];
    const at: Vec3 = [middle(0), middle(1), middle(2)];
    all += area;
    if (edges.some((e) => isNear(e, at, thickness / 2))) near += area;
  }
  return all > 0 ? near / all : 0;
}

interface Binned {
  readonly rib: Rib;
  readonly segments: Float64Array;
  readonly bins: ReadonlyMap<number, number[]>;
}

const binOf = (i: number, j: number): number => i * 65536 + j;

/** Edges by squares of `COVERED` mm, each in every square that it comes within that distance of. */
function binned(segments: Float64Array): { segments: Float64Array; bins: Map<number, number[]> } {
  const bins = new Map<number, number[]>();
  const cell = (v: number): number => Math.floor(v / COVERED);
  for (let s = 0; s < segments.length / 4; s++) {
    const [x0, y0, x1, y1] = segments.subarray(4 * s, 4 * s + 4);
    for (let i = cell(Math.min(x0, x1) - COVERED); i <= cell(Math.max(x0, x1) + COVERED); i++)
      for (let j = cell(Math.min(y0, y1) - COVERED); j <= cell(Math.max(y0, y1) + COVERED); j++) {
        const list = bins.get(binOf(i, j));
        if (list) list.push(s);
        else bins.set(binOf(i, j), [s]);
      }
  }
  return { segments, bins };
}

function isNear({ rib, segments: s, bins }: Binned, p: Vec3, half: number): boolean {
  const out = Math.max(0, Math.abs(dot(p, rib.plane.normal) - rib.plane.at) - half);
  if (out > COVERED) return false;
  const [a, b] = [dot(p, rib.plane.section.u), dot(p, rib.plane.section.v)];
  const most = COVERED * COVERED - out * out;
  for (const i of bins.get(binOf(Math.floor(a / COVERED), Math.floor(b / COVERED))) ?? []) {
    const [x0, y0, dx, dy] = [s[4 * i], s[4 * i + 1], s[4 * i + 2] - s[4 * i], s[4 * i + 3] - s[4 * i + 1]];
    const k = Math.min(1, Math.max(0, ((a - x0) * dx + (b - y0) * dy) / (dx * dx + dy * dy || 1)));
    if ((a - x0 - k * dx) ** 2 + (b - y0 - k * dy) ** 2 <= most) return true;
  }
  return false;
}

import type { Field } from '../core/field.ts';
import { cross, dot, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import type { SectionPlane } from '../field/outlines.ts';
import type { Stroke } from './draft.ts';
import type { Figure } from './flat.ts';
import { extentAlong } from './stations.ts';

/** The kit's own directions, unit vectors, right-handed: ribs of the first family stand across `a`, of the second across `b`; slots run along `w`. */
export interface Frame {
  readonly a: Vec3;
  readonly b: Vec3;
  readonly w: Vec3;
}

/**
 * The middle plane of a rib. Figures have the other family's direction as first coordinate and `w` as second, both measured from the
 * vehicle's zero.
 */
export interface RibPlane {
  readonly name: string;
  readonly family: 0 | 1;
  readonly normal: Vec3;
  /** mm along the normal. */
  readonly at: number;
  readonly section: SectionPlane;
}

/** Turned less than this from a direction of the vehicle, a body's own direction gives way to it, degrees. */
const SNAP = 12;

/**
 * Directions for slots along `w`: `a` is the direction across it in which the body spreads most (greatest second moment), or the
 * vehicle's own where that is near.
 */
export function frameAlong(body: Field, w: Vec3): Frame {
  const [p, q] = across(w);
  const { grid, data } = body;
  const { nx, ny } = grid;
  let [n, sp, sq, spp, sqq, spq] = [0, 0, 0, 0, 0, 0];
  for (let c = 0; c < data.length; c++) {
    if (!(data[c] >= 0)) continue;
    const at: Vec3 = [c % nx, Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))];
    const x = dot(at, p);
    const y = dot(at, q);
    n++;
    sp += x;
    sq += y;
    spp += x * x;
    sqq += y * y;
    spq += x * y;
  }
  const vpp = spp - (sp * sp) / n;
  const vqq = sqq - (sq * sq) / n;
  const vpq = spq - (sp * sq) / n;
  const turn = 0.5 * Math.atan2(2 * vpq, vpp - vqq);
  const quarter = Math.round(turn / (Math.PI / 2)) * (Math.PI / 2);
  const near = Math.abs(turn - quarter) < (SNAP * Math.PI) / 180 || !(n > 0);
  const angle = near ? quarter : turn;
  const a: Vec3 = [0, 1, 2].map((i) => clean(Math.cos(angle)) * p[i] + clean(Math.sin(angle)) * q[i]) as [number, number, number];
  return { a, b: cross(w, a), w };
}

const clean = (v: number): number => (Math.abs(v) < 1e-12 ? 0 : Math.abs(Math.abs(v) - 1) < 1e-12 ? Math.sign(v) : v);

/** Two directions across `w`: the vehicle's axis most across it, made exactly so, and the one at right angles to both. */
function across(w: Vec3): [Vec3, Vec3] {
  const axis = ([0, 1, 2] as const).reduce((m, i) => (Math.abs(w[i]) < Math.abs(w[m]) - 1e-9 ? i : m), 0 as 0 | 1 | 2);
  const e: Vec3 = [axis === 0 ? 1 : 0, axis === 1 ? 1 : 0, axis === 2 ? 1 : 0];
  const p = normalize(sub(e, scale(w, dot(e, w))));
  return [p, cross(w, p)];
}

/** Planes of a family: as many as the spacing asks, at least two, evenly from half a spacing inside the body's ends. */
export function ribPlanes(body: Field, frame: Frame, family: 0 | 1, spacing: number): RibPlane[] {
  const normal = family === 0 ? frame.a : frame.b;
  const [low, high] = extentAlong(body, normal);
  const count = Math.max(2, Math.round((high - low) / spacing));
  return Array.from({ length: count }, (_, i) => {
    const at = low + ((i + 0.5) * (high - low)) / count;
    return {
      name: family === 0 ? letterName(i) : String(i + 1),
      family,
      normal,
      at,
      section: { origin: scale(normal, at), u: family === 0 ? frame.b : frame.a, v: frame.w },
    };
  });
}

/** A to Z, then AA, AB ... */
export function letterName(i: number): string {
  const last = String.fromCharCode(65 + (i % 26));
  return i < 26 ? last : letterName(Math.floor(i / 26) - 1) + last;
}

export interface RibOptions {
  /** Thickness of the sheet, mm. */
  readonly thickness: number;
  /** Spacing aimed at between ribs of a family, mm. */
  readonly spacing: number;
  /** What a slot is wider than the sheet is thick, mm. */
  readonly fit: number;
  /** Width of the cut, mm; the cut lines lie half of it outside the part. */
  readonly kerf: number;
  /** Radius of the relief in the corners of slot ends, mm; 0 for none. */
  readonly relief: number;
  /** How far ribs are drawn in from the body, mm. */
  readonly draw_in: number;
  /** Width and height of the hole for a hand, mm; null for none. */
  readonly hand_hole: { readonly width: number; readonly height: number } | null;
  /** Unit vector along which the slots run and the second family is put on; best the body's way out. Chosen from x, y, z when left out. */
  readonly along?: Vec3;
}

/** One flat part of the kit. */
export interface Rib {
  /** Letter for the first family, number for the second. */
  readonly name: string;
  readonly family: 0 | 1;
  /** Where its middle plane lies; figures are in the plane's coordinates, mm. */
  readonly plane: RibPlane;
  /** The finished part. */
  readonly part: Figure;
  /** Where the cut runs: the part grown by half the kerf. */
  readonly cut: Figure;
  /** Its name and an arrow along the kit's direction, as lines; empty where there is no room. */
  readonly engraved: readonly Stroke[];
}

import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { distance, type Vec3 } from '../core/vec.ts';
import { type Curve, rounded } from './curve.ts';
import { shortest } from './shortest.ts';
import { type NearestTo, widestWay } from './widest.ts';

/** A hose, cable or pipe that is to be led from one place to another; lengths mm. */
export interface PassageAsk {
  readonly diameter: number;
  readonly clearance: number;
  readonly from: Vec3;
  readonly to: Vec3;
  readonly bendRadius: number;
  /** Within this of either end neither clearance nor room is asked: there it is joined to something. */
  readonly ends: number;
}

/** The narrowest place of the widest way. */
export interface PassageNeck {
  /** Greatest diameter that passes at the clearance asked, mm, and by how much it may be off. */
  readonly diameter: number;
  readonly error: number;
  readonly at: Vec3;
}

export interface Passage {
  /** Null when the two ends do not hang together at all, or one lies outside the grid. */
  readonly bottleneck: PassageNeck | null;
  readonly curve: Curve | null;
  /** Why there is no curve. */
  readonly why: 'too narrow' | 'bends too tight' | 'ends apart' | null;
  /** Where bends are too tight: a radius that would do, mm; 0 when none was found. */
  readonly bendable: number | null;
}

/**
 * A curve cuts the inside of the corners of the taut line, so that line keeps more: these shares, tried in turn, of what the narrowest place
 * has to spare, or of CUT bend radii (an arc of 90 degrees cuts 0.41) where that is less.
 */
const MORE = [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];
const CUT = 0.45;
/** What a way on the grid keeps beyond the gap, in cells: what reading the field between cells may be wrong by. */
const SURE = 0.1;

/**
 * Finds the way of a hose through `distanceTo`, the distance to everything that it must keep clear of, mm: first how wide it could be at
 * most (a maximin flood), then the shortest way at the gap that it needs, its corners rounded by the bend radius. `clear` judges a
 * curve by exact distances; the first that passes is the answer. With `nearestTo`, exact too, the narrowest place is told exactly.
 */
export function findPassage(distanceTo: Field, ask: PassageAsk, clear: (curve: Curve) => boolean, nearestTo?: NearestTo): Passage {
  const need = ask.diameter / 2 + ask.clearance;
  const field = withEnds(distanceTo, ask, 3 * need);
  const none = { curve: null, bendable: null };
  // No end is the narrowest place. Between cells so much room would reach beyond the ends, so the ways themselves are sought with less.
  const bottleneck = widest(withEnds(distanceTo, ask, Math.max(3 * need, greatest(distanceTo))), ask, nearestTo);
  if (!bottleneck) return { bottleneck: null, ...none, why: 'ends apart' };
  const lines: (readonly Vec3[])[] = [];
  const base = need + SURE * field.grid.step;
  const spare = Math.max(0, Math.min(CUT * ask.bendRadius, bottleneck.diameter / 2 + ask.clearance - base));
  for (const share of ask.bendRadius > 0 ? MORE : [0]) {
    const corners = shortest(field, base + share * spare, ask.from, ask.to);
    if (!corners) break;
    lines.push(corners);
    const curve = rounded(corners, ask.bendRadius);
    if (curve && clear(curve)) return { bottleneck, curve, why: null, bendable: null };
  }
  if (lines.length === 0) return { bottleneck, ...none, why: 'too narrow' };
  // Tenths of the radius asked, the greatest that passes along any of the lines.
  const passes = (radius: number): boolean =>
    lines.some((corners) => {
      const curve = rounded(corners, radius);
      return curve !== undefined && clear(curve);
    });
  const tenths = [9, 8, 7, 6, 5, 4, 3, 2, 1].find((n) => passes((n / 10) * ask.bendRadius)) ?? 0;
  return { bottleneck, curve: null, why: 'bends too tight', bendable: (tenths / 10) * ask.bendRadius };
}

/** Round the ends everything counts as free. */
function withEnds({ grid, data }: Field, { from, to, ends }: PassageAsk, free: number): Field {
  const out = data.slice();
  for (const p of [from, to]) {
    const lo = [0, 1, 2].map((a) => Math.floor((p[a] - ends - grid.origin[a]) / grid.step));
    const hi = [0, 1, 2].map((a) => Math.ceil((p[a] + ends - grid.origin[a]) / grid.step));
    for (let k = Math.max(0, lo[2]); k <= Math.min(grid.nz - 1, hi[2]); k++)
      for (let j = Math.max(0, lo[1]); j <= Math.min(grid.ny - 1, hi[1]); j++)
        for (let i = Math.max(0, lo[0]); i <= Math.min(grid.nx - 1, hi[0]); i++) {
          const c = i + grid.nx * (j + grid.ny * k);
          if (distance(cellCentre(grid, c), p) <= Math.max(ends, grid.step)) out[c] = Math.max(out[c], free);
        }
  }
  return { grid, data: out };
}

const greatest = ({ data }: Field): number => data.reduce((most, v) => Math.max(v, most), -Infinity);

function widest(field: Field, { from, to, clearance, ends }: PassageAsk, nearestTo?: NearestTo): PassageNeck | null {
  const found = widestWay(field, { from, to, rim: ends }, nearestTo);
  return found && { diameter: 2 * (found.radius - clearance), error: 2 * found.error, at: found.at };
}

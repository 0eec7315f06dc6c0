import type { Field } from '../core/field.ts';
import { cellAt, cellCentre } from '../core/grid.ts';
import { add, distance, dot, length, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import { flood, type Neck } from '../field/flood.ts';

/**
 * The widest way between two places, its narrowest place by exact distances. The grid tells where the narrow places are, and reads their radius up to
 * 0.87 cell (half a cell's diagonal) too small. There the exact distance has a saddle: greatest across the way, least along it. So the way's
 * radius is the least, over planes across it, of the greatest distance in the plane; that is sought first across, then along.
 *
 * Another way that the grid reads narrower may truly be the wider one: the narrowest place of the first is shut and the next one is looked at, until
 * none can be wider.
 */
export interface Bottleneck {
  /** Distance to everything there, mm: the radius of the ball that just passes. */
  readonly radius: number;
  readonly at: Vec3;
  /** It is surely not wider by more than this, mm, nor narrower. */
  readonly error: number;
}

/** The nearest place on anything to a point, and by how much its surface stands out from there, mm. */
export interface Nearest {
  readonly at: Vec3;
  readonly off: number;
}
export type NearestTo = (p: Vec3) => Nearest | undefined;

/** Two places to be joined; within `rim` mm of either nothing counts as in the way. */
export interface Ends {
  readonly from: Vec3;
  readonly to: Vec3;
  readonly rim: number;
}

/** By how many cells the grid may read a narrow place too small. */
const SHORT = 0.9;
/** Ways that are looked at, and narrow places of one of them. */
const WAYS = 6;
const PLACES = 8;
/** mm */
const FINE = 0.005;

/** Null when the two ends do not hang together in the grid; without `nearestTo` the grid's own reading is given. */
export function widestWay(field: Field, ends: Ends, nearestTo?: NearestTo): Bottleneck | null {
  const { grid } = field;
  const [a, b] = [cellAt(grid, ends.from), cellAt(grid, ends.to)];
  if (a < 0 || b < 0) return null;
  const left: Field = { grid, data: field.data.slice() };
  const slop = SHORT * grid.step;
  let best: Bottleneck | null = null;
  let bound = Infinity;
  for (let n = 0; n < WAYS; n++) {
    const flooded = flood(left, [a], { persistence: grid.step / 4 });
    const level = flooded.reach.data[b];
    bound = level + slop;
    if (!(level > -Infinity) || (best && bound <= best.radius)) break;
    const cell = cellOfLevel(left, flooded.reach, level, b);
    if (!nearestTo) return { radius: level, at: cellCentre(grid, cell), error: slop };
    const way = narrowestOf(left, flooded, { b, cell, level }, { nearestTo, ends });
    if (!best || way.radius > best.radius) best = way;
    shut(left, way);
  }
  return best && { ...best, error: Math.max(best.error, bound - best.radius) };
}

/** The least of the field on the best way is the field of some cell that is reached at just that. */
function cellOfLevel({ data }: Field, reach: Field, level: number, end: number): number {
  let at = end;
  for (let c = 0; c < data.length; c++) if (data[c] === level && reach.data[c] === level) at = c;
  return at;
}

/** Of the narrow places on one way the one that is truly the narrowest. */
function narrowestOf(
  field: Field,
  { reach, necks, labels }: ReturnType<typeof flood>,
  { b, cell, level }: { b: number; cell: number; level: number },
  exact: Exact,
): Bottleneck {
  const passed: Pick<Neck, 'cell' | 'level'>[] = [];
  for (let k = labels[b]; k >= 0; k = necks[k].parent) passed.push(necks[k]);
  if (!passed.some((p) => p.cell === cell)) passed.push({ cell, level });
  const low = passed.filter((p) => p.level <= level + SHORT * field.grid.step).sort((p, q) => p.level - q.level);
  const found = low.slice(0, PLACES).map((p) => saddle(field, reach, p, exact));
  const least = found.reduce((p, q) => (q.radius < p.radius ? q : p));
  // Those that are left out read no narrower than the last one looked at.
  const more = low.length > PLACES ? Math.max(0, least.radius - low[PLACES].level) : 0;
  return { ...least, error: Math.max(least.error, more) };
}

/** Nothing passes there any more. */
function shut({ grid, data }: Field, { at, radius }: Bottleneck): void {
  const r = 1.5 * Math.max(0, radius) + 2 * grid.step;
  const [lo, hi] = [-r, r].map((s) => at.map((v, a) => Math.round((v + s - grid.origin[a]) / grid.step)));
  for (let k = Math.max(0, lo[2]); k <= Math.min(grid.nz - 1, hi[2]); k++)
    for (let j = Math.max(0, lo[1]); j <= Math.min(grid.ny - 1, hi[1]); j++)
      for (let i = Math.max(0, lo[0]); i <= Math.min(grid.nx - 1, hi[0]); i++) {
        const c = i + grid.nx * (j + grid.ny * k);
        if (distance(cellCentre(grid, c), at) <= r) data[c] = Number.NEGATIVE_INFINITY;
      }
}

interface Exact {
  readonly nearestTo: NearestTo;
  readonly ends: Ends;
}

/** The saddle of the exact distance by a narrow place of the grid. */
function saddle(field: Field, reach: Field, neck: Pick<Neck, 'cell' | 'level'>, exact: Exact): Bottleneck {
  const at = cellCentre(field.grid, neck.cell);
  const coarse: Bottleneck = { radius: neck.level, at, error: SHORT * field.grid.step };
  const surfaces = roundEnd(at, exact.ends, field.grid.step) ?? planesAcross(at, directionThrough(field, reach, neck));
  if (!surfaces) return coarse;
  const known: Nearest[] = [];
  const across = (s: number, start: Vec3): Top => topOn((p) => surfaces(p, s), start, { known, ...exact, step: field.grid.step });
  let top = across(0, at);
  if (!Number.isFinite(top.radius)) return coarse;
  // Along the way it falls to the saddle and rises again: smaller and smaller steps to whichever side is lower.
  let place = 0;
  for (let h = field.grid.step / 2; h > FINE; h /= 2)
    for (let moved = true; moved; ) {
      moved = false;
      for (const side of [-h, h]) {
        if (Math.abs(place + side) > 2 * field.grid.step) continue;
        const next = across(place + side, top.at);
        if (!Number.isFinite(next.radius) || next.radius >= top.radius - 1e-4) continue;
        top = next;
        place += side;
        moved = true;
        break;
      }
    }
  // What the grid saw is a way, so the truth is no less.
  if (top.radius < coarse.radius - 2 * FINE) return coarse;
  return { radius: top.radius, at: top.at, error: top.open + 2 * FINE };
}

/** Surfaces across the way, one for each place `s` mm along it: where a point comes to lie on it. */
type Surfaces = (p: Vec3, s: number) => Vec3;

const planesAcross = (at: Vec3, along: Vec3 | undefined): Surfaces | undefined =>
  along && ((p, s) => add(p, scale(along, s - dot(sub(p, at), along))));

/** By the rim of an end the way crosses balls about it, the rim itself the innermost. */
function roundEnd(at: Vec3, { from, to, rim }: Ends, step: number): Surfaces | undefined {
  const end = [from, to].find((e) => distance(at, e) < rim + 2.5 * step);
  if (!end || rim === 0) return undefined;
  const first = Math.max(rim, distance(at, end));
  return (p, s) => add(end, scale(normalize(sub(p, end)), Math.max(rim + 1e-6, first + s)));
}

/**
 * From the middle of the cells before a narrow place to that of those behind it; along a pipe of one width, which has no before and behind, to
 * the farthest of its cells nearby. Undefined where there are none.
 */
function directionThrough({ grid, data }: Field, reach: Field, { cell, level }: Pick<Neck, 'cell' | 'level'>): Vec3 | undefined {
  const at = cellCentre(grid, cell);
  let farthest: Vec3 | undefined;
  for (const r of [2.5, 5]) {
    const sums: [Vec3, number][] = [
      [[0, 0, 0], 0],
      [[0, 0, 0], 0],
    ];
    const n = Math.ceil(r);
    const [x, y, z] = [cell % grid.nx, Math.floor(cell / grid.nx) % grid.ny, Math.floor(cell / (grid.nx * grid.ny))];
    for (let k = Math.max(0, z - n); k <= Math.min(grid.nz - 1, z + n); k++)
      for (let j = Math.max(0, y - n); j <= Math.min(grid.ny - 1, y + n); j++)
        for (let i = Math.max(0, x - n); i <= Math.min(grid.nx - 1, x + n); i++) {
          const c = i + grid.nx * (j + grid.ny * k);
          if (!(data[c] >= level) || c === cell || distance(cellCentre(grid, c), at) > r * grid.step) continue;
          const side = sums[reach.data[c] > level ? 0 : 1];
          side[0] = add(side[0], cellCentre(grid, c));
          side[1]++;
          if (!farthest || distance(cellCentre(grid, c), at) > distance(farthest, at)) farthest = cellCentre(grid, c);
        }
    if (sums[0][1] === 0 || sums[1][1] === 0) continue;
    const through = sub(scale(sums[1][0], 1 / sums[1][1]), scale(sums[0][0], 1 / sums[0][1]));
    if (length(through) > 1e-6) return normalize(through);
  }
  return farthest && normalize(sub(farthest, at));
}

interface Top {
  readonly at: Vec3;
  readonly radius: number;
  /** How much more there may be in the plane nearby, mm. */
  readonly open: number;
}

interface InPlane extends Exact {
  /** Nearest places found so far: every one bounds the distance of every point from above. */
  readonly known: Nearest[];
  readonly step: number;
}

/** Rounds of asking where the known places leave the most room, and what is nearest there. */
const ROUNDS = 40;
/** Nearest places that are remembered. */
const KNOWN = 48;

/**
 * The greatest exact distance on a surface across the way, climbing from a point. Where the places known so far leave the most room the nearest
 * place is asked for, until it is one of them (the method of cutting planes, with balls for planes).
 */
function topOn(onto: (p: Vec3) => Vec3, start: Vec3, { known, nearestTo, ends: { from, to, rim }, step }: InPlane): Top {
  const isFree = (p: Vec3): boolean => distance(p, from) <= rim || distance(p, to) <= rim;
  const exact = (p: Vec3): number => {
    if (isFree(p)) return -Infinity;
    const near = nearestTo(p);
    if (!near) return Infinity;
    known.push(near);
    return distance(p, near.at) - near.off;
  };
  const first = onto(start);
  // Those that bound little here would only be looked at again and again; fewer bounds are still bounds.
  const room = (k: Nearest): number => distance(first, k.at) - k.off;
  if (known.length > KNOWN) known.sort((a, b) => room(a) - room(b)).splice(KNOWN / 2);
  let best: Top = { at: first, radius: exact(first), open: step };
  const atMost = (p: Vec3): number =>
    isFree(p) ? -Infinity : known.reduce((least, k) => Math.min(least, distance(p, k.at) - k.off), Infinity);
  for (let n = 0, reach = step; n < ROUNDS && Number.isFinite(best.radius); n++) {
    const most = climb(best.at, reach, atMost, onto);
    const radius = exact(most.at);
    const open = Math.max(0, most.radius - Math.max(radius, best.radius));
    const gained = radius > best.radius;
    const far = distance(most.at, best.at);
    best = gained ? { at: most.at, radius, open } : { ...best, open };
    // Nothing more within reach: done, unless the climb was stopped by the reach itself.
    if (open < FINE && !(gained && far > 0.9 * reach)) break;
    reach = gained ? step : Math.max(reach / 1.5, 0.05 * step);
  }
  return best;
}

/** The greatest value of a cheap function on a surface within `reach` of a point, by steps in many directions, smaller and smaller. */
function climb(from: Vec3, reach: number, value: (p: Vec3) => number, onto: (p: Vec3) => Vec3): { at: Vec3; radius: number } {
  let at = from;
  let radius = value(from);
  const [u, v] = tangents(from, onto);
  for (let h = reach / 2, turn = 0; h > FINE / 4; ) {
    let better = false;
    for (let k = 0; k < DIRECTIONS; k++) {
      const t = ((k + turn) * 2 * Math.PI) / DIRECTIONS;
      const next = onto(add(at, add(scale(u, h * Math.cos(t)), scale(v, h * Math.sin(t)))));
      if (distance(next, from) > reach) continue;
      const there = value(next);
      if (there <= radius) continue;
      at = next;
      radius = there;
      better = true;
    }
    if (better) continue;
    turn = (turn + 0.618) % 1;
    h /= 1.6;
  }
  return { at, radius };
}

/** Two unit vectors along the surface: those of the axes that it turns least, made square to each other. */
function tangents(p: Vec3, onto: (p: Vec3) => Vec3): readonly [Vec3, Vec3] {
  const small = 0.01;
  const along = AXES.map((a) => scale(sub(onto(add(p, scale(a, small))), p), 1 / small)).sort((a, b) => length(b) - length(a));
  const u = normalize(along[0]);
  const v = along
    .slice(1)
    .map((a) => sub(a, scale(u, dot(a, u))))
    .reduce((a, b) => (length(b) > length(a) ? b : a));
  return [u, normalize(v)];
}

const AXES: readonly Vec3[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const DIRECTIONS = 24;

import type { Mesh } from '../core/mesh.ts';
import { random } from '../core/random.ts';
import { add, type Box3, cross, distance, dot, length, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import { type Cylinder, fitCylinder, guessCylinder } from './cylinder.ts';
import { type Points, pointsNear, pointsOf } from './points.ts';
import { commonSizes, type SizeHint } from './sizes.ts';
import { gateOf, halfWindow, type Station, stationAt, trackTube, windowOf } from './track.ts';

/**
 * Round tubes in a scan. Seeds: at points picked at random and not yet part of a tube, the spread of the normals near by gives a
 * first cylinder. It is fitted to the geometric distance and followed both ways, round bends, station by station. Straight pieces
 * are then fitted as a whole; the diameter comes from them.
 *
 * Faces must point outwards: hollow surfaces (bores) are no tubes.
 */
export interface TubesOptions {
  /** Scatter of the scan, mm. Default 0.15. */
  readonly noise?: number;
  /** Only what lies in this box, mm. */
  readonly box?: Box3;
  /** Least and greatest diameter, mm. Default 8 and 80. */
  readonly diameters?: readonly [number, number];
  /** Least circumference seen, degrees. Default 110: rounded edges have 90. */
  readonly leastArc?: number;
  /** Least length, in diameters. Default 1.5. */
  readonly leastLength?: number;
  /** Places at which a tube is looked for. Default 6000. */
  readonly seeds?: number;
}

export const TUBES_DEFAULTS = { noise: 0.15, diameters: [8, 80], leastArc: 110, leastLength: 1.5, seeds: 6000 } as const;

export interface Straight {
  readonly from: Vec3;
  readonly to: Vec3;
  readonly length: number;
}

export interface Bend {
  /** Of the centre line, mm. */
  readonly radius: number;
  /** Degrees between the straights before and after, or along the bend itself at a tube's end. */
  readonly angle: number;
  readonly at: Vec3;
}

export interface Tube {
  /** mm, and its standard error from the scatter of the points (a scan's scale error comes on top). */
  readonly diameter: number;
  readonly diameterError: number;
  /** Degrees of the circumference seen, median along the tube. */
  readonly arcSeen: number;
  /** Centre line, mm. */
  readonly axis: readonly Vec3[];
  readonly length: number;
  readonly straights: readonly Straight[];
  readonly bends: readonly Bend[];
  /** Hints only. */
  readonly sizes: readonly [SizeHint, SizeHint];
  /** Scatter of the points about the tube, mm. */
  readonly scatter: number;
}

/** Radius of the patch from which a first cylinder is guessed, mm. */
const PATCH = 9;

/** Finds the tubes in a scan, longest first. The same mesh and options give the same tubes. */
export function findTubes(mesh: Mesh, options: TubesOptions = {}): Tube[] {
  const o = { ...TUBES_DEFAULTS, ...options };
  const points = pointsOf(mesh, o.box);
  const used = new Uint8Array(points.count);
  const tubes: Tube[] = [];
  if (points.count === 0) return tubes;
  const r = random(7);
  const track = { noise: o.noise, leastArc: o.leastArc };
  for (let n = 0; n < o.seeds; n++) {
    const i = r.below(points.count);
    if (used[i]) continue;
    const seed = seedAt(points, i, used, o);
    if (!seed || tubes.some((t) => isPartOf(seed, t))) continue;
    const stations = trackTube(points, seed, track);
    const tube = tubeOf(points, stations, o.noise);
    markUsed(points, stations, used, o.noise);
    if (tube && tube.length >= o.leastLength * tube.diameter) tubes.push(tube);
  }
  return tubes.sort((a, b) => b.length - a.length);
}

/** Left-over points of a tube that is known already. */
const isPartOf = (seed: Station, { diameter, axis }: Tube): boolean =>
  Math.abs(2 * seed.radius - diameter) < 0.1 * diameter && axis.some((p) => distance(p, seed.centre) < diameter / 2);

type Settings = Required<Omit<TubesOptions, 'box'>>;

/** A tube through point i, or undefined. */
function seedAt(points: Points, i: number, used: Uint8Array, o: Settings): Station | undefined {
  const at = points.position.subarray(3 * i, 3 * i + 3);
  const near = pointsNear(points, Array.from(at), PATCH).filter((p) => !used[p]);
  const guess = guessCylinder(points, thinned(near, 160));
  if (!guess || !isWithin(guess.radius, o.diameters, 1.5)) return undefined;
  // First with a wide gate and a free radius: the guess from a small patch may be off by a fifth.
  const [half, gate] = [halfWindow(guess.radius), 0.2 * guess.radius + 2 * o.noise];
  const rough = fitCylinder(points, thinned(windowOf(points, guess, half, gate), 400), guess, { noise: o.noise });
  if (!rough || !isWithin(rough.radius, o.diameters, 1) || rough.scatter > gateOf(rough.radius, o.noise)) return undefined;
  const first = stationAt(points, rough, o);
  if (!first || !isWithin(first.radius, o.diameters, 1)) return undefined;
  return stationAt(points, first, o);
}

const isWithin = (radius: number, [least, most]: readonly [number, number], slack: number): boolean =>
  2 * radius * slack >= least && 2 * radius <= most * slack;

function thinned(list: readonly number[], most: number): readonly number[] {
  if (list.length <= most) return list;
  return Array.from({ length: most }, (_, i) => list[Math.floor((i * list.length) / most)]);
}

/** Points on the tube are not looked at again. */
function markUsed(points: Points, stations: readonly Station[], used: Uint8Array, noise: number): void {
  for (const s of stations) {
    const gate = 2 * gateOf(s.radius, noise);
    for (const i of windowOf(points, s, halfWindow(s.radius), gate)) used[i] = 1;
  }
}

/** A turn of the centre line sharper than this, 1/mm (a bend of 600 mm), is a bend. */
const BENT = 1 / 600;

function tubeOf(points: Points, stations: readonly Station[], noise: number): Tube | undefined {
  if (stations.length < 3) return undefined;
  const runs = runsOf(stations);
  const straights = runs.filter((r) => !r.bent).map((r) => ({ run: r, fit: fitRun(points, stations, r, noise) }));
  const fitted = straights.flatMap(({ fit }) => (fit ? [fit] : []));
  const radius = meanRadius(fitted.length > 0 ? fitted : stations);
  const axis = stations.map((s) => s.centre);
  const total = lengthOf(axis);
  const arcs = stations.map((s) => s.arc).sort((a, b) => a - b);
  return {
    diameter: 2 * radius.value,
    diameterError: 2 * radius.error,
    arcSeen: arcs[Math.floor(arcs.length / 2)],
    axis,
    length: total,
    straights: straights.map(({ run, fit }) => straightOf(stations, run, fit)),
    bends: runs.flatMap((r, i) => (r.bent ? [bendOf(stations, r, [runs[i - 1], runs[i + 1]])] : [])),
    sizes: commonSizes(2 * radius.value),
    scatter: Math.sqrt(stations.reduce((s, q) => s + q.scatter ** 2, 0) / stations.length),
  };
}

const lengthOf = (line: readonly Vec3[]): number => line.reduce((s, p, i) => (i ? s + distance(p, line[i - 1]) : 0), 0);

/** Mean of the radii by their standard errors; the error is not taken smaller than their disagreement allows. */
function meanRadius(fits: readonly { readonly radius: number; readonly radiusError: number }[]): { value: number; error: number } {
  let weights = 0;
  let sum = 0;
  for (const f of fits) {
    const w = 1 / Math.max(f.radiusError, 1e-4) ** 2;
    weights += w;
    sum += w * f.radius;
  }
  const value = sum / weights;
  let chi = 0;
  for (const f of fits) chi += (f.radius - value) ** 2 / Math.max(f.radiusError, 1e-4) ** 2;
  const spread = fits.length > 1 ? Math.max(1, chi / (fits.length - 1)) : 1;
  return { value, error: Math.sqrt(spread / weights) };
}

/** Stations from..to (inclusive) that are straight or bent together. */
interface Run {
  readonly from: number;
  readonly to: number;
  readonly bent: boolean;
}

function runsOf(stations: readonly Station[]): Run[] {
  const n = stations.length;
  const bent = stations.map((_, i) => {
    // Over two stations to either side: noise of a single axis would look like a bend.
    const a = stations[Math.max(0, i - 2)];
    const b = stations[Math.min(n - 1, i + 2)];
    const turn = Math.atan2(length(cross(a.axis, b.axis)), dot(a.axis, b.axis));
    return turn / distance(a.centre, b.centre) > BENT && turn > 0.02;
  });
  const runs: { from: number; to: number; bent: boolean }[] = [];
  for (let i = 0; i < n; i++) {
    const last = runs[runs.length - 1];
    if (last && last.bent === bent[i]) last.to = i;
    else runs.push({ from: i, to: i, bent: bent[i] });
  }
  // Runs of one or two stations between others of the other kind are noise.
  const kept: { from: number; to: number; bent: boolean }[] = [];
  for (const r of runs) {
    const last = kept[kept.length - 1];
    if (last && (last.bent === r.bent || r.to - r.from < 2)) last.to = r.to;
    else kept.push({ ...r });
  }
  return kept;
}

/** One cylinder for a whole straight run, away from the bends beside it. */
function fitRun(points: Points, stations: readonly Station[], { from, to }: Run, noise: number) {
  const inset = to - from > 6 ? 1 : 0;
  const [a, b] = [stations[from + (from > 0 ? inset : 0)], stations[to - (to < stations.length - 1 ? inset : 0)]];
  if (a === b || distance(a.centre, b.centre) < a.radius) return undefined;
  const guess: Cylinder = { centre: scale(add(a.centre, b.centre), 0.5), axis: normalize(sub(b.centre, a.centre)), radius: a.radius };
  const near = new Set<number>();
  for (let s = stations.indexOf(a); s <= stations.indexOf(b); s++)
    for (const i of windowOf(points, stations[s], halfWindow(a.radius), gateOf(a.radius, noise))) near.add(i);
  const all = Array.from(near);
  // Points inside large faces lie too deep: with enough true corners they are left out.
  const corners = all.filter((i) => points.corner[i] === 1);
  return fitCylinder(points, corners.length >= 24 ? corners : all, guess, { noise });
}

function straightOf(stations: readonly Station[], { from, to }: Run, fit: Cylinder | undefined): Straight {
  const onto = (p: Vec3): Vec3 => (fit ? add(fit.centre, scale(fit.axis, dot(sub(p, fit.centre), fit.axis))) : p);
  const [a, b] = [onto(stations[from].centre), onto(stations[to].centre)];
  return { from: a, to: b, length: distance(a, b) };
}

/** Radius of the circle through a bend's stations (least squares in their plane), its angle from the straights beside it. */
function bendOf(stations: readonly Station[], { from, to }: Run, [before, after]: readonly (Run | undefined)[]): Bend {
  const middle = stations[Math.floor((from + to) / 2)];
  const [a, b] = [before ? stations[before.to] : stations[from], after ? stations[after.from] : stations[to]];
  const normal = cross(a.axis, b.axis);
  const angle = Math.atan2(length(normal), dot(a.axis, b.axis));
  // The stations next to the straights have windows that reach into them.
  const inner = stations.slice(Math.min(from + 1, to), Math.max(to, from + 1));
  const radius = inner.length >= 3 ? circleRadius(inner, normalize(normal)) : Number.NaN;
  const byLength = lengthOf(stations.slice(from, to + 1).map((s) => s.centre)) / Math.max(angle, 1e-6);
  return { radius: radius > 0 && radius < 4 * byLength ? radius : byLength, angle: (angle * 180) / Math.PI, at: middle.centre };
}

/** Algebraic circle through the centres, seen along `normal`. */
function circleRadius(stations: readonly Station[], normal: Vec3): number {
  const origin = stations[0].centre;
  const u = normalize(stations[0].axis);
  const v = normalize(cross(normal, u));
  const flat = stations.map((s) => [dot(sub(s.centre, origin), u), dot(sub(s.centre, origin), v)]);
  const mean = [0, 1].map((a) => flat.reduce((s, p) => s + p[a], 0) / flat.length);
  let [xx, xy, yy, xr, yr] = [0, 0, 0, 0, 0];
  for (const p of flat) {
    const [x, y] = [p[0] - mean[0], p[1] - mean[1]];
    const r = x * x + y * y;
    xx += x * x;
    xy += x * y;
    yy += y * y;
    xr += x * r;
    yr += y * r;
  }
  const det = 2 * (xx * yy - xy * xy);
  const [cx, cy] = [(xr * yy - yr * xy) / det, (yr * xx - xr * xy) / det];
  return Math.sqrt(cx * cx + cy * cy + (xx + yy) / flat.length);
}

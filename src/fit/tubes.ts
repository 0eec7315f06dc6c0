import type { Task } from '../core/context.ts';
import type { Mesh } from '../core/mesh.ts';
import { random } from '../core/random.ts';
import { add, type Box3, distance, dot, scale, sub, type Vec3 } from '../core/vec.ts';
import { type Bend, centreLine, type Straight } from './centre-line.ts';
import { fitCylinder, guessCylinder } from './cylinder.ts';
import { type Points, pointsNear, pointsOf } from './points.ts';
import { commonSizes, type SizeHint } from './sizes.ts';
import { gateOf, halfWindow, type Station, stationAt, thinned, trackTube, windowOf } from './track.ts';

/**
 * Round tubes in a scan. Seeds: at points picked at random and not yet part of a tube, the spread of the normals near by gives a
 * first cylinder. It is fitted to the geometric distance and followed both ways, round bends, station by station. Straight pieces
 * are then fitted as a whole; the diameter comes from them.
 *
 * On a scanned frame of 332k triangles with 0.1 mm noise (known tubes of 18 to 64 mm): every diameter within 0.07 mm, 7 s on one
 * thread. Fitting stations with a straight axis instead of a parabola put bend radii out by up to 4 % and doubled the scatter.
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
    if (!seed || tubes.some((t) => liesOn(seed.centre, 2 * seed.radius, t))) continue;
    const stations = trackTube(points, seed, track);
    const tube = tubeOf(points, stations, o.noise);
    markUsed(points, stations, used, o.noise);
    if (tube && tube.length >= lengthNeeded(tube, o.leastLength) && isRound(tube, o.noise)) tubes.push(tube);
  }
  return withoutRepeats(tubes.sort((a, b) => b.length - a.length));
}

/** A search as one task. */
export const findTubesTask: Task<{ readonly mesh: Mesh; readonly options: TubesOptions }, Tube[]> = {
  name: 'tubes.find',
  run: ({ mesh, options }) => findTubes(mesh, options),
};

/** A track may have stopped short and been found again from its other end: the longer one stays. */
function withoutRepeats(tubes: readonly Tube[]): Tube[] {
  const kept: Tube[] = [];
  for (const t of tubes) {
    const along = placesAlong(t.axis, t.diameter / 2);
    const isRepeat = kept.some((k) => 2 * along.filter((p) => liesOn(p, t.diameter, k)).length > along.length);
    if (!isRepeat) kept.push(t);
  }
  return kept;
}

/** Middles of pieces of about `step` mm along a line of points. */
export function placesAlong(line: readonly Vec3[], step: number): Vec3[] {
  const out: Vec3[] = [];
  for (let i = 1; i < line.length; i++) {
    const [a, b] = [line[i - 1], line[i]];
    const n = Math.max(1, Math.round(distance(a, b) / step));
    for (let k = 0; k < n; k++) out.push(add(a, scale(sub(b, a), (k + 0.5) / n)));
  }
  return out;
}

/**
 * Rounded edges fit a cylinder badly, because the flats beside them are taken for more of it, and are seen from one side only; the rounded rim
 * of a round part is a ring tighter than tube can be bent. Edges of 8 mm with 0.1 mm of noise scatter by 0.22 mm over 114 to 126 degrees.
 */
const isRound = (t: Tube, noise: number): boolean =>
  (t.scatter < mostScatter(t, noise) || t.arcSeen > 300) && !t.bends.some((b) => b.radius < t.diameter && b.angle > 150);

/** Of what is seen over little more than an edge's quarter, hardly more than the scan's own scatter is believed, mm. */
const mostScatter = ({ arcSeen, diameter }: Tube, noise: number): number =>
  arcSeen < EDGE_ARC ? 1.25 * noise + 0.0005 * diameter : 1.6 * noise + 0.002 * diameter;

/** A quarter, and what the flats on both sides add to it, degrees. */
const EDGE_ARC = 150;

/** Seen from little more than the quarter that a block's rounded edge has, it must be long to be believed. */
const lengthNeeded = (t: Tube, least: number): number => (t.arcSeen < EDGE_ARC ? Math.max(3, least) : least) * t.diameter;

/** Turns nearly once round and ends near its own beginning: a closed hoop, or the rounded rim of a round part. */
export const isRing = (t: Tube): boolean =>
  t.bends.reduce((sum, b) => sum + b.angle, 0) > 270 && distance(t.axis[0], t.axis[t.axis.length - 1]) < 2 * t.diameter;

/** Whether a place on the centre line of a tube of this diameter lies on that of another of about the same diameter. */
const liesOn = (p: Vec3, diameter: number, tube: Tube): boolean =>
  Math.abs(diameter - tube.diameter) < 0.1 * tube.diameter &&
  tube.axis.some((q, i) => i > 0 && distanceToSegment(p, tube.axis[i - 1], q) < tube.diameter / 2);

function distanceToSegment(p: Vec3, a: Vec3, b: Vec3): number {
  const d = sub(b, a);
  const t = Math.max(0, Math.min(1, dot(sub(p, a), d) / Math.max(dot(d, d), 1e-12)));
  return distance(p, add(a, scale(d, t)));
}

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

/** Points on the tube are not looked at again. */
function markUsed(points: Points, stations: readonly Station[], used: Uint8Array, noise: number): void {
  for (const s of stations) {
    const gate = 2 * gateOf(s.radius, noise);
    for (const i of windowOf(points, s, halfWindow(s.radius), gate)) used[i] = 1;
  }
}

function tubeOf(points: Points, stations: readonly Station[], noise: number): Tube | undefined {
  if (stations.length < 3) return undefined;
  const { line, length, straights, bends, fits } = centreLine(points, stations, noise);
  const radius = meanRadius(fits.length > 0 ? fits : stations);
  const arcs = stations.map((s) => s.arc).sort((a, b) => a - b);
  return {
    diameter: 2 * radius.value,
    diameterError: 2 * radius.error,
    arcSeen: arcs[Math.floor(arcs.length / 2)],
    axis: line,
    length,
    straights,
    bends,
    sizes: commonSizes(2 * radius.value),
    scatter: Math.sqrt(stations.reduce((s, q) => s + q.scatter ** 2, 0) / stations.length),
  };
}

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

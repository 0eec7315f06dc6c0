import { add, cross, distance, dot, length, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import { type CylinderFit, fitCylinder } from './cylinder.ts';
import type { Points } from './points.ts';
import { gateOf, halfWindow, type Station, windowOf } from './track.ts';

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
  /** Middle of the bend, mm. */
  readonly at: Vec3;
}

/** A tube's centre line: straights, each one cylinder fitted to all its points, joined by arcs. */
export interface CentreLine {
  readonly straights: readonly Straight[];
  readonly bends: readonly Bend[];
  /** Points along it, mm: ends of the straights, bends every few degrees. */
  readonly line: readonly Vec3[];
  readonly length: number;
  /** The fits of the straights, from which the diameter comes. */
  readonly fits: readonly CylinderFit[];
}

/** A turn of the centre line sharper than this, 1/mm (a bend of 600 mm), is a bend. */
const BENT = 1 / 600;
/** Least turn over four stations, radians, that is no noise. */
const LEAST_TURN = 0.02;

/** Planes farther from each other than this (cosine) are different. */
const OTHER_PLANE = Math.cos((50 * Math.PI) / 180);
/** Bends of fewer degrees are not worth a line in a table; the centre line still follows them. */
const LEAST_ANGLE = 3;
const LEAST_END_ANGLE = 25;

/** Stations from..to (inclusive) that are straight or bent together. */
interface Run {
  from: number;
  to: number;
  bent: boolean;
  /** Normal of the plane of a bend, where it begins. */
  plane: Vec3;
  /** Of a straight: its fit, and where it begins and ends along the fit's axis, mm from its centre. */
  fit?: CylinderFit;
  low: number;
  high: number;
}

/** Puts a centre line through the stations of a tube. */
export function centreLine(points: Points, stations: readonly Station[], noise: number): CentreLine {
  const runs = runsOf(stations);
  for (const run of runs) if (!run.bent) fitRun(points, stations, run, noise);
  const straights: Straight[] = [];
  const bends: Bend[] = [];
  const line: Vec3[] = [];
  const arcs = runs.map((run, i) => (run.bent ? fillet(stations, run, [runs[i - 1], runs[i + 1]]) : undefined));
  runs.forEach((run, i) => {
    const arc = arcs[i];
    if (arc) {
      // At a tube's end the weld to the next part looks like the beginning of a bend.
      const least = i > 0 && i < runs.length - 1 ? LEAST_ANGLE : LEAST_END_ANGLE;
      if (arc.bend.angle > least) bends.push(arc.bend);
      line.push(...arc.line);
    } else if (run.fit) {
      const { centre, axis } = run.fit;
      const [from, to] = [add(centre, scale(axis, run.low)), add(centre, scale(axis, run.high))];
      straights.push({ from, to, length: distance(from, to) });
      line.push(from, to);
    } else line.push(...stations.slice(run.from, run.to + 1).map((s) => s.centre));
  });
  return { straights, bends, line, length: lengthOf(line), fits: runs.flatMap((r) => (r.fit ? [r.fit] : [])) };
}

const lengthOf = (line: readonly Vec3[]): number => line.reduce((s, p, i) => (i ? s + distance(p, line[i - 1]) : 0), 0);

function runsOf(stations: readonly Station[]): Run[] {
  const n = stations.length;
  const runs: Run[] = [];
  for (let i = 0; i < n; i++) {
    // Over two stations to either side: noise of a single axis would look like a bend.
    const a = stations[Math.max(0, i - 2)];
    const b = stations[Math.min(n - 1, i + 2)];
    const turn = angleOf(a.axis, b.axis);
    const bent = turn / distance(a.centre, b.centre) > BENT && turn > LEAST_TURN;
    const last = runs[runs.length - 1];
    const plane = normalize(cross(a.axis, b.axis));
    // A bend that goes over into one in another plane is two.
    if (last && last.bent === bent && !(bent && dot(plane, last.plane) < OTHER_PLANE)) last.to = i;
    else runs.push({ from: i, to: i, bent, plane, low: 0, high: 0 });
  }
  // Runs of one or two stations between others of the other kind are noise.
  const kept: Run[] = [];
  for (const r of runs) {
    const last = kept[kept.length - 1];
    const isNoise = r.to - r.from < 2;
    if (last && (isNoise || (last.bent === r.bent && !r.bent))) last.to = r.to;
    else kept.push(r);
  }
  return kept;
}

const angleOf = (a: Vec3, b: Vec3): number => Math.atan2(length(cross(a, b)), dot(a, b));

/** One cylinder for a whole straight run; where the tube ends there, out to its last points. */
function fitRun(points: Points, stations: readonly Station[], run: Run, noise: number): void {
  const [a, b] = [stations[run.from], stations[run.to]];
  if (distance(a.centre, b.centre) < a.radius) return;
  const near = new Set<number>();
  for (let s = run.from; s <= run.to; s++)
    for (const i of windowOf(points, stations[s], halfWindow(a.radius), gateOf(a.radius, noise))) near.add(i);
  const all = Array.from(near);
  // Points inside large faces lie too deep: with enough true corners they are left out.
  const corners = all.filter((i) => points.corner[i] === 1);
  const guess = { centre: scale(add(a.centre, b.centre), 0.5), axis: normalize(sub(b.centre, a.centre)), radius: a.radius };
  const fit = fitCylinder(points, corners.length >= 24 ? corners : all, guess, { noise });
  if (!fit) return;
  run.fit = fit;
  run.low = dot(sub(a.centre, fit.centre), fit.axis);
  run.high = dot(sub(b.centre, fit.centre), fit.axis);
  const p = points.position;
  const at = all.map(
    (i) =>
      (p[3 * i] - fit.centre[0]) * fit.axis[0] +
      (p[3 * i + 1] - fit.centre[1]) * fit.axis[1] +
      (p[3 * i + 2] - fit.centre[2]) * fit.axis[2],
  );
  if (run.from === 0) for (const t of at) run.low = Math.min(run.low, t);
  if (run.to === stations.length - 1) for (const t of at) run.high = Math.max(run.high, t);
}

/**
 * The arc that joins two straights: the one radius that brings line, arc and line nearest to the stations. Cuts the straights
 * off where it touches them. Without a straight on both sides the stations themselves are the bend, with a circle through them.
 */
function fillet(stations: readonly Station[], run: Run, [before, after]: readonly (Run | undefined)[]): { bend: Bend; line: Vec3[] } {
  const own = stations.slice(run.from, run.to + 1);
  const at = own[Math.floor(own.length / 2)].centre;
  if (!before?.fit || !after?.fit) return loose(own, at);
  const [a, b] = [before.fit, after.fit];
  const angle = angleOf(a.axis, b.axis);
  const corner = nearestOf(a, b);
  // A bend there and back, or lines that do not meet, is no single arc.
  if (angle < LEAST_TURN || angle > 3 || corner.gap > a.radius) return loose(own, at);
  const inwards = normalize(sub(b.axis, a.axis));
  const tangent = Math.tan(angle / 2);
  const beside = stations.slice(Math.max(before.from, run.from - 4), Math.min(after.to, run.to + 4) + 1);
  const most = Math.min(dot(sub(corner.at, a.centre), a.axis) - before.low, after.high - dot(sub(corner.at, b.centre), b.axis)) / tangent;
  const shape = { corner: corner.at, a: a.axis, b: b.axis, inwards, angle };
  const radius = leastBy((r) => misfit(beside, shape, r), [a.radius / 2, Math.max(a.radius, most)]);
  before.high = dot(sub(corner.at, a.centre), a.axis) - radius * tangent;
  after.low = dot(sub(corner.at, b.centre), b.axis) + radius * tangent;
  const centre = add(corner.at, scale(inwards, radius / Math.cos(angle / 2)));
  const steps = Math.max(2, Math.ceil(angle / 0.09));
  const start = sub(corner.at, scale(a.axis, radius * tangent));
  const line = Array.from({ length: steps - 1 }, (_, i) => {
    const t = ((i + 1) * angle) / steps;
    const out = normalize(sub(start, centre));
    return add(centre, scale(add(scale(out, Math.cos(t)), scale(a.axis, Math.sin(t))), radius));
  });
  return { bend: { radius, angle: (angle * 180) / Math.PI, at: sub(centre, scale(inwards, radius)) }, line };
}

interface Corner {
  readonly corner: Vec3;
  readonly a: Vec3;
  readonly b: Vec3;
  readonly inwards: Vec3;
  readonly angle: number;
}

/** Sum of the squared distances of the stations from line, arc and line. */
function misfit(stations: readonly Station[], { corner, a, b, inwards, angle }: Corner, radius: number): number {
  const cut = radius * Math.tan(angle / 2);
  const centre = add(corner, scale(inwards, radius / Math.cos(angle / 2)));
  let sum = 0;
  for (const s of stations) {
    const q = sub(s.centre, corner);
    const [ta, tb] = [dot(q, a), dot(q, b)];
    if (ta < -cut) sum += dot(q, q) - ta * ta;
    else if (tb > cut) sum += dot(q, q) - tb * tb;
    else sum += (distance(s.centre, centre) - radius) ** 2;
  }
  return sum;
}

/** The place of the least value in [low, high] by golden section, after a coarse look. */
function leastBy(value: (x: number) => number, [low, high]: readonly [number, number]): number {
  const n = 24;
  let best = 0;
  for (let i = 1; i <= n; i++) if (value(low + ((high - low) * i) / n) < value(low + ((high - low) * best) / n)) best = i;
  let lo = low + ((high - low) * Math.max(0, best - 1)) / n;
  let hi = low + ((high - low) * Math.min(n, best + 1)) / n;
  const golden = (Math.sqrt(5) - 1) / 2;
  for (let i = 0; i < 40; i++) {
    const x = hi - golden * (hi - lo);
    const y = lo + golden * (hi - lo);
    if (value(x) < value(y)) hi = y;
    else lo = x;
  }
  return (lo + hi) / 2;
}

/** Where two lines come nearest to each other: the middle, and the gap between them. */
function nearestOf(a: CylinderFit, b: CylinderFit): { at: Vec3; gap: number } {
  const q = sub(b.centre, a.centre);
  const c = dot(a.axis, b.axis);
  const d = Math.max(1 - c * c, 1e-12);
  const s = (dot(q, a.axis) - c * dot(q, b.axis)) / d;
  const t = (c * dot(q, a.axis) - dot(q, b.axis)) / d;
  const [p, r] = [add(a.centre, scale(a.axis, s)), add(b.centre, scale(b.axis, t))];
  return { at: scale(add(p, r), 0.5), gap: distance(p, r) };
}

/** A bend without straights on both sides: a circle through its stations, in the plane that their axes turn in. */
function loose(own: readonly Station[], at: Vec3): { bend: Bend; line: Vec3[] } {
  const line = own.map((s) => s.centre);
  let normal: Vec3 = [0, 0, 0];
  let angle = 0;
  for (let i = 1; i < own.length; i++) {
    const turn = cross(own[i - 1].axis, own[i].axis);
    normal = add(normal, turn);
    angle += Math.asin(Math.min(1, length(turn)));
  }
  const byLength = lengthOf(line) / Math.max(angle, 1e-6);
  const radius = own.length >= 4 ? circleRadius(own, normalize(normal)) : byLength;
  return { bend: { radius: radius > 0 && radius < 3 * byLength ? radius : byLength, angle: (angle * 180) / Math.PI, at }, line };
}

/** Algebraic circle (least squares) through the stations, seen along `normal`. */
function circleRadius(stations: readonly Station[], normal: Vec3): number {
  const origin = stations[0].centre;
  const u = normalize(sub(stations[0].axis, scale(normal, dot(stations[0].axis, normal))));
  const v = cross(normal, u);
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

import { add, distance, dot, scale, type Vec3 } from '../core/vec.ts';
import { arcSeen, type Cylinder, type CylinderFit, fitCylinder } from './cylinder.ts';
import { type Points, pointsNear } from './points.ts';

/** One place on a tube's centre line, with the cylinder that fits round it. */
export interface Station extends CylinderFit {
  /** Degrees of the circumference seen here. */
  readonly arc: number;
}

export interface TrackOptions {
  /** Scatter of the scan, mm. */
  readonly noise: number;
  /** Least circumference seen, degrees. */
  readonly leastArc: number;
}

/** Fraction of the radius by which the window is long to either side, and by which stations follow each other. */
const HALF_WINDOW = 0.8;
const STRIDE = 0.6;
const LEAST_POINTS = 24;
/** Enough for a station; more only take time (the straights are fitted to all their points in the end). */
const MOST_POINTS = 260;
/** Stretches without points, in radii, that are bridged. */
const BRIDGE = 3;
/** Most turn of the axis from one station to the next, cosine. */
const MOST_TURN = Math.cos((35 * Math.PI) / 180);
const MOST_STATIONS = 4000;

/** Distance from the surface, mm, within which points belong to a tube. */
export const gateOf = (radius: number, noise: number): number => Math.max(4 * noise, 0.06 * radius);

type Bent = Cylinder & { readonly curvature?: Vec3 };

/** The points of the window of a cylinder: near its surface, facing outwards, within the window along the axis. */
export function windowOf(points: Points, { centre, axis, radius, curvature }: Bent, half: number, gate: number): number[] {
  const { position, normal } = points;
  const [k0, k1, k2] = curvature ?? [0, 0, 0];
  return pointsNear(points, centre, Math.hypot(half, radius + gate)).filter((i) => {
    const q0 = position[3 * i] - centre[0];
    const q1 = position[3 * i + 1] - centre[1];
    const q2 = position[3 * i + 2] - centre[2];
    const t = q0 * axis[0] + q1 * axis[1] + q2 * axis[2];
    if (Math.abs(t) > half) return false;
    const s = (t * t) / 2;
    const x = q0 - t * axis[0] - s * k0;
    const y = q1 - t * axis[1] - s * k1;
    const z = q2 - t * axis[2] - s * k2;
    const r = Math.hypot(x, y, z);
    if (Math.abs(r - radius) > gate) return false;
    return x * normal[3 * i] + y * normal[3 * i + 1] + z * normal[3 * i + 2] > 0.7 * r;
  });
}

/** At most `most` of a list, evenly. */
export function thinned(list: readonly number[], most: number): readonly number[] {
  if (list.length <= most) return list;
  return Array.from({ length: most }, (_, i) => list[Math.floor((i * list.length) / most)]);
}

/** Half the length of the window for tubes of this radius, mm. */
export const halfWindow = (radius: number): number => Math.max(5, HALF_WINDOW * radius);

/** Fits the tube round a predicted place; undefined when there is none of that radius. */
export function stationAt(points: Points, guess: Cylinder, { noise, leastArc }: TrackOptions): Station | undefined {
  const half = halfWindow(guess.radius);
  const wide = 2 * gateOf(guess.radius, noise);
  const rough = fitCylinder(points, thinned(windowOf(points, guess, half, wide), MOST_POINTS), guess, {
    noise,
    keepRadius: true,
    curved: true,
  });
  if (!rough) return undefined;
  const near = windowOf(points, rough, half, gateOf(guess.radius, noise));
  if (near.length < LEAST_POINTS) return undefined;
  const arc = arcSeen(points, near, rough, gateOf(guess.radius, noise));
  if (arc < leastArc) return undefined;
  const fit = fitCylinder(points, thinned(near, MOST_POINTS), rough, { noise, curved: true });
  if (!fit || Math.abs(fit.radius - guess.radius) > 0.06 * guess.radius + 2 * noise || distance(fit.centre, guess.centre) > guess.radius)
    return undefined;
  return { ...fit, arc };
}

/** Follows a tube from a station both ways, round its bends, until nothing of its radius is seen any more. */
export function trackTube(points: Points, seed: Station, options: TrackOptions): Station[] {
  const back = follow(points, seed, -1, options);
  const closed = back.length > 6 && distance(back[back.length - 1].centre, seed.centre) < seed.radius;
  const ahead = closed ? [] : follow(points, seed, 1, options);
  return [...back.reverse().map(turned), seed, ...ahead];
}

const turned = (s: Station): Station => ({ ...s, axis: scale(s.axis, -1) });

/** Stations from the seed on, the seed left out; each axis points onwards. */
function follow(points: Points, seed: Station, way: 1 | -1, options: TrackOptions): Station[] {
  const out: Station[] = [];
  const stride = Math.max(3, STRIDE * seed.radius);
  let last: Station = way === 1 ? seed : turned(seed);
  let before: Vec3 | undefined;
  while (out.length < MOST_STATIONS) {
    let next: Station | undefined;
    for (let jump = 1; jump === 1 || jump * stride <= BRIDGE * seed.radius; jump++) {
      next = step(points, last, { before, by: jump * stride, radius: seed.radius }, options);
      if (next) break;
    }
    if (!next) break;
    // Round a closed ring the seed comes again; a track that turns back on itself is none.
    if (out.length > 6 && distance(next.centre, seed.centre) < stride) {
      out.push(next);
      break;
    }
    if (dot(next.axis, last.axis) < MOST_TURN || dot(add(next.centre, scale(last.centre, -1)), last.axis) < stride / 3) break;
    before = last.axis;
    last = next;
    out.push(next);
  }
  return out;
}

interface Ahead {
  readonly before: Vec3 | undefined;
  readonly by: number;
  readonly radius: number;
}

/** The next station, looked for straight on and where the bend so far would lead. */
function step(points: Points, last: Station, { before, by, radius }: Ahead, options: TrackOptions): Station | undefined {
  const onwards = before ? add(last.axis, scale(add(last.axis, scale(before, -1)), 0.5)) : last.axis;
  const n = Math.hypot(onwards[0], onwards[1], onwards[2]);
  for (const axis of [scale(onwards, 1 / n), last.axis]) {
    const found = stationAt(points, { centre: add(last.centre, scale(axis, by)), axis, radius }, options);
    if (found) return dot(found.axis, axis) < 0 ? turned(found) : found;
    if (!before) break;
  }
  return undefined;
}

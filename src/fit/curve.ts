import { add, cross, distance, dot, normalize, scale, sub, type Vec3 } from '../core/vec.ts';

/** A bend of a route's centre line. */
export interface RouteBend {
  /** Middle of the arc, mm. */
  readonly at: Vec3;
  readonly radius: number;
  /** Degrees turned. */
  readonly angle: number;
}

/** A centre line of straights and arcs, also as points. */
export interface Curve {
  readonly length: number;
  readonly bends: readonly RouteBend[];
  /** Points along it, arcs broken up so that no chord is farther than CHORD off, mm. */
  readonly points: readonly Vec3[];
}

const CHORD = 0.02;
/** Turns below this, radians, are straight. */
const LEAST_TURN = 1e-4;

/** How far before and after a corner an arc of that radius begins and ends. */
const setBack = (radius: number, turn: number): number => radius * Math.tan(turn / 2);

function turnAt(a: Vec3, b: Vec3, c: Vec3): number {
  return Math.acos(Math.max(-1, Math.min(1, dot(normalize(sub(b, a)), normalize(sub(c, b))))));
}

/** The greatest radius with which every corner of the line can be rounded; Infinity for a straight. */
export function roundable(corners: readonly Vec3[]): number {
  const tan = corners.map((p, i) => (i === 0 || i === corners.length - 1 ? 0 : Math.tan(turnAt(corners[i - 1], p, corners[i + 1]) / 2)));
  let most = Infinity;
  for (let i = 1; i < corners.length; i++) {
    const sum = tan[i - 1] + tan[i];
    if (sum > 1e-9) most = Math.min(most, distance(corners[i - 1], corners[i]) / sum);
  }
  return most;
}

/** The line with every corner rounded; undefined where an arc of that radius does not fit between its neighbours. */
export function rounded(corners: readonly Vec3[], radius: number): Curve | undefined {
  if (roundable(corners) < radius * (1 - 1e-9)) return undefined;
  const points: Vec3[] = [corners[0]];
  const bends: RouteBend[] = [];
  let length = 0;
  let from = corners[0];
  for (let i = 1; i + 1 < corners.length; i++) {
    const corner = corners[i];
    const turn = turnAt(corners[i - 1], corner, corners[i + 1]);
    if (turn < LEAST_TURN || radius === 0) {
      length += distance(from, corner);
      points.push(corner);
      from = corner;
      continue;
    }
    const inward = normalize(sub(corners[i - 1], corner));
    const onward = normalize(sub(corners[i + 1], corner));
    const back = setBack(radius, turn);
    const begin = add(corner, scale(inward, back));
    const bisector = normalize(add(inward, onward));
    const centre = add(corner, scale(bisector, radius / Math.cos(turn / 2)));
    const out = normalize(sub(begin, centre));
    const axis = normalize(cross(inward, onward));
    const along = cross(axis, out);
    // A full step of the arc has a sagitta of r (1 - cos(step / 2)).
    const step = 2 * Math.acos(Math.max(0, 1 - CHORD / radius));
    const count = Math.max(1, Math.ceil(turn / step));
    // The arc runs from `begin` towards the onward side.
    const sign = dot(along, scale(inward, -1)) >= 0 ? 1 : -1;
    const at = (t: number): Vec3 => add(centre, add(scale(out, radius * Math.cos(t)), scale(along, sign * radius * Math.sin(t))));
    length += distance(from, begin) + radius * turn;
    for (let k = 0; k <= count; k++) points.push(at((turn * k) / count));
    bends.push({ at: at(turn / 2), radius, angle: (turn * 180) / Math.PI });
    from = at(turn);
  }
  const last = corners[corners.length - 1];
  points.push(last);
  return { length: length + distance(from, last), bends, points };
}

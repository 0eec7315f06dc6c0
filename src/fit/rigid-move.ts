import { add, length, scale, sub, type Vec3 } from '../core/vec.ts';
import type { Pose } from './pose.ts';

/** How near a body comes in a pose. */
export interface Gap {
  /** Least distance to anything less the clearance, mm; where it is large, a lower bound of that. */
  readonly slack: number;
  readonly obstacle?: string;
  readonly at?: Vec3;
}

/** The gap in a pose. Once it is known to be below `floor`, any figure below that will do. */
export type GapAt = (pose: Pose, floor?: number) => Promise<Gap>;

/** A shift and a turn about the body's middle, both at even speed. */
export interface Move {
  /** No point of the body travels farther, mm: the shift, and the angle times the radius. */
  readonly length: number;
  /** The pose after the share t of the move, 0 to 1. */
  readonly at: (t: number) => Pose;
}

/** Of unit length. */
export type Quaternion = readonly [w: number, x: number, y: number, z: number];

/** The quaternion of a rotation vector. */
export function quaternionOf(turn: Vec3): Quaternion {
  const angle = length(turn);
  const s = angle > 1e-12 ? Math.sin(angle / 2) / angle : 0.5;
  return [Math.cos(angle / 2), turn[0] * s, turn[1] * s, turn[2] * s];
}

/** Rotation vector of at most half a turn. */
function turnOf([w, x, y, z]: Quaternion): Vec3 {
  const sign = w < 0 ? -1 : 1;
  const s = Math.hypot(x, y, z);
  if (s < 1e-12) return [0, 0, 0];
  const k = (sign * 2 * Math.atan2(s, sign * w)) / s;
  return [x * k, y * k, z * k];
}

const times = ([a, b, c, d]: Quaternion, [e, f, g, h]: Quaternion): Quaternion => [
  a * e - b * f - c * g - d * h,
  a * f + b * e + c * h - d * g,
  a * g - b * h + c * e + d * f,
  a * h + b * g - c * f + d * e,
];

/** The turn `first` and then the turn `more`, both rotation vectors. */
export const turnedOn = (first: Vec3, more: Vec3): Vec3 => turnOf(times(quaternionOf(more), quaternionOf(first)));

/** The straight move from one pose to another: the shift in a line, the turn about one axis by at most half a turn. */
export function moveBetween(from: Pose, to: Pose, radius: number): Move {
  const shift = sub(to.shift, from.shift);
  const [w, x, y, z] = quaternionOf(from.turn);
  const turn = turnOf(times(quaternionOf(to.turn), [w, -x, -y, -z]));
  return {
    length: length(shift) + length(turn) * radius,
    at: (t) => (t >= 1 ? to : { shift: add(from.shift, scale(shift, t)), turn: turnedOn(from.turn, scale(turn, t)) }),
  };
}

export interface Gone {
  readonly pose: Pose;
  readonly gap: Gap;
  /** Bound of how far any point travelled, mm, and whether the goal was reached. */
  readonly travel: number;
  readonly whole: boolean;
  /** Least slack seen on the way, both ends included, mm. */
  readonly least: number;
}

/** Shortest step, mm, and looks at most in one move: a crawl along a wall is given up, what was proved of it is kept. */
const LEAST_STEP = 0.1;
const LOOKS = 80;

/**
 * Moves the body from a pose towards another for as long as it is proved clear. Between two poses that no point of the body travels more
 * than h between, with gaps a and b, the gap is nowhere under (a + b - h) / 2; so from a gap of a a step of a is safe whatever lies ahead
 * (conservative advancement; Mirtich, Impulse-based Dynamic Simulation, 1996: recalled).
 */
export async function alongMove(
  from: { readonly pose: Pose; readonly gap: Gap },
  to: Pose,
  { gapAt, radius }: { readonly gapAt: GapAt; readonly radius: number },
): Promise<Gone> {
  const move = moveBetween(from.pose, to, radius);
  let { pose, gap } = from;
  let travel = 0;
  let least = gap.slack;
  for (let look = 0; look < LOOKS && travel < move.length; look++) {
    // One and a half gaps: nearly always still proved, in fewer looks; else the gap itself.
    const wide = await step(1.5);
    if (wide) continue;
    if (!(await step(0.95))) break;
  }
  return { pose, gap, travel, whole: travel >= move.length, least };

  async function step(share: number): Promise<boolean> {
    const next = Math.min(move.length, travel + Math.max(share * gap.slack, LEAST_STEP));
    const there = move.at(next / move.length);
    // Below this the step is not proved, whatever the gap.
    const found = await gapAt(there, Math.max(0, next - travel - gap.slack));
    if (!(found.slack > 0) || (gap.slack + found.slack - (next - travel)) / 2 < 0) return false;
    pose = there;
    gap = found;
    travel = next;
    least = Math.min(least, found.slack);
    return true;
  }
}

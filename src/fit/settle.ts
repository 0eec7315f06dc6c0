import { type Context, checkCancelled } from '../core/context.ts';
import type { Vec3 } from '../core/vec.ts';
import { maxMin, UNKNOWNS } from './max-min.ts';
import { AT_REST, gradientOf, type Pose } from './pose.ts';

/**
 * The small shift and turn of a body for which its least slack is greatest. Each round measures the slacks exactly, solves the
 * linear program of their first order inside a trust region, and measures again at the place found; the region shrinks when
 * the true gain falls short of the promised one (sequential linear programming with a trust region; Fletcher, Practical Methods of Optimization,
 * 1987, chapter 14: recalled). What it ends at is a local best: no small move inside the limits gains more.
 */

/** A place where the body comes near an obstacle. */
export interface Contact {
  /** Index of the obstacle. */
  readonly obstacle: number;
  /** Distance less what is asked, mm; below it the obstacle is too near, or inside the body. */
  readonly slack: number;
  /** On the body, mm. */
  readonly at: Vec3;
  /** Unit vector along which the body gets clear. */
  readonly normal: Vec3;
}

/** Measures a pose: every contact with a slack below `below`, and the least one in any case. Exact. */
export type Judge = (pose: Pose, below: number) => Promise<readonly Contact[]>;

export interface SettleLimits {
  /** Greatest shift each way along x, y, z, mm. */
  readonly shift: Vec3;
  /** Greatest turn about x, y, z, radians. */
  readonly turn: Vec3;
}

export interface SettleInput {
  readonly judge: Judge;
  /** About which the body turns, mm. */
  readonly centre: Vec3;
  /** How far its corners are from the centre, mm: one radian moves them so far. */
  readonly radius: number;
  readonly limits: SettleLimits;
}

export interface Settled {
  readonly pose: Pose;
  readonly before: number;
  readonly after: number;
  /** What holds it at its place: the contacts of the last program, the weightiest first. */
  readonly held: readonly Contact[];
  /** Exact measurements made. */
  readonly rounds: number;
  /** Whether it ended because nothing more is to be gained, not because the rounds ran out. */
  readonly settled: boolean;
}

const FIRST_REGION = 2;
const LEAST_REGION = 0.01;
/** Slack that one mm of a move must bring: a body is not moved for nothing. */
const PRICE = 1e-3;
/** mm: gains below this are not worth a round. */
const LEAST_GAIN = 0.003;
const MOST_ROUNDS = 40;
/** Contacts this much above the least, in widths of the region, take part in the program. */
const BAND = 4;

export async function settle(input: SettleInput, context: Context): Promise<Settled> {
  const { judge, limits, radius, centre } = input;
  let region = Math.min(FIRST_REGION, Math.max(...limits.shift, ...limits.turn.map((t) => t * radius), LEAST_REGION));
  let pose = AT_REST;
  let contacts = await judge(pose, BAND * region);
  let least = leastOf(contacts);
  const before = least;
  const away = (q: Pose): number => [...q.shift, ...q.turn.map((t) => t * radius)].reduce((sum, v) => sum + Math.abs(v), 0);
  if (!Number.isFinite(least)) return { pose, before, after: least, held: [], rounds: 1, settled: true };
  if (least < 0) contacts = await judge(pose, least + BAND * region);
  let held: readonly Contact[] = [];
  let rounds = 1;
  let settled = false;
  while (rounds < MOST_ROUNDS) {
    checkCancelled(context);
    context.progress('settling', Math.min(0.95, rounds / MOST_ROUNDS));
    const step = program(contacts, pose, { centre, radius, region, limits });
    held = step.held;
    const promised = step.least - least - PRICE * (away(step.pose) - away(pose));
    if (promised < LEAST_GAIN || region < LEAST_REGION) {
      settled = true;
      break;
    }
    const next = await judge(step.pose, step.least + BAND * region);
    rounds++;
    const found = leastOf(next);
    const gain = found - least - PRICE * (away(step.pose) - away(pose));
    if (gain > 0.1 * promised) {
      [pose, contacts, least] = [step.pose, next, found];
      if (gain > 0.7 * promised) region *= 1.5;
    } else {
      // What came up there would have been seen with a wider band: the next program knows it only where it is near.
      region *= 0.4;
    }
  }
  return { pose, before, after: least, held, rounds, settled };
}

const leastOf = (contacts: readonly Contact[]): number => contacts.reduce((m, c) => Math.min(m, c.slack), Infinity);

interface Frame extends Omit<SettleInput, 'judge'> {
  readonly region: number;
}

function program(
  contacts: readonly Contact[],
  pose: Pose,
  { centre, radius, region, limits }: Frame,
): { pose: Pose; least: number; held: Contact[] } {
  const slack = Float64Array.from(contacts, (c) => c.slack);
  const gradient = new Float64Array(UNKNOWNS * contacts.length);
  // Turns are counted in mm at the radius, so that one region suits all six.
  contacts.forEach((c, i) => {
    gradientOf(c.at, c.normal, pose, centre).forEach((g, j) => {
      gradient[UNKNOWNS * i + j] = j < 3 ? g : g / radius;
    });
  });
  const now = [...pose.shift, ...pose.turn.map((t) => t * radius)];
  const limit = [...limits.shift, ...limits.turn.map((t) => t * radius)];
  const low = now.map((v, j) => Math.max(-region, -limit[j] - v));
  const high = now.map((v, j) => Math.min(region, limit[j] - v));
  const found = maxMin({ slack, gradient, low, high, rest: now.map((v) => -v), price: PRICE });
  const to = now.map((v, j) => Math.min(limit[j], Math.max(-limit[j], v + found.move[j])));
  return {
    pose: { shift: [to[0], to[1], to[2]], turn: [to[3] / radius, to[4] / radius, to[5] / radius] },
    least: found.least,
    held: found.held.map((h) => contacts[h.row]),
  };
}

import { type Context, checkCancelled, once, slabs, type Task } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { volume, volumeOfSlack } from '../field/integrate.ts';
import { sweepInto } from '../field/sweep.ts';
import { everySecond } from '../space/envelope.ts';
import { type Blocker, blockersAlong } from './blockers.ts';
import { angleBetween, halfSpacing, ringAround, sphereOfDirections } from './directions.ts';
import { cellsOfBody, lowerTo, type Obstacle, type Room, roomOf, slackWithout } from './room.ts';
import { type TwoStep, twoSteps } from './two-step.ts';
import { type SizedBody, type WayBody, wayBodyTask } from './way-body.ts';

/**
 * Ways in: how much of the envelope a body can fill that slides out in one straight line (and, backwards, in).
 *
 * For each of many directions the share kept is the volume of envelope AND { least slack on the way out >= 0 } over that of the
 * envelope, on the surroundings' grid: quick, and never too small but for the cells' size. For the best few directions that
 * differ the body is rolled again from the start point on the envelope's own grid, which drops what is cut off or too thin.
 */
export interface WaysOptions {
  /** Directions of the first round. Default 200. */
  readonly directions?: number;
  /** Ways for which the body itself is worked out. Default 3. */
  readonly bodies?: number;
  /** Ways nearer to each other than this, degrees, are one. Default 30. */
  readonly apart?: number;
  /** Two-step ways are looked for when no single one keeps this, percent. Default 90. */
  readonly enough?: number;
  /** One more way, along this unit vector, whatever it keeps. */
  readonly asked?: Vec3;
}

export const WAYS_DEFAULTS = { directions: 200, bodies: 3, apart: 30, enough: 90 } as const;

export interface WaysInput {
  readonly obstacles: readonly Obstacle[];
  /** Positive inside, mm, a distance near its border. */
  readonly envelope: Field;
  /** A point of the envelope from which its body hangs together, mm. */
  readonly start: Vec3;
  /** Radius of the ball that must roll into every corner of the body, mm. */
  readonly leastRadius: number;
}

/** One direction and the share kept by the quick estimate. */
export interface Share {
  /** Unit vector along which the body slides out. */
  readonly direction: Vec3;
  readonly keptPercent: number;
}

export interface Way extends SizedBody {
  readonly direction: Vec3;
  /** What the quick estimate keeps, percent of the envelope. */
  readonly estimatePercent: number;
  /** Least slack on the way out, parts put on afterwards included, mm, on the surroundings' cells that the envelope covers: what slides out lies where it is not negative. */
  readonly least: Field;
  /** What stands in the way, the one met first in front; empty when nothing does. */
  readonly blockers: readonly Blocker[];
  /** What the same direction would keep if one more part were off, percent, the most helpful first. */
  readonly without: readonly { readonly obstacle: string; readonly keptPercent: number }[];
}

export interface TwoStepWay extends TwoStep, SizedBody {}

export interface Ways {
  /** Volume of the envelope, mm3. */
  readonly envelope: number;
  /** The map over the sphere: first round and refinements. */
  readonly shares: readonly Share[];
  /** The best directions that differ, best first. */
  readonly best: readonly Way[];
  readonly asked: Way | undefined;
  /** Set when no single way keeps enough and two steps keep more. */
  readonly twoStep: TwoStepWay | undefined;
  /** Parts that are off, or put on afterwards. */
  readonly leftOut: readonly string[];
  readonly notes: readonly Note[];
}

/** Finds the ways in. The figures do not depend on the number of workers. */
export async function waysIn(input: WaysInput, context: Context, options: WaysOptions = {}): Promise<Ways> {
  const o = { ...WAYS_DEFAULTS, ...options };
  const room = roomOf(input.obstacles, input.envelope, context);
  const envelope = asFineAs(input.envelope, room.slack.grid.step / 2, context);
  const whole = volume(envelope);
  const shares = await refined(room, o.directions, context);
  const chosen = distinct(shares, o.bodies, (o.apart * Math.PI) / 180);
  const ask = { envelope, start: input.start, leastRadius: input.leastRadius, lower: room.late ? [room.late] : [] };
  const tried = o.asked ? [...chosen, ...(await sharesAlong(room, [o.asked], context))] : chosen;
  const straight = tried.map(({ direction }) => ({ ...ask, straight: { slack: room.slack, direction, over: cellsOfBody(room) } }));
  const bodies = await context.pool.map(wayBodyTask, straight);
  checkCancelled(context);
  const wayOf = async ({ direction, keptPercent }: Share, body: WayBody): Promise<Way> => {
    const blockers = keptPercent > 99.9 ? [] : blockersAlong(room, direction);
    const without = await freedBy(room, blockers, direction, context);
    const least = sweptOver(room, direction);
    const sway = swayOf(room, least);
    return { ...sized(body, sway, whole), direction, estimatePercent: keptPercent, least: withLate(room, least), blockers, without };
  };
  const found: Way[] = [];
  for (const [i, share] of tried.entries()) found.push(await wayOf(share, bodies[i]));
  const own = o.asked ? found.pop() : undefined;
  const best = found.sort((a, b) => b.volume - a.volume);
  const most = best[0]?.keptPercent ?? 0;
  const twoStep = most < o.enough ? await bestTwoStep({ ...input, envelope }, room, most, context) : undefined;
  const leftOut = input.obstacles.filter((b) => b.comesOff || b.putOnAlong).map((b) => b.name);
  const notes = notesOf(most, o.enough, twoStep);
  return { envelope: volume(input.envelope), shares, best, asked: own, twoStep, leftOut, notes };
}

/**
 * The field at twice the step, as often as that is at most `step` mm: what is read from a coarse grid gains nothing from cells an eighth as
 * large, and on the demo a body at 2 mm takes 2 s instead of 0.3 (its volume is the same to 0.1 %).
 */
function asFineAs(field: Field, step: number, { pool }: Context): Field {
  let out = field;
  while (2 * out.grid.step <= step) out = everySecond(out, pool);
  return out;
}

const sized = (found: WayBody, sway: number, whole: number): SizedBody => ({
  ...found,
  sway,
  keptPercent: whole > 0 ? (100 * found.volume) / whole : 0,
});

/** Least slack along `d`, on the cells of the surroundings that the body covers. */
function sweptOver(room: Room, d: Vec3): Field {
  const all: Field = { grid: room.slack.grid, data: new Float32Array(room.slack.data.length) };
  sweepInto(room.slack, d, all.data, { over: cellsOfBody(room) });
  const least: Field = { grid: room.body.grid, data: new Float32Array(room.body.data.length).fill(Infinity) };
  lowerTo(least, all, room.corner);
  return least;
}

/**
 * How much more or less of the body would be kept, mm3, were the least slack on its way half a cell of the surroundings greater or less wherever
 * it is what ends the body.
 */
function swayOf({ body }: Room, least: Field): number {
  const kept = (by: number): number =>
    volumeOfSlack({
      grid: body.grid,
      data: body.data.map((v, c) => (least.data[c] < v ? Math.min(v, least.data[c] + by * body.grid.step) : v)),
    });
  const middle = kept(0);
  return Math.max(kept(0.5) - middle, middle - kept(-0.5));
}

function notesOf(most: number, enough: number, twoStep: TwoStepWay | undefined): Note[] {
  const text =
    'Straight ways, in one step or two, are all that was tried: a body that turns on its way in may keep more. ' +
    'None found does not mean impossible.';
  return Math.max(most, twoStep?.keptPercent ?? 0) < enough ? [{ code: 'ways-straight-only', text }] : [];
}

/** First round over the sphere, then two rounds round the best few, each at half the angle of the one before. */
async function refined(room: Room, count: number, context: Context): Promise<Share[]> {
  const known = await sharesAlong(room, sphereOfDirections(count), context);
  let angle = halfSpacing(count);
  for (let round = 0; round < 2; round++) {
    const tops = distinct(known, 3, 3 * halfSpacing(count));
    // Nothing is gained round a direction that keeps all.
    const more = tops.filter((t) => t.keptPercent < 99.9).flatMap((t) => ringAround(t.direction, angle));
    known.push(...(await sharesAlong(room, more, context)));
    angle /= 2;
  }
  return known.sort((a, b) => b.keptPercent - a.keptPercent);
}

/** The best `count` of the shares, no two within `apart` radians; nothing that keeps less than a twentieth of the best. */
function distinct(shares: readonly Share[], count: number, apart: number): Share[] {
  const out: Share[] = [];
  for (const s of [...shares].sort((a, b) => b.keptPercent - a.keptPercent)) {
    if (out.length === count || s.keptPercent <= (out[0]?.keptPercent ?? 0) / 20) break;
    if (out.every((t) => angleBetween(t.direction, s.direction) >= apart)) out.push(s);
  }
  return out;
}

interface Batch {
  readonly slack: Field;
  readonly body: Field;
  readonly corner: Vec3;
  readonly directions: readonly Vec3[];
}

/** Volumes kept along a batch of directions, mm3. */
function keptVolumes({ slack, body, corner, directions }: Batch): number[] {
  const least: Field = { grid: slack.grid, data: new Float32Array(slack.data.length) };
  const kept: Field = { grid: body.grid, data: new Float32Array(body.data.length) };
  const over = cellsOfBody({ body, corner });
  return directions.map((d) => {
    sweepInto(slack, d, least.data, { over });
    kept.data.set(body.data);
    lowerTo(kept, least, corner);
    return volumeOfSlack(kept);
  });
}

const BATCHES_PER_WORKER = 8;

/** Shares kept along given directions, in their order. */
export async function sharesAlong(room: Room, directions: readonly Vec3[], context: Context): Promise<Share[]> {
  if (directions.length === 0) return [];
  const whole = volumeOfSlack(room.body);
  const { slack, body, corner } = room;
  const batches = slabs(directions.length, context.pool.size === 1 ? 1 : context.pool.size * BATCHES_PER_WORKER).map((s) => ({
    slack,
    body,
    corner,
    directions: directions.slice(s.from, s.to),
  }));
  const volumes = (await context.pool.map(keptTask, batches)).flat();
  checkCancelled(context);
  return directions.map((direction, i) => ({ direction, keptPercent: whole > 0 ? (100 * volumes[i]) / whole : 0 }));
}

/** Lowered, in place, to what the parts put on afterwards leave. */
function withLate(room: Room, least: Field): Field {
  if (room.late) lowerTo(least, room.late, room.corner);
  return least;
}

/** The greatest body, positive inside, mm, that goes a way: the envelope lowered to the least slack on it, rolled again from the start point. */
export async function greatestBody(
  { envelope, start, leastRadius }: Omit<WaysInput, 'obstacles'>,
  least: Field,
  { pool }: Context,
): Promise<Field> {
  return (await once(pool, wayBodyTask, { envelope, start, leastRadius, lower: [least] })).body;
}

/** What the direction would keep with each blocker off, one at a time. */
async function freedBy(room: Room, blockers: readonly Blocker[], d: Vec3, context: Context): Promise<Way['without']> {
  const out: { obstacle: string; keptPercent: number }[] = [];
  // The envelope itself stays as it is: only the way is freed.
  const most = [...blockers].sort((a, b) => b.stopsPercent - a.stopsPercent).slice(0, 3);
  for (const { obstacle } of most) {
    const [share] = await sharesAlong({ ...room, slack: slackWithout(room, obstacle, context) }, [d], context);
    out.push({ obstacle, keptPercent: share.keptPercent });
  }
  return out.sort((a, b) => b.keptPercent - a.keptPercent);
}

/** The best way in two steps, if it keeps more than the single ones do. */
async function bestTwoStep(input: WaysInput, room: Room, most: number, context: Context): Promise<TwoStepWay | undefined> {
  let best: TwoStepWay | undefined;
  const whole = volume(input.envelope);
  for (const found of twoSteps(room, most)) {
    checkCancelled(context);
    const { least, ...way } = found;
    const { envelope, start, leastRadius } = input;
    const lower = room.late ? [least, room.late] : [least];
    const body = await once(context.pool, wayBodyTask, { envelope, start, leastRadius, lower });
    const kept = { ...way, ...sized(body, swayOf(room, least), whole) };
    if (kept.keptPercent > Math.max(most, best?.keptPercent ?? 0)) best = kept;
  }
  return best;
}

export const keptTask: Task<Batch, number[]> = { name: 'ways.kept', run: keptVolumes };

import { allocateF32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellAt, cellCount } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { volume } from '../field/integrate.ts';
import { sweepInto } from '../field/sweep.ts';
import { rollBall } from '../space/roll.ts';
import { type Blocker, blockersAlong } from './blockers.ts';
import { angleBetween, halfSpacing, ringAround, sphereOfDirections } from './directions.ts';
import { lowerTo, type Obstacle, type Room, roomOf } from './room.ts';
import { type TwoStep, twoSteps } from './two-step.ts';

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

export interface Way {
  readonly direction: Vec3;
  /** What the quick estimate keeps, percent of the envelope. */
  readonly estimatePercent: number;
  /** Of the body itself, rolled again; mm3 and percent of the envelope. */
  readonly volume: number;
  readonly keptPercent: number;
  /** The body, on the envelope's grid: positive inside, mm. */
  readonly body: Field;
  /** Least slack on the way out, parts put on afterwards included, mm, on the surroundings' grid: what slides out lies where it is not negative. */
  readonly least: Field;
  /** What stands in the way, the one met first in front; empty when nothing does. */
  readonly blockers: readonly Blocker[];
  /** What the same direction would keep if one more part were off, percent, the most helpful first. */
  readonly without: readonly { readonly obstacle: string; readonly keptPercent: number }[];
}

export interface TwoStepWay extends TwoStep {
  readonly volume: number;
  readonly keptPercent: number;
  readonly body: Field;
}

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
  /** Least slack of what stays on while the body goes in, mm, on the surroundings' grid. */
  readonly slack: Field;
  /** Parts that are off, or put on afterwards. */
  readonly leftOut: readonly string[];
  readonly notes: readonly Note[];
}

/** Finds the ways in. The figures do not depend on the number of workers. */
export async function waysIn(input: WaysInput, context: Context, options: WaysOptions = {}): Promise<Ways> {
  const o = { ...WAYS_DEFAULTS, ...options };
  const room = roomOf(input.obstacles, input.envelope, context);
  const whole = volume(input.envelope);
  const shares = await refined(room, o.directions, context);
  const chosen = distinct(shares, o.bodies, (o.apart * Math.PI) / 180);
  const best: Way[] = [];
  for (const share of chosen) best.push(await wayOf(input, room, share, context));
  best.sort((a, b) => b.volume - a.volume);
  const most = best[0]?.keptPercent ?? 0;
  const twoStep = most < o.enough ? await bestTwoStep(input, room, most, context) : undefined;
  const asked = o.asked && (await wayOf(input, room, (await sharesAlong(room, [o.asked], context))[0], context));
  const leftOut = input.obstacles.filter((b) => b.comesOff || b.putOnAlong).map((b) => b.name);
  return { envelope: whole, shares, best, asked, slack: room.slack, twoStep, leftOut, notes: notesOf(most, o.enough, twoStep) };
}

/** The body of one way, and what stands in it. */
async function wayOf(input: WaysInput, room: Room, share: Share, context: Context): Promise<Way> {
  checkCancelled(context);
  const { direction } = share;
  const least = withLate(room, sweptField(room, direction));
  const body = await greatestBody(input, least, context);
  const blockers = share.keptPercent > 99.9 ? [] : blockersAlong(room, direction);
  const without = await freedBy(input, blockers, direction, context);
  return { ...percentOf(body, volume(input.envelope)), direction, estimatePercent: share.keptPercent, body, least, blockers, without };
}

function percentOf(body: Field, whole: number): { volume: number; keptPercent: number } {
  const v = volume(body);
  return { volume: v, keptPercent: whole > 0 ? (100 * v) / whole : 0 };
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
  const { nx, ny, nz } = body.grid;
  const over = { from: corner, to: [corner[0] + nx - 1, corner[1] + ny - 1, corner[2] + nz - 1] as const };
  return directions.map((d) => {
    sweepInto(slack, d, least.data, { over });
    kept.data.set(body.data);
    lowerTo(kept, least, corner);
    return volume(kept);
  });
}

const BATCHES_PER_WORKER = 8;

/** Shares kept along given directions, in their order. */
export async function sharesAlong(room: Room, directions: readonly Vec3[], context: Context): Promise<Share[]> {
  if (directions.length === 0) return [];
  const whole = volume(room.body);
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

/** Least slack from each cell of the surroundings to the open along `d`. */
export function sweptField(room: Room, d: Vec3): Field {
  const out: Field = { grid: room.slack.grid, data: new Float32Array(room.slack.data.length) };
  sweepInto(room.slack, d, out.data);
  return out;
}

/** Lowered, in place, to what the parts put on afterwards leave. */
function withLate({ late }: Room, least: Field): Field {
  if (late) for (let c = 0; c < least.data.length; c++) least.data[c] = Math.min(least.data[c], late.data[c]);
  return least;
}

/** The greatest body that goes a way: the envelope lowered to the least slack on it, rolled again from the start point. */
export async function greatestBody({ envelope, leastRadius, start }: WaysInput, least: Field, context: Context): Promise<Field> {
  const limited: Field = { grid: envelope.grid, data: allocateF32(context.pool, cellCount(envelope.grid)) };
  limited.data.set(envelope.data);
  lowerWithin(limited, least);
  return rollBall(limited, leastRadius, startCells(limited, start, leastRadius), context);
}

/** Lowers a field, in place, to one on another grid, read between its cells; cells well outside, below -2 steps, stay as they are. */
function lowerWithin({ grid, data }: Field, other: Field): void {
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        if (data[c] < -2 * grid.step) continue;
        const p: Vec3 = [grid.origin[0] + grid.step * i, grid.origin[1] + grid.step * j, grid.origin[2] + grid.step * k];
        const v = sampleField(other, p);
        // Where nothing stands at all the other is infinite, and between its cells not a number.
        if (v < data[c]) data[c] = v;
      }
}

/**
 * The cell of the start point when a ball fits there in what is left; else the nearest cell where one does, so that a direction
 * that takes the start point itself is still judged by what hangs together near it.
 */
function startCells({ grid, data }: Field, start: Vec3, radius: number): number[] {
  const c = cellAt(grid, start);
  if (c >= 0 && data[c] >= radius) return [c];
  let best = -1;
  let near = Infinity;
  for (let q = 0; q < data.length; q++) {
    if (!(data[q] >= radius)) continue;
    const i = q % grid.nx;
    const j = Math.floor(q / grid.nx) % grid.ny;
    const k = Math.floor(q / (grid.nx * grid.ny));
    const d2 =
      (grid.origin[0] + grid.step * i - start[0]) ** 2 +
      (grid.origin[1] + grid.step * j - start[1]) ** 2 +
      (grid.origin[2] + grid.step * k - start[2]) ** 2;
    if (d2 < near) {
      near = d2;
      best = q;
    }
  }
  return best < 0 ? [] : [best];
}

/** What the direction would keep with each blocker off, one at a time. */
async function freedBy(input: WaysInput, blockers: readonly Blocker[], d: Vec3, context: Context): Promise<Way['without']> {
  const out: { obstacle: string; keptPercent: number }[] = [];
  // The envelope itself stays as it is: only the way is freed.
  const most = [...blockers].sort((a, b) => b.stopsPercent - a.stopsPercent).slice(0, 3);
  for (const { obstacle } of most) {
    const room = roomOf(input.obstacles, input.envelope, context, [obstacle]);
    const [share] = await sharesAlong(room, [d], context);
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
    const body = await greatestBody(input, withLate(room, found.least), context);
    const { least: _, ...way } = found;
    const kept = { ...way, ...percentOf(body, whole), body };
    if (kept.keptPercent > Math.max(most, best?.keptPercent ?? 0)) best = kept;
  }
  return best;
}

export const keptTask: Task<Batch, number[]> = { name: 'ways.kept', run: keptVolumes };

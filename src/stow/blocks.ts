import type { Task } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { type Random, random } from '../core/random.ts';
import type { Vec3 } from '../core/vec.ts';
import { volume } from '../field/integrate.ts';
import { type Budget, budgetOf, clock } from './budget.ts';
import { type Candidate, overlap } from './candidate.ts';
import { type ExactPacking, exactPacking } from './exact.ts';
import { type Exchange, exchanged, Positions } from './exchange.ts';
import { type Raster, rasterOf, standings } from './raster.ts';
import { BLOCK } from './standard.ts';

/**
 * How many reference blocks of one litre go in, their sides along the axes: a count by a real search, with a bound.
 *
 * Positions come from a raster (raster.ts). Start: the best of many orders of a greedy fill, on the 50 mm sub-rasters that the raster
 * holds. Improvement: exchange (exchange.ts), on that sub-raster, then on the whole raster, then on one of half the pitch. Small cases are settled
 * by an integer program when the solver is there.
 */
export interface BlockOptions {
  readonly budget: Budget;
  /** Positions are so far apart, mm; default 10. */
  readonly pitch?: number;
  /** Rounded edges of the blocks, mm; a block counts as one litre all the same. */
  readonly edgeRadius?: number;
  readonly seed?: number;
  /** Whether to call the integer program at all; default true. */
  readonly exact?: boolean;
  /** Seconds that the integer program may take, default 10; it can not be stopped from outside. */
  readonly exactSeconds?: number;
}

export interface PlacedBlock {
  /** Lowest corner, mm. */
  readonly at_mm: Vec3;
  readonly size_mm: Vec3;
}

export interface BlockResult {
  readonly count: number;
  readonly blocks_l: number;
  readonly blocks: readonly PlacedBlock[];
  /** No arrangement has more: by the room that blocks on the raster can reach at all, or by the integer program where `bound_from` says so. */
  readonly bound: number;
  readonly bound_from: 'room' | 'program';
  /** The bound holds for places so far apart, mm; 0: for every place. */
  readonly bound_on_mm: number;
  /** Count and bound agree. */
  readonly proved: boolean;
  /** Share of the void's volume that the blocks take. */
  readonly share: number;
  readonly raster_mm: number;
  readonly tolerance_mm: number;
  readonly notes: readonly Note[];
}

/** The integer program is tried up to this many positions: 526 took 2 s, 3600 took 25 s. */
const EXACT_CANDIDATES = 1500;
/** Questions to the clock that the searches before the integer program may take, on the sub-raster and on the whole one. */
const FIRST_SEARCH = [150, 60] as const;
/** Candidates on the finer raster, at most: above, a single step of the search takes too long. */
const MOST_FINE = 100_000;

/** What is known of one raster. */
interface Found {
  readonly raster: Raster;
  readonly best: readonly Candidate[];
  readonly bound: number;
  readonly from: 'room' | 'program';
  readonly anywhere: boolean;
}

/** Counts blocks of 200 x 100 x 50 mm in { f >= 0 } (positive inside, mm). Deterministic for a given number of questions to the clock. */
export async function countBlocks(f: Field, options: BlockOptions): Promise<BlockResult> {
  const more = clock(options.budget);
  const pitch = options.pitch ?? 10;
  const notes: Note[] = [];
  const raster = rasterOf(f, { pitch, edgeRadius: options.edgeRadius ?? 0 });
  const rng = random(options.seed ?? 1);
  let found = raster && (await countOn(raster, { rng, more, notes, options }));
  // A proof for every place needs no finer raster.
  if (found && found.best.length < found.bound + (found.anywhere ? 0 : 1) && more())
    found = finer(f, found, { rng, more, options }) ?? found;
  const count = found?.best.length ?? 0;
  const bound = found?.bound ?? 0;
  if (count < bound)
    notes.push({
      code: 'blocks-time',
      text: `The search for blocks ended at ${count}; at places ${found?.raster.pitch} mm apart no arrangement has more than ${bound}.`,
    });
  return {
    count,
    blocks_l: count,
    blocks: found ? found.best.map((p) => place(p, found.raster)) : [],
    bound,
    bound_from: found?.from ?? 'room',
    bound_on_mm: found && !found.anywhere ? found.raster.pitch : 0,
    proved: count === bound,
    share: count > 0 ? (count * 1e6) / volume(f) : 0,
    raster_mm: found?.raster.pitch ?? pitch,
    tolerance_mm: found?.raster.tolerance ?? 0,
    notes,
  };
}

interface Search {
  readonly rng: Random;
  readonly more: () => boolean;
  readonly options: BlockOptions;
}

/** Search and bound on one raster. */
async function countOn(raster: Raster, { rng, more, notes, options }: Search & { readonly notes: Note[] }): Promise<Found> {
  const { all, plain } = candidatesOf(raster);
  const whole = Math.floor(reachable(all, raster) + 1e-9);
  const found: Found = { raster, best: [], bound: whole, from: 'room', anywhere: plain };
  if (all.length === 0) return found;
  const step = Math.max(1, Math.round(BLOCK[2] / raster.pitch));
  const { start, lattice } = bestLattice(all, step, rng, more);
  const first = (n: number, bound: number): Exchange => ({ rng, more: share(more, n), bound });
  let best = exchange(lattice, start, first(FIRST_SEARCH[0], whole));
  // In a plain box the sub-raster has all that is needed, see below.
  if (!plain) best = exchange(all, best, first(FIRST_SEARCH[1], whole));
  if (best.length === whole || !(options.exact ?? true) || !more())
    return { ...found, best: exchange(all, best, { rng, more, bound: whole }) };
  // In a plain box every arrangement can be pushed into the lowest corner, block by block, and then stands on this sub-raster.
  const corner = plain ? all.filter((p) => p.x % step === 0 && p.y % step === 0 && p.z % step === 0) : all;
  const settled = await exactOn(corner, best, notes, options.exactSeconds ?? 10);
  if (!settled) return { ...found, best: exchange(all, best, first(5 * FIRST_SEARCH[1], whole)) };
  if (settled.blocks.length > best.length) best = settled.blocks;
  const bound = Math.min(whole, Math.max(settled.bound, best.length));
  return { ...found, best: exchange(all, best, first(FIRST_SEARCH[1], bound)), bound, from: bound < whole ? 'program' : 'room' };
}

/** More blocks on a raster of half the pitch; null when there are none, or too many places. */
function finer(f: Field, before: Found, { rng, more, options }: Search): Found | null {
  const raster = rasterOf(f, { pitch: before.raster.pitch / 2, edgeRadius: options.edgeRadius ?? 0 });
  if (!raster) return null;
  const { all } = candidatesOf(raster);
  if (all.length > MOST_FINE) return null;
  const bound = Math.floor(reachable(all, raster) + 1e-9);
  const start = before.best.map((p) => ({ x: 2 * p.x, y: 2 * p.y, z: 2 * p.z, a: 2 * p.a, b: 2 * p.b, c: 2 * p.c }));
  const best = exchange(all, start, { rng, more, bound });
  return best.length > before.best.length ? { raster, best, bound, from: 'room', anywhere: false } : null;
}

/** Exchange from blocks that lie, among the candidates. */
function exchange(all: readonly Candidate[], start: readonly Candidate[], how: Exchange): Candidate[] {
  if (start.length >= how.bound) return start.slice();
  const index = new Map(all.map((p, i) => [keyOf(p), i]));
  const known = start.flatMap((p) => index.get(keyOf(p)) ?? []);
  // A start that the raster does not hold is of no use here.
  if (known.length < start.length) return start.slice();
  return exchanged(new Positions(all), known, how).map((i) => all[i]);
}

const keyOf = (p: Candidate): string => `${p.x},${p.y},${p.z},${p.a},${p.b}`;

const place = (p: Candidate, { origin, pitch }: Raster): PlacedBlock => ({
  at_mm: [origin[0] + p.x * pitch, origin[1] + p.y * pitch, origin[2] + p.z * pitch],
  size_mm: [p.a * pitch, p.b * pitch, p.c * pitch],
});

/** Every way a block stands on the raster, and whether it stands everywhere within the void's ends, as in a plain box. */
function candidatesOf(raster: Raster): { all: Candidate[]; plain: boolean } {
  const [l, w, h] = BLOCK;
  const all: Candidate[] = [];
  let positions = 0;
  for (const size of [
    [l, w, h],
    [l, h, w],
    [w, l, h],
    [h, l, w],
    [w, h, l],
    [h, w, l],
  ] as Vec3[]) {
    const s = standings(raster, size);
    const [a, b, c] = size.map((v) => v / raster.pitch);
    let at = 0;
    for (let z = 0; z < s.n[2]; z++)
      for (let y = 0; y < s.n[1]; y++) for (let x = 0; x < s.n[0]; x++) if (s.free[at++]) all.push({ x, y, z, a, b, c });
    positions += s.free.length;
  }
  return { all, plain: all.length === positions };
}

/** Litres that some block on the raster covers: what no block reaches can hold none. */
function reachable(all: readonly Candidate[], { nodes, split, pitch }: Raster): number {
  const n = nodes.map((v) => Math.floor((v - 1) / split) + 2);
  const at = (x: number, y: number, z: number): number => x + n[0] * (y + n[1] * z);
  const sum = new Int32Array(n[0] * n[1] * n[2]);
  // Eight corner marks a block; running sums along the three axes then count the blocks over each raster cell.
  for (const p of all)
    for (let m = 0; m < 8; m++) {
      const sign = ((m & 1) + ((m >> 1) & 1) + ((m >> 2) & 1)) % 2 === 1 ? -1 : 1;
      sum[at(p.x + (m & 1 ? p.a : 0), p.y + (m & 2 ? p.b : 0), p.z + (m & 4 ? p.c : 0))] += sign;
    }
  for (let i = 1; i < sum.length; i++) if (i % n[0] !== 0) sum[i] += sum[i - 1];
  for (let i = n[0]; i < sum.length; i++) if (Math.floor(i / n[0]) % n[1] !== 0) sum[i] += sum[i - n[0]];
  for (let i = n[0] * n[1]; i < sum.length; i++) sum[i] += sum[i - n[0] * n[1]];
  let cells = 0;
  for (const v of sum) if (v > 0) cells++;
  return (cells * pitch ** 3) / 1e6;
}

/** Of the sub-rasters `step` pitches apart the one on which greedy fills do best, and its positions. */
function bestLattice(
  all: readonly Candidate[],
  step: number,
  rng: Random,
  more: () => boolean,
): { start: Candidate[]; lattice: Candidate[] } {
  const groups = new Map<number, Candidate[]>();
  for (const p of all) {
    const key = (p.x % step) + step * ((p.y % step) + step * (p.z % step));
    const group = groups.get(key);
    if (group) group.push(p);
    else groups.set(key, [p]);
  }
  let start: Candidate[] = [];
  let lattice: Candidate[] = [];
  for (const group of [...groups.values()].sort((a, b) => b.length - a.length)) {
    if (start.length > 0 && !more()) break;
    for (let i = 0; i < 8; i++) {
      const got = greedy(group, rng);
      if (got.length > start.length) {
        start = got;
        lattice = group;
      }
    }
  }
  return { start, lattice };
}

/** Fills by a random order of corners: positions sorted along the axes in a random turn and sense, a random liking for one way of lying. */
function greedy(all: readonly Candidate[], rng: Random): Candidate[] {
  const turn = rng.below(6);
  const [p, q] = [turn % 3, ((turn % 3) + 1 + (turn > 2 ? 1 : 0)) % 3];
  const r = 3 - p - q;
  const sense = [rng.below(2), rng.below(2), rng.below(2)];
  const like = [rng.next(), rng.next(), rng.next()];
  const noise = rng.next() < 0.5 ? 0 : 3 * rng.next();
  const weight = [0, 0, 0];
  weight[p] = 1e4;
  weight[q] = 1e2;
  weight[r] = 1;
  const key = Float64Array.from(all, (c) => {
    const low = [c.x, c.y, c.z];
    const long = [c.a, c.b, c.c];
    let k = 0;
    for (let i = 0; i < 3; i++) k += weight[i] * (sense[i] ? low[i] : -(low[i] + long[i])) + 0.3 * like[i] * long[i];
    return k + weight[p] * noise * rng.next();
  });
  const order = Array.from(all.keys()).sort((i, j) => key[i] - key[j] || i - j);
  const placed: Candidate[] = [];
  for (const i of order) {
    const c = all[i];
    let free = true;
    for (let m = placed.length - 1; m >= 0 && free; m--) free = !overlap(placed[m], c);
    if (free) placed.push(c);
  }
  return placed;
}

/** At most `most` questions out of a clock. */
const share = (more: () => boolean, most: number): (() => boolean) => {
  let left = most;
  return () => left-- > 0 && more();
};

async function exactOn(
  positions: readonly Candidate[],
  best: readonly Candidate[],
  notes: Note[],
  seconds: number,
): Promise<ExactPacking | null> {
  if (positions.length > EXACT_CANDIDATES) return null;
  const settled = await exactPacking(positions, best.length, seconds);
  if (settled !== 'absent') return settled;
  notes.push({
    code: 'blocks-search-only',
    text: 'The optional solver for exact counts (highs) is not installed: blocks are counted by search only.',
  });
  return null;
}

/** A count as one task. */
export const countBlocksTask: Task<{ readonly field: Field; readonly seconds: number; readonly enough?: Int32Array }, BlockResult> = {
  name: 'blocks.count',
  // The solver can not be stopped: it gets half of the time at most.
  run: ({ field, seconds, enough }) => countBlocks(field, { budget: budgetOf(seconds, enough), exactSeconds: Math.min(10, seconds / 2) }),
};

import type { Task } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { type Random, random } from '../core/random.ts';
import type { Vec3 } from '../core/vec.ts';
import { volume } from '../field/integrate.ts';
import { type Budget, budgetOf, clock } from './budget.ts';
import { type Candidate, overlap } from './candidate.ts';
import { type ExactPacking, exactPacking } from './exact.ts';
import { type Raster, rasterOf, standings } from './raster.ts';
import { BLOCK } from './standard.ts';

/**
 * How many reference blocks of one litre go in, their sides along the axes: a count by a real search, with a bound.
 *
 * Positions come from a raster (raster.ts). Start: the best of many orders of a greedy fill, on the 50 mm sub-rasters that the raster
 * holds, then on the raster itself. Improvement: the blocks in a part of the void are taken out and that part is filled again, many
 * times; never worse. Small cases are settled by an integer program when the solver is there.
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
  /** Count and bound agree. */
  readonly proved: boolean;
  /** Share of the void's volume that the blocks take. */
  readonly share: number;
  readonly raster_mm: number;
  readonly tolerance_mm: number;
  readonly notes: readonly Note[];
}

/** The integer program is tried up to this many positions. */
const EXACT_CANDIDATES = 1500;

/** Counts blocks of 200 x 100 x 50 mm in { f >= 0 } (positive inside, mm). Deterministic for a given number of questions to the clock. */
export async function countBlocks(f: Field, options: BlockOptions): Promise<BlockResult> {
  const more = clock(options.budget);
  const pitch = options.pitch ?? 10;
  const raster = rasterOf(f, { pitch, edgeRadius: options.edgeRadius ?? 0 });
  const found = raster ? candidatesOf(raster) : { all: [], plain: false };
  const { all } = found;
  const notes: Note[] = [];
  const room = raster ? reachable(all, raster) : 0;
  let best: Candidate[] = [];
  let bound = Math.floor(room + 1e-9);
  let from: 'room' | 'program' = 'room';
  if (all.length > 0) {
    const rng = random(options.seed ?? 1);
    const step = Math.max(1, Math.round(BLOCK[2] / pitch));
    const { start, lattice } = bestLattice(all, step, rng, more);
    best = improve(start, lattice, { rng, more: share(more, 400), bound });
    if (best.length < bound && (options.exact ?? true)) {
      // In a plain box every arrangement can be pushed into the lowest corner, block by block, and then stands on this sub-raster.
      const corner = found.plain ? all.filter((p) => p.x % step === 0 && p.y % step === 0 && p.z % step === 0) : lattice;
      const settled = more() ? await exactOn(corner, best, notes, options.exactSeconds ?? 10) : null;
      if (settled) {
        if (settled.blocks.length > best.length) best = settled.blocks;
        // Elsewhere the program's bound holds for its own positions only.
        if ((found.plain || corner.length === all.length) && settled.bound < bound) {
          bound = Math.max(settled.bound, best.length);
          from = 'program';
        }
      }
    }
    if (best.length < bound) best = improve(best, all, { rng, more, bound });
  }
  if (raster && best.length < bound && !more())
    notes.push({
      code: 'blocks-time',
      text: `The search for blocks ran out of time at ${best.length}; no arrangement has more than ${bound}.`,
    });
  return {
    count: best.length,
    blocks_l: best.length,
    blocks: best.map((p) => place(p, raster as Raster)),
    bound,
    bound_from: from,
    proved: best.length === bound,
    share: best.length > 0 ? (best.length * 1e6) / volume(f) : 0,
    raster_mm: pitch,
    tolerance_mm: raster?.tolerance ?? 0,
    notes,
  };
}

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
      const got = greedy(group, [], rng);
      if (got.length > start.length) {
        start = got;
        lattice = group;
      }
    }
  }
  return { start, lattice };
}

/** Fills by a random order of corners: positions sorted along the axes in a random turn and sense, a random liking for one way of lying. */
function greedy(all: readonly Candidate[], kept: readonly Candidate[], rng: Random): Candidate[] {
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
  const placed = kept.slice();
  for (const i of order) {
    const c = all[i];
    let free = true;
    for (let m = placed.length - 1; m >= 0 && free; m--) free = !overlap(placed[m], c);
    if (free) placed.push(c);
  }
  return placed;
}

interface Search {
  readonly rng: Random;
  readonly more: () => boolean;
  readonly bound: number;
}

/** Takes the blocks in a random window out and fills it again in several orders; keeps what is no worse. */
function improve(start: readonly Candidate[], all: readonly Candidate[], { rng, more, bound }: Search): Candidate[] {
  let best = start.slice();
  let now = best;
  while (best.length < bound && more()) {
    const seed = all[rng.below(all.length)];
    // A window between one and three blocks wide about a position, so that its size goes with the place.
    const wide = 0.5 + 2 * rng.next();
    const cx = seed.x + seed.a / 2;
    const cy = seed.y + seed.b / 2;
    const cz = seed.z + seed.c / 2;
    const reach = wide * Math.max(seed.a, seed.b, seed.c) * 0.5;
    const kept = now.filter(
      (p) => Math.abs(p.x + p.a / 2 - cx) > reach || Math.abs(p.y + p.b / 2 - cy) > reach || Math.abs(p.z + p.c / 2 - cz) > reach,
    );
    const open = all.filter((c) => !kept.some((k) => overlap(k, c)));
    let filled = now;
    for (let i = 0; i < 6; i++) {
      const got = greedy(open, kept, rng);
      if (got.length >= filled.length) filled = got;
    }
    now = filled;
    if (now.length > best.length) best = now;
  }
  return best;
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
export const countBlocksTask: Task<{ readonly field: Field; readonly seconds: number }, BlockResult> = {
  name: 'blocks.count',
  run: ({ field, seconds }) => countBlocks(field, { budget: budgetOf(seconds), exactSeconds: seconds }),
};

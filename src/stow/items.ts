import type { Task } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import { type Random, random } from '../core/random.ts';
import type { Vec3 } from '../core/vec.ts';
import { type Budget, budgetOf, clock } from './budget.ts';
import { cylinderFits } from './inside.ts';
import { loadingOrder } from './loading.ts';
import { type Raster, rasterOf, type Standing, standings } from './raster.ts';
import { LUGGAGE } from './standard.ts';

/** Something that is to go in, `count` times; sides or diameter and length in mm. */
export type Item =
  | { readonly name: string; readonly shape: 'box'; readonly size: Vec3; readonly count: number }
  | { readonly name: string; readonly shape: 'cylinder'; readonly diameter: number; readonly length: number; readonly count: number };

export interface ItemOptions {
  readonly budget: Budget;
  /** Positions are so far apart, mm; default 10. */
  readonly pitch?: number;
  /**
   * A point in the opening, mm: only places count that the item reaches from there by straight moves along the axes without turning, through
   * the void alone (other items not looked at).
   */
  readonly opening?: Vec3;
  /**
   * The whole room, where `f` is only what can be reached along a way: says of an item whether it would stand there if it could be brought there.
   */
  readonly room?: Field;
  /** Unit vector along which items slide out one by one: only places count from which they do so in some order. */
  readonly along?: Vec3;
  readonly seed?: number;
}

/** An item in its place: the box round it, and for a cylinder the axis 0, 1 or 2 along which it lies. */
export interface PlacedItem {
  readonly at_mm: Vec3;
  readonly size_mm: Vec3;
  readonly axis?: number;
}

/** An item in its place in the result: its turn when all are put in one after the other along the way, from 1; left out without a way. */
export interface StowedItem extends PlacedItem {
  readonly turn?: number;
}

export interface ItemResult {
  readonly name: string;
  readonly asked: number;
  /** How many go in beside all the others listed. */
  readonly fits: number;
  /** Whether one of it, alone, has room at all; and whether it can be brought to such a place. */
  readonly stands: boolean;
  readonly reached: boolean;
  readonly places: readonly StowedItem[];
}

export interface StowResult {
  readonly items: readonly ItemResult[];
  readonly all: boolean;
  readonly volume_l: number;
  readonly tolerance_mm: number;
  readonly notes: readonly Note[];
}

/** One way an item lies, and where it may lie so. */
interface Way {
  readonly standing: Standing;
  readonly axis: number;
}

interface Kind {
  readonly item: Item;
  readonly volume: number;
  /** Only places that are reached. */
  readonly ways: readonly Way[];
  readonly stands: boolean;
}

/**
 * Which of the items go in together, sides along the axes, and where. The larger ones are placed first, each as far as it will go into a random
 * corner; the best of as many tries as the budget allows (volume first). Not finding room is no proof that there is none. Fault `stow-item`.
 */
export function packItems(f: Field, items: readonly Item[], options: ItemOptions): StowResult {
  for (const item of items) checkItem(item);
  const more = clock(options.budget);
  const raster = rasterOf(f, { pitch: options.pitch ?? 10 });
  const notes: Note[] = [];
  const kinds = items.map((item) => kindOf(f, raster, item, options));
  const order = kinds.map((_, i) => i).sort((a, b) => kinds[b].volume - kinds[a].volume || a - b);
  const rng = random(options.seed ?? 1);
  let best: PlacedItem[][] = kinds.map(() => []);
  let most = -1;
  const asked = kinds.reduce((sum, k) => sum + k.volume * k.item.count, 0);
  for (let tries = 0; raster && most < asked && (tries === 0 || more()); tries++) {
    const placed = attempt(kinds, tries === 0 ? order : shuffled(order, rng), raster, { rng, along: options.along });
    const score = placed.reduce((sum, p, i) => sum + p.length * kinds[i].volume, 0);
    if (score <= most) continue;
    most = score;
    best = placed;
  }
  const all = best.every((p, i) => p.length === items[i].count);
  if (!all)
    notes.push({
      code: 'stow-partly',
      text: 'Not everything asked for was found room for together; a longer search or another order may still find some.',
    });
  const turns = options.along && loadingOrder(best.flat(), options.along);
  let first = 0;
  return {
    items: items.map((item, i) => {
      const places = best[i].map((p, n) => (turns ? { ...p, turn: turns[first + n] } : p));
      first += places.length;
      const reachedAtAll = kinds[i].ways.some((w) => w.standing.free.includes(1));
      return { name: item.name, asked: item.count, fits: places.length, stands: kinds[i].stands, reached: reachedAtAll, places };
    }),
    all,
    volume_l: Math.max(0, most) / 1e6,
    tolerance_mm: raster?.tolerance ?? 0,
    notes,
  };
}

/** The luggage pieces of SAE J1100, as many of each as may be counted. */
export const packLuggage = (f: Field, options: ItemOptions): StowResult =>
  packItems(
    f,
    LUGGAGE.map(({ size, most }) => ({ name: size.join(' x '), shape: 'box', size, count: most })),
    options,
  );

function checkItem(item: Item): void {
  const sizes = item.shape === 'box' ? item.size : [item.diameter, item.length];
  if (!sizes.every((s) => s > 0 && s < Infinity) || !(Number.isInteger(item.count) && item.count > 0))
    throw new Fault({
      code: 'stow-item',
      what: `The item "${item.name}" can not be stowed.`,
      got: `${sizes.join(' x ')} mm, count ${item.count}`,
      expected: 'lengths above 0 mm and a whole count of at least 1',
    });
}

/** The ways an item lies, and its places on the raster that it reaches. */
function kindOf(f: Field, raster: Raster | null, item: Item, { opening, room, pitch = 10 }: ItemOptions): Kind {
  const volume = item.shape === 'box' ? item.size[0] * item.size[1] * item.size[2] : (Math.PI / 4) * item.diameter ** 2 * item.length;
  const free = raster ? waysOf(f, raster, item) : [];
  const ways = raster ? free.map((w) => ({ ...w, standing: reached(w.standing, raster, opening) })) : [];
  const some = (list: readonly Way[]): boolean => list.some((w) => w.standing.free.includes(1));
  if (some(free) || !room) return { item, volume, ways, stands: some(free) };
  const whole = rasterOf(room, { pitch });
  return { item, volume, ways, stands: whole !== null && some(waysOf(room, whole, item)) };
}

function waysOf(f: Field, raster: Raster, item: Item): Way[] {
  if (item.shape === 'box') {
    const [l, w, h] = item.size;
    const sizes: Vec3[] = [
      [l, w, h],
      [l, h, w],
      [w, l, h],
      [w, h, l],
      [h, l, w],
      [h, w, l],
    ];
    const different = sizes.filter((s, i) => sizes.findIndex((t) => t.every((v, a) => v === s[a])) === i);
    return different.map((s) => ({ standing: standings(raster, s), axis: -1 }));
  }
  const { diameter: d, length } = item;
  return [0, 1, 2].map((axis) => {
    const size = [0, 1, 2].map((a) => (a === axis ? length : d)) as [number, number, number];
    return { standing: cylinderStandings(f, raster, { size, axis }), axis };
  });
}

/**
 * A cylinder stands free where its box does, and elsewhere where it is read to fit itself: only the corners of its box are in question,
 * so positions whose inscribed box does not fit are passed over.
 */
function cylinderStandings(f: Field, raster: Raster, { size, axis }: { size: Vec3; axis: number }): Standing {
  const whole = standings(raster, size);
  const { free, n } = whole;
  const turned = axis === 2 ? f : swapped(f, axis);
  const h = f.grid.step;
  const diameter = size[(axis + 1) % 3];
  let c = 0;
  for (let k = 0; k < n[2]; k++)
    for (let j = 0; j < n[1]; j++)
      for (let i = 0; i < n[0]; i++, c++) {
        if (free[c]) continue;
        const mid: [number, number, number] = [
          raster.origin[0] + i * raster.pitch + size[0] / 2,
          raster.origin[1] + j * raster.pitch + size[1] / 2,
          raster.origin[2] + k * raster.pitch + size[2] / 2,
        ];
        [mid[axis], mid[2]] = [mid[2], mid[axis]];
        // Looked at coarsely first: a clear miss is seen on few points.
        const can = { centre: mid, radius: diameter / 2, halfHeight: size[axis] / 2 };
        if (cylinderFits(turned, can, diameter / 2, -raster.tolerance) && cylinderFits(turned, can, 1.5 * h, -raster.tolerance))
          free[c] = 1;
      }
  return whole;
}

/** The field with axis `a` and z changed over. */
function swapped({ grid, data }: Field, a: number): Field {
  const { nx, ny, nz, origin } = grid;
  const dims = [nx, ny, nz];
  const stride = [1, nx, nx * ny];
  const o: [number, number, number] = [origin[0], origin[1], origin[2]];
  for (const list of [dims, stride, o]) [list[a], list[2]] = [list[2], list[a]];
  const out: Grid = { origin: o, step: grid.step, nx: dims[0], ny: dims[1], nz: dims[2] };
  const values = new Float32Array(data.length);
  let c = 0;
  for (let k = 0; k < dims[2]; k++)
    for (let j = 0; j < dims[1]; j++) for (let i = 0; i < dims[0]; i++) values[c++] = data[i * stride[0] + j * stride[1] + k * stride[2]];
  return { grid: out, data: values };
}

/** Only the positions that hang together with one in which the item fills the opening; all of them when no opening is named. */
function reached(s: Standing, raster: Raster, opening: Vec3 | undefined): Standing {
  if (!opening) return s;
  const [nx, ny, nz] = s.n;
  const free = new Uint8Array(s.free.length);
  const stack: number[] = [];
  for (let c = 0; c < free.length; c++) {
    const at = [c % nx, Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))];
    const holds = at.every((v, a) => {
      const from = raster.origin[a] + v * raster.pitch;
      return opening[a] >= from && opening[a] <= from + s.size[a];
    });
    if (!holds || !s.free[c]) continue;
    free[c] = 1;
    stack.push(c);
  }
  while (stack.length > 0) {
    const c = stack.pop() as number;
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    const go = (ok: boolean, d: number): void => {
      if (!ok || free[d] || !s.free[d]) return;
      free[d] = 1;
      stack.push(d);
    };
    go(i > 0, c - 1);
    go(i + 1 < nx, c + 1);
    go(j > 0, c - nx);
    go(j + 1 < ny, c + nx);
    go(k > 0, c - nx * ny);
    go(k + 1 < nz, c + nx * ny);
  }
  return { ...s, free };
}

/** One try: kinds in the given order, every piece as far as it will go into one corner. */
function attempt(
  kinds: readonly Kind[],
  order: readonly number[],
  raster: Raster,
  { rng, along }: { readonly rng: Random; readonly along: Vec3 | undefined },
): PlacedItem[][] {
  const placed: PlacedItem[] = [];
  const out: PlacedItem[][] = kinds.map(() => []);
  for (const i of order) {
    const corner = [rng.below(2), rng.below(2), rng.below(2)];
    const turn = rng.below(3);
    const ways = shuffled(
      kinds[i].ways.map((_, w) => w),
      rng,
    );
    for (const w of ways) {
      if (out[i].length === kinds[i].item.count) break;
      for (const p of placesOf(kinds[i].ways[w], raster, { corner, turn })) {
        if (out[i].length === kinds[i].item.count) break;
        if (placed.some((q) => clash(p, q)) || (along && !loadingOrder([...placed, p], along))) continue;
        placed.push(p);
        out[i].push(p);
      }
    }
  }
  return out;
}

/** Free positions of one way, along the axes in turn from the given corner. */
function* placesOf({ standing, axis }: Way, raster: Raster, { corner, turn }: { corner: number[]; turn: number }): Generator<PlacedItem> {
  const { n, free, size } = standing;
  const [p, q, r] = [turn, (turn + 1) % 3, (turn + 2) % 3];
  const at = [0, 0, 0];
  for (let u = 0; u < n[p]; u++)
    for (let v = 0; v < n[q]; v++)
      for (let w = 0; w < n[r]; w++) {
        at[p] = corner[p] ? n[p] - 1 - u : u;
        at[q] = corner[q] ? n[q] - 1 - v : v;
        at[r] = corner[r] ? n[r] - 1 - w : w;
        if (!free[at[0] + n[0] * (at[1] + n[1] * at[2])]) continue;
        const low = raster.origin.map((o, a) => o + at[a] * raster.pitch) as [number, number, number];
        yield axis < 0 ? { at_mm: low, size_mm: size } : { at_mm: low, size_mm: size, axis };
      }
}

/** Whether two items are in each other's way. Cylinders across each other count as their boxes: a little room is given away. */
function clash(a: PlacedItem, b: PlacedItem): boolean {
  const e = 1e-6;
  for (let i = 0; i < 3; i++) if (a.at_mm[i] + a.size_mm[i] <= b.at_mm[i] + e || b.at_mm[i] + b.size_mm[i] <= a.at_mm[i] + e) return false;
  if (a.axis === undefined) return b.axis === undefined || discClash(b, a);
  if (b.axis === undefined || b.axis !== a.axis) return b.axis === undefined ? discClash(a, b) : true;
  const [u, v] = [(a.axis + 1) % 3, (a.axis + 2) % 3];
  const mid = (p: PlacedItem, i: number): number => p.at_mm[i] + p.size_mm[i] / 2;
  return Math.hypot(mid(a, u) - mid(b, u), mid(a, v) - mid(b, v)) < (a.size_mm[u] + b.size_mm[u]) / 2 - e;
}

/** A cylinder's disc against a box's rectangle, seen along the cylinder. */
function discClash(can: PlacedItem, box: PlacedItem): boolean {
  const axis = can.axis as number;
  let away = 0;
  for (const i of [(axis + 1) % 3, (axis + 2) % 3]) {
    const mid = can.at_mm[i] + can.size_mm[i] / 2;
    away += Math.max(0, box.at_mm[i] - mid, mid - box.at_mm[i] - box.size_mm[i]) ** 2;
  }
  return Math.sqrt(away) < can.size_mm[(axis + 1) % 3] / 2 - 1e-6;
}

function shuffled(list: readonly number[], rng: Random): number[] {
  const out = list.slice();
  for (let i = out.length - 1; i > 0; i--) {
    const j = rng.below(i + 1);
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
}

interface Packing {
  readonly field: Field;
  readonly items: readonly Item[];
  readonly seconds: number;
  readonly opening?: Vec3;
  readonly room?: Field;
  readonly along?: Vec3;
  readonly enough?: Int32Array;
}

/** A packing as one task. */
export const packItemsTask: Task<Packing, StowResult> = {
  name: 'items.pack',
  run: ({ field, items, seconds, enough, ...how }) => packItems(field, items, { budget: budgetOf(seconds, enough), ...how }),
};

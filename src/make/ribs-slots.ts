import { disc, type Figure, type Flat, figureArea, figureBox, inFigure, lineIntervals, type Point2, rectangle } from './flat.ts';
import type { RibPlane } from './ribs-plan.ts';

/** A rib before and after its slots are cut. */
export interface Slotted {
  readonly name: string;
  readonly plane: RibPlane;
  readonly figure: Figure;
}

/** Two ribs that hold each other. */
export interface Joint {
  readonly first: string;
  readonly second: string;
  /** Where along the slots they meet, mm. */
  readonly at: number;
  /** Length of the crossing, both halves, mm. */
  readonly length: number;
}

export interface SlotOptions {
  readonly thickness: number;
  readonly fit: number;
  readonly relief: number;
  /** Shortest crossing that counts as a joint, mm. */
  readonly least: number;
  /** Smallest part, mm2. */
  readonly leastArea: number;
}

export interface SlotResult {
  readonly joints: Joint[];
  readonly parts: (Slotted & { readonly crossings: number[] })[];
  readonly dropped: { readonly name: string; readonly area: number }[];
}

/** Farther than any body reaches, mm. */
const FAR = 1e5;

/** What two ribs are to each other. */
interface Crossing {
  readonly i: number;
  readonly j: number;
  readonly middle: number;
  readonly length: number;
}

/**
 * Cuts the slots of two families and leaves out what then hangs on nothing. At every crossing the first family loses all above the
 * middle of the longest stretch that both have, the second all below it, over the width of the slot.
 */
export function cutSlots(first: readonly Slotted[], second: readonly Slotted[], options: SlotOptions, flat: Flat): SlotResult {
  const half = (options.thickness + options.fit) / 2;
  const crossings: Crossing[] = [];
  first.forEach((p, i) => {
    second.forEach((q, j) => {
      const found = crossingOf(p, q, half, flat);
      if (found) crossings.push({ i, j, ...found });
    });
  });
  const gap = options.fit / 2;
  const lower = first.map((p, i) =>
    pieces(
      p,
      crossings.filter((c) => c.i === i).map((c) => slot(second[c.j].plane.at, c.middle - gap, half, options.relief, 1)),
      options,
      flat,
    ),
  );
  const upper = second.map((p, j) =>
    pieces(
      p,
      crossings.filter((c) => c.j === j).map((c) => slot(first[c.i].plane.at, c.middle + gap, half, options.relief, -1)),
      options,
      flat,
    ),
  );
  return hold(first, second, { crossings, lower, upper }, options);
}

/** Where two ribs cross, or undefined when nothing of one comes near the other. */
function crossingOf(p: Slotted, q: Slotted, half: number, flat: Flat): { middle: number; length: number } | undefined {
  const a = lineIntervals(p.figure, q.plane.at);
  const b = lineIntervals(q.figure, p.plane.at);
  let best: Point2 | undefined;
  for (const [l0, h0] of a)
    for (const [l1, h1] of b) {
      const both: Point2 = [Math.max(l0, l1), Math.min(h0, h1)];
      if (both[1] > both[0] && (!best || both[1] - both[0] > best[1] - best[0])) best = both;
    }
  if (best) return { middle: (best[0] + best[1]) / 2, length: best[1] - best[0] };
  // The middle lines miss each other, but edges within the thickness may not.
  const strip = (s: Slotted, at: number) => figureBox(flat.common(s.figure, rectangle(at - half, -FAR, at + half, FAR)));
  const [u, v] = [strip(p, q.plane.at), strip(q, p.plane.at)];
  if (!(u[1] <= u[3] && v[1] <= v[3]) || u[3] < v[1]) return undefined;
  return { middle: (Math.max(u[1], v[1]) + Math.min(u[3], v[3])) / 2, length: 0 };
}

/** A slot from `end` to far along `way` (1 up, -1 down), with relief in the corners of its end. */
function slot(at: number, end: number, half: number, relief: number, way: 1 | -1): { figure: Figure[]; at: number } {
  const bar = way > 0 ? rectangle(at - half, end, at + half, FAR) : rectangle(at - half, -FAR, at + half, end);
  if (!(relief > 0)) return { figure: [bar], at };
  // Discs through the corners, their middles on the corners' halving lines.
  const r = Math.min(relief, half);
  const d = r / Math.SQRT2;
  return { figure: [bar, disc(at - half + d, end + way * d, r), disc(at + half - d, end + way * d, r)], at };
}

function pieces(p: Slotted, slots: readonly { figure: Figure[]; at: number }[], options: SlotOptions, flat: Flat): Figure[] {
  const all = slots.flatMap((s) => s.figure).reduce<Figure>((s, f) => flat.union(s, f), []);
  const left = flat.pieces(flat.cut(p.figure, all));
  // Always at least the largest is looked at; slivers are named when they are dropped.
  return left.filter((f, i) => i === 0 || figureArea(f) >= options.leastArea / 10);
}

interface Cut {
  readonly crossings: readonly Crossing[];
  readonly lower: readonly Figure[][];
  readonly upper: readonly Figure[][];
}

/** Which pieces hold each other: pieces without a joint go, and with them their joints, until nothing changes. */
function hold(first: readonly Slotted[], second: readonly Slotted[], { crossings, lower, upper }: Cut, options: SlotOptions): SlotResult {
  const below = options.fit / 2 + options.relief + 0.3;
  const holds: { c: Crossing; low: number; up: number }[] = [];
  for (const c of crossings) {
    if (c.length < options.least) continue;
    const low = lower[c.i].findIndex((f) => inFigure(f, second[c.j].plane.at, c.middle - below));
    const up = upper[c.j].findIndex((f) => inFigure(f, first[c.i].plane.at, c.middle + below));
    if (low >= 0 && up >= 0) holds.push({ c, low, up });
  }
  const big = (f: Figure): boolean => figureArea(f) >= options.leastArea;
  const sound = holds.filter(({ c, low, up }) => big(lower[c.i][low]) && big(upper[c.j][up]));
  const result: SlotResult = { joints: [], parts: [], dropped: [] };
  const named = (s: Slotted, kept: number, order: number): string => (kept > 1 ? `${s.name}-${order + 1}` : s.name);
  const names = new Map<string, string>();
  const take = (family: 0 | 1, ribs: readonly Slotted[], all: readonly Figure[][]): void =>
    ribs.forEach((s, n) => {
      const mine = (k: number) => sound.filter(({ c, low, up }) => (family === 0 ? c.i === n && low === k : c.j === n && up === k));
      const kept = all[n].map((_, k) => k).filter((k) => mine(k).length > 0);
      all[n].forEach((figure, k) => {
        const order = kept.indexOf(k);
        if (order < 0) {
          if (figureArea(figure) >= options.leastArea) result.dropped.push({ name: s.name, area: figureArea(figure) });
          return;
        }
        const name = named(s, kept.length, order);
        names.set(`${family} ${n} ${k}`, name);
        const near = crossings.filter((c) => (family === 0 ? c.i : c.j) === n);
        result.parts.push({
          name,
          plane: s.plane,
          figure,
          crossings: near.map((c) => (family === 0 ? second[c.j].plane.at : first[c.i].plane.at)),
        });
      });
    });
  take(0, first, lower);
  take(1, second, upper);
  for (const { c, low, up } of sound)
    result.joints.push({ first: names.get(`0 ${c.i} ${low}`)!, second: names.get(`1 ${c.j} ${up}`)!, at: c.middle, length: c.length });
  return result;
}

import { type Field, sampleField } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { sweepInto } from '../field/sweep.ts';
import { NEIGHBOUR_DIRECTIONS } from './directions.ts';
import { type Room, someCells } from './room.ts';

/** The body slides `length` mm along `first`, then out along `then` (unit vectors). */
export interface TwoStep {
  readonly first: Vec3;
  readonly length: number;
  readonly then: Vec3;
}

/** Cells of the envelope by which all pairs and lengths are judged before the best few are worked out. */
const SAMPLES = 1500;
const LENGTHS = 20;
const CANDIDATES = 3;
/** A second step within this of the first (cosine) is no second step. */
const SAME = 0.99;

/**
 * The most promising ways in two steps among the 26 directions to a cell's neighbours, by a sample of the envelope's cells, that
 * keep more than `most` percent. `least` is the least slack on the whole way, on the piece of the grid round the envelope.
 */
export function twoSteps(room: Room, most: number): (TwoStep & { least: Field })[] {
  const { slack, body } = room;
  const cells = someCells(body, SAMPLES);
  if (cells.length === 0) return [];
  const points = cells.map((c) => cellCentre(body.grid, c));
  const longest = diagonalOf(points);
  const out = NEIGHBOUR_DIRECTIONS.map((d) => {
    const w: Field = { grid: slack.grid, data: new Float32Array(slack.data.length) };
    sweepInto(slack, d, w.data);
    return w;
  });
  const found: (TwoStep & { kept: number; last: Field })[] = [];
  for (const first of NEIGHBOUR_DIRECTIONS) {
    const legs = points.map(() => Infinity);
    for (let n = 1; n <= LENGTHS; n++) {
      const from = ((n - 1) * longest) / LENGTHS;
      const length = (n * longest) / LENGTHS;
      points.forEach((p, i) => {
        if (legs[i] >= 0) legs[i] = Math.min(legs[i], leastOn(slack, p, first, [from, length]));
      });
      // Longer first steps only lose more.
      if ((100 * legs.filter((v) => v >= 0).length) / points.length <= most) break;
      NEIGHBOUR_DIRECTIONS.forEach((then, t) => {
        if (first[0] * then[0] + first[1] * then[1] + first[2] * then[2] > SAME) return;
        let kept = 0;
        for (let i = 0; i < points.length; i++) if (legs[i] >= 0 && sampleField(out[t], along(points[i], first, length)) >= 0) kept++;
        if ((100 * kept) / points.length > most) found.push({ first, length, then, kept, last: out[t] });
      });
    }
  }
  found.sort((a, b) => b.kept - a.kept || a.length - b.length);
  return found
    .slice(0, CANDIDATES)
    .map(({ first, length, then, last }) => ({ first, length, then, least: leastField(room, { first, length }, last) }));
}

/** Least slack on the first step and then on the ray of `last`, for the cells round the envelope. */
function leastField({ slack, body }: Room, { first, length }: { first: Vec3; length: number }, last: Field): Field {
  const data = new Float32Array(body.data.length);
  for (let c = 0; c < data.length; c++) {
    const p = cellCentre(body.grid, c);
    data[c] = Math.min(leastOn(slack, p, first, [0, length]), sampleField(last, along(p, first, length)));
  }
  return { grid: body.grid, data };
}

const along = (p: Vec3, d: Vec3, t: number): Vec3 => [p[0] + d[0] * t, p[1] + d[1] * t, p[2] + d[2] * t];

/**
 * Least slack on the stretch [from, to] mm of the ray from p along d. Steps of half a cell at most where it may fall below
 * zero; it falls by at most 1 mm per mm, so longer ones elsewhere miss nothing below zero.
 */
function leastOn(slack: Field, p: Vec3, d: Vec3, [from, to]: readonly [number, number]): number {
  const half = slack.grid.step / 2;
  let least = Infinity;
  for (let t = from; t < to; ) {
    const v = sampleField(slack, along(p, d, t));
    if (v < least) least = v;
    if (v < -2 * half) return least;
    t += Math.max(half, v - half);
  }
  return Math.min(least, sampleField(slack, along(p, d, to)));
}

function diagonalOf(points: readonly Vec3[]): number {
  let sum = 0;
  for (let a = 0; a < 3; a++) {
    let lo = Infinity;
    let hi = -Infinity;
    for (const p of points) {
      lo = Math.min(lo, p[a]);
      hi = Math.max(hi, p[a]);
    }
    sum += (hi - lo) ** 2;
  }
  return Math.sqrt(sum);
}

import type { CrossSection, ManifoldToplevel } from 'manifold-3d';
import type { Polyline } from '../field/outlines.ts';

/** A point of a plane, mm. */
export type Point2 = [number, number];

/** A flat figure: closed rings, mm; outer ones counter-clockwise, holes clockwise, none crossing another. */
export type Figure = Point2[][];

/** Points round a full circle where corners are rounded; a sagitta of 0.5 % of the radius. */
const ROUND = 32;

/**
 * Set operations and offsets of flat figures, done by manifold-3d (which has Clipper2 for them). Figures are plain arrays on both sides:
 * what the library holds is given back at once.
 */
export class Flat {
  private readonly lib: ManifoldToplevel;

  constructor(lib: ManifoldToplevel) {
    this.lib = lib;
  }

  private run(figure: Figure, change: (c: CrossSection) => CrossSection): Figure {
    const from = new this.lib.CrossSection(figure, 'Positive');
    const to = change(from);
    const out = to.toPolygons();
    from.delete();
    if (to !== from) to.delete();
    return out;
  }

  private both(a: Figure, b: Figure, change: (a: CrossSection, b: CrossSection) => CrossSection): Figure {
    const other = new this.lib.CrossSection(b, 'Positive');
    const out = this.run(a, (c) => change(c, other));
    other.delete();
    return out;
  }

  union(a: Figure, b: Figure): Figure {
    return a.length === 0 ? b : b.length === 0 ? a : this.both(a, b, (p, q) => p.add(q));
  }

  cut(a: Figure, b: Figure): Figure {
    return a.length === 0 || b.length === 0 ? a : this.both(a, b, (p, q) => p.subtract(q));
  }

  common(a: Figure, b: Figure): Figure {
    return a.length === 0 || b.length === 0 ? [] : this.both(a, b, (p, q) => p.intersect(q));
  }

  /** Grown by `by` mm on all sides, corners rounded; drawn in when negative. */
  grow(a: Figure, by: number): Figure {
    return a.length === 0 || by === 0 ? a : this.run(a, (p) => p.offset(by, 'Round', 2, ROUND));
  }

  /** Fewer points; none moves by more than `by` mm. */
  simplify(a: Figure, by: number): Figure {
    return a.length === 0 ? a : this.run(a, (p) => p.simplify(by));
  }

  /** The pieces that do not hang together, largest first. */
  pieces(a: Figure): Figure[] {
    if (a.length === 0) return [];
    const from = new this.lib.CrossSection(a, 'Positive');
    const parts = from.decompose();
    const out = parts.map((p) => p.toPolygons());
    for (const p of parts) p.delete();
    from.delete();
    return out.sort((p, q) => figureArea(q) - figureArea(p));
  }
}

export const rectangle = (a0: number, b0: number, a1: number, b1: number): Figure => [
  [
    [a0, b0],
    [a1, b0],
    [a1, b1],
    [a0, b1],
  ],
];

/** A disc as a polygon of `n` corners on the circle. */
export const disc = (a: number, b: number, radius: number, n = ROUND): Figure => [
  Array.from({ length: n }, (_, i): Point2 => {
    const t = (2 * Math.PI * (i + 0.5)) / n;
    return [a + radius * Math.cos(t), b + radius * Math.sin(t)];
  }),
];

export const figureOf = (lines: readonly Polyline[]): Figure =>
  lines.map(({ points }) => Array.from({ length: points.length / 2 }, (_, i): Point2 => [points[2 * i], points[2 * i + 1]]));

/** Signed area of a ring, mm2, positive when counter-clockwise. */
export function ringArea(ring: readonly Point2[]): number {
  let sum = 0;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) sum += ring[j][0] * ring[i][1] - ring[i][0] * ring[j][1];
  return sum / 2;
}

/** Area less holes, mm2. */
export const figureArea = (figure: Figure): number => figure.reduce((s, r) => s + ringArea(r), 0);

/** Length of all rings, mm. */
export function figureLength(figure: Figure): number {
  let sum = 0;
  for (const ring of figure)
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) sum += Math.hypot(ring[i][0] - ring[j][0], ring[i][1] - ring[j][1]);
  return sum;
}

/** [least a, least b, greatest a, greatest b]; infinite the wrong way round when empty. */
export function figureBox(figure: Figure): [number, number, number, number] {
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const ring of figure)
    for (const [a, b] of ring) {
      box[0] = Math.min(box[0], a);
      box[1] = Math.min(box[1], b);
      box[2] = Math.max(box[2], a);
      box[3] = Math.max(box[3], b);
    }
  return box;
}

/** Whether the point lies in the figure, by the rule of even and odd crossings. */
export function inFigure(figure: Figure, a: number, b: number): boolean {
  let inside = false;
  for (const ring of figure)
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
      const [ai, bi] = ring[i];
      const [aj, bj] = ring[j];
      if (bi > b !== bj > b && a < ai + ((b - bi) / (bj - bi)) * (aj - ai)) inside = !inside;
    }
  return inside;
}

/** Each point of the figure through `to`. */
export const mapFigure = (figure: Figure, to: (p: Point2) => Point2): Figure => figure.map((ring) => ring.map(to));

/** Intervals [low, high] of b that the line a = `a` has in the figure, lowest first. */
export function lineIntervals(figure: Figure, a: number): Point2[] {
  const at: number[] = [];
  for (const ring of figure)
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
      const [ai, bi] = ring[i];
      const [aj, bj] = ring[j];
      if (ai > a !== aj > a) at.push(bi + ((a - ai) / (aj - ai)) * (bj - bi));
    }
  at.sort((p, q) => p - q);
  return Array.from({ length: at.length >> 1 }, (_, i): Point2 => [at[2 * i], at[2 * i + 1]]);
}

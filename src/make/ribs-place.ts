import { type Figure, type Flat, figureBox, inFigure, mapFigure, type Point2, rectangle } from './flat.ts';

/**
 * Middles where a bar of `length` mm along `way` (0: first coordinate, 1: second) lies in the figure: what the figure has in common with
 * itself moved along the bar, in steps finer than the gap that would matter.
 */
function middles(figure: Figure, length: number, way: 0 | 1, flat: Flat): Figure {
  const steps = Math.max(2, Math.ceil(length / 4));
  let left = figure;
  for (let i = 0; i <= steps && left.length > 0; i++) {
    const by = length * (i / steps - 0.5);
    left = flat.common(
      left,
      mapFigure(figure, ([a, b]) => (way === 0 ? [a - by, b] : [a, b - by])),
    );
  }
  return left;
}

/** A point of the figure near the middle of its box: the middle itself, else its nearest corner. */
function pick(figure: Figure): Point2 | undefined {
  if (figure.length === 0) return undefined;
  const [a0, b0, a1, b1] = figureBox(figure);
  const m: Point2 = [(a0 + a1) / 2, (b0 + b1) / 2];
  if (inFigure(figure, m[0], m[1])) return m;
  let best = figure[0][0];
  for (const p of figure.flat()) if (Math.hypot(p[0] - m[0], p[1] - m[1]) < Math.hypot(best[0] - m[0], best[1] - m[1]) - 1e-9) best = p;
  return best;
}

/** A hole with round ends, `width` by `height` mm, either way up, wholly in the figure; undefined when there is no room. */
export function placeStadium(figure: Figure, width: number, height: number, flat: Flat): Figure | undefined {
  const core = flat.grow(figure, -height / 2);
  const reach = width - height;
  for (const way of [0, 1] as const) {
    const at = pick(middles(core, reach, way, flat));
    if (!at) continue;
    const [a, b] = way === 0 ? [reach / 2, 0.01] : [0.01, reach / 2];
    return flat.grow(rectangle(at[0] - a, at[1] - b, at[0] + a, at[1] + b), height / 2 - 0.01);
  }
  return undefined;
}

/** Lower left corner of an upright rectangle `width` by `height` mm in the figure; undefined when there is no room. */
export function placeMark(figure: Figure, width: number, height: number, flat: Flat): Point2 | undefined {
  const at = pick(middles(middles(figure, width, 0, flat), height, 1, flat));
  return at && [at[0] - width / 2, at[1] - height / 2];
}

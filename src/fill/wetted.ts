import type { Field } from '../core/field.ts';
import { surface } from '../field/surface.ts';
import { normalInto } from '../scan/place-samples.ts';

/** Share of the cavity's surface that lies below a height. */
export function wettedShare(cavity: Field, level: number): number {
  const { positions: p, indices, origin } = surface(cavity, 0);
  const normal = new Float64Array(3);
  const top = level - origin[2];
  let all = 0;
  let below = 0;
  for (let t = 0; t < indices.length; t += 3) {
    const size = normalInto(p, indices, t / 3, normal);
    const [a, b, c] = [p[indices[t] * 3 + 2] - top, p[indices[t + 1] * 3 + 2] - top, p[indices[t + 2] * 3 + 2] - top];
    all += size;
    if (Math.max(a, b, c) <= 0) below += size;
    else if (Math.min(a, b, c) < 0) below += size * shareBelow([a, b, c]);
  }
  return all > 0 ? below / all : 0;
}

/** Share of a triangle below zero, from the heights of its corners: the cut-off corner is similar, so its share is a product of two ratios. */
function shareBelow(heights: readonly [number, number, number]): number {
  const [low, middle, high] = heights.toSorted((x, y) => x - y);
  return middle >= 0 ? (low / (low - middle)) * (low / (low - high)) : 1 - (high / (high - low)) * (high / (high - middle));
}

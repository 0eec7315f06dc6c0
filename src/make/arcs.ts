import type { Polyline } from '../field/outlines.ts';

/** A closed line of straight pieces and arcs. */
export interface ArcLine {
  /** Corners, x and y alternating, mm: points of the polyline it was fitted to. */
  readonly points: Float64Array;
  /** One a corner: tangent of a quarter of the angle of the arc to the next corner; 0 for a straight piece. */
  readonly bulges: Float64Array;
  /** Greatest distance of the polyline from the fitted line, mm, over whole chords and not only at points. */
  readonly deviation: number;
}

/** An arc takes at most this share of a full turn. */
const MOST_TURN = Math.PI;

/**
 * Fits a closed polyline by as few straight pieces and arcs as a greedy walk finds, none farther than `tolerance` mm from it. Pieces
 * start and end at points of the polyline; each is the longest that still holds, found by doubling and halving.
 */
export function fitArcs({ points }: Polyline, tolerance: number): ArcLine {
  const n = points.length / 2;
  const corners: number[] = [];
  const bulges: number[] = [];
  let deviation = 0;
  const first = sharpest(points);
  for (let done = 0; done < n; ) {
    const at = first + done;
    // A whole closed line as one piece has no chord: leave at least one point.
    const most = Math.min(n - done, n - 1);
    let good = { bulge: 0, error: 0 };
    let low = 1;
    let high = most + 1;
    for (let reach = 2; reach <= most; reach = Math.min(2 * reach, reach < most ? most : most + 1)) {
      const found = fitPiece(points, at, reach, tolerance);
      if (!found) {
        high = reach;
        break;
      }
      good = found;
      low = reach;
    }
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      const found = fitPiece(points, at, middle, tolerance);
      if (found) {
        good = found;
        low = middle;
      } else high = middle;
    }
    corners.push(points[2 * (at % n)], points[2 * (at % n) + 1]);
    bulges.push(good.bulge);
    deviation = Math.max(deviation, good.error);
    done += low;
  }
  return { points: Float64Array.from(corners), bulges: Float64Array.from(bulges), deviation };
}

/** Where the polyline turns most: a good place to begin. */
function sharpest(p: Float64Array): number {
  const n = p.length / 2;
  let best = 0;
  let least = Infinity;
  for (let i = 0; i < n; i++) {
    const a = 2 * ((i + n - 1) % n);
    const b = 2 * ((i + 1) % n);
    const [ux, uy] = [p[2 * i] - p[a], p[2 * i + 1] - p[a + 1]];
    const [vx, vy] = [p[b] - p[2 * i], p[b + 1] - p[2 * i + 1]];
    const cos = (ux * vx + uy * vy) / (Math.hypot(ux, uy) * Math.hypot(vx, vy) || 1);
    if (cos < least - 1e-12) {
      least = cos;
      best = i;
    }
  }
  return best;
}

/** The straight piece, else the arc, from point `at` over `reach` points, or undefined when neither stays within `tolerance`. */
function fitPiece(p: Float64Array, at: number, reach: number, tolerance: number): { bulge: number; error: number } | undefined {
  const n = p.length / 2;
  const [i, j] = [2 * (at % n), 2 * ((at + reach) % n)];
  const [dx, dy] = [p[j] - p[i], p[j + 1] - p[i + 1]];
  const chord = Math.hypot(dx, dy);
  if (chord < 1e-9) return undefined;
  // Coordinates along the chord and to its left, the chord's middle at zero.
  const [tx, ty] = [dx / chord, dy / chord];
  const [mx, my] = [(p[i] + p[j]) / 2, (p[i + 1] + p[j + 1]) / 2];
  const along = new Float64Array(reach + 1);
  const left = new Float64Array(reach + 1);
  let flat = 0;
  let backwards = false;
  for (let k = 0; k <= reach; k++) {
    const q = 2 * ((at + k) % n);
    along[k] = (p[q] - mx) * tx + (p[q + 1] - my) * ty;
    left[k] = (p[q + 1] - my) * tx - (p[q] - mx) * ty;
    flat = Math.max(flat, Math.abs(left[k]));
    if (k > 0 && along[k] < along[k - 1]) backwards = true;
  }
  if (flat <= tolerance && !backwards) return { bulge: 0, error: flat };
  return fitArc(along, left, chord / 2, tolerance);
}

/**
 * Circles through both ends have their middle at (0, c): |(x, y) - (0, c)|^2 = h^2 + c^2, so x^2 + y^2 - h^2 = 2 c y, which is linear in c:
 * least squares, then the distance of every chord is looked at.
 */
function fitArc(x: Float64Array, y: Float64Array, half: number, tolerance: number): { bulge: number; error: number } | undefined {
  let num = 0;
  let den = 0;
  for (let k = 1; k + 1 < x.length; k++) {
    num += (x[k] * x[k] + y[k] * y[k] - half * half) * y[k];
    den += 2 * y[k] * y[k];
  }
  if (!(den > 0)) return undefined;
  const c = num / den;
  const r = Math.hypot(half, c);
  // The arc bulges to the side on which the points lie.
  const side = y[x.length >> 1] < 0 ? -1 : 1;
  // Height of the arc over the chord; the tangent of a quarter angle is height over half chord, negative to the left by the format's rule.
  const height = r + side * c;
  const bulge = (-side * height) / half;
  if (4 * Math.atan(Math.abs(bulge)) > MOST_TURN + 1e-9) return undefined;
  let error = 0;
  let turn = -Infinity;
  for (let k = 0; k < x.length; k++) {
    error = Math.max(error, Math.abs(Math.hypot(x[k], y[k] - c) - r));
    // The points must go round one way.
    const angle = Math.atan2(x[k], side * (y[k] - c));
    if (angle < turn - 1e-9) return undefined;
    turn = angle;
    if (k === 0) continue;
    // A chord comes nearest to the middle at the foot of the perpendicular.
    const [ux, uy] = [x[k] - x[k - 1], y[k] - y[k - 1]];
    const t = (-x[k - 1] * ux - (y[k - 1] - c) * uy) / (ux * ux + uy * uy || 1);
    if (t > 0 && t < 1) error = Math.max(error, r - Math.hypot(x[k - 1] + t * ux, y[k - 1] - c + t * uy));
  }
  return error <= tolerance ? { bulge, error } : undefined;
}

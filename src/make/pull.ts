import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { frameOf, normalize, type Vec3 } from '../core/vec.ts';
import { type AskedSurface, type Places, type Spot, sharePercent, spots } from './samples.ts';

/**
 * What a mould meets that is drawn off the body along a direction. A place is caught when the straight line from it along the direction meets
 * the body again, or begins into it; all faces are asked, by rays, so the error is that of the pieces cut by a shadow's edge.
 */
export interface PullFigures {
  readonly direction: Vec3;
  /** Share of the surface that stops a mould in one part, drawn along the direction, percent. */
  readonly one_part_percent: number;
  /** Share that stops both halves of a mould in two parts, drawn along the direction and against it, percent. */
  readonly two_part_percent: number;
  /** Largest places caught by a mould in two parts. */
  readonly undercuts: readonly Spot[];
  /** Share that comes free of two parts, but with less draft than asked, percent; and the largest such places. */
  readonly low_draft_percent: number;
  readonly low_draft: readonly Spot[];
}

/** A wall that leans in by less than this is upright, degrees: a mesh of flat faces has no better walls. */
const UPRIGHT = 0.5;
/** Places begin this far off the surface, mm: an undercut as shallow as a scan's own error is none. */
const OFF = 0.2;
/** Places on the whole surface, and for a first look from many directions. */
const PLACES = 30_000;
const FEW = 2500;
/** Directions of the first look, over half a sphere, and how many of them are turned further. */
const DIRECTIONS = 150;
const REFINED = 3;
/** Turns about a promising direction, degrees. */
const TURNS = [5, 2.5, 1.2, 0.6];
/** What the whole depth of the mould counts against undercuts, of which it is a share: of two ways without any, the shallow one. */
const DEPTH_WEIGHT = 0.05;

/** Looks at the body as drawn along one direction. `draft`: degrees that a wall should lean. */
export function pullFigures(surface: AskedSurface, direction: Vec3, draft: number): PullFigures {
  const places = surface.places(PLACES);
  const d = normalize(direction);
  const { up, down } = freedom(surface, places, d);
  const n = places.area.length;
  const one = new Float64Array(n);
  const two = new Float64Array(n);
  const low = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const lean = leanOf(places, i, d);
    if (!up[i]) one[i] = 1 + Math.abs(lean);
    if (!up[i] && !down[i]) two[i] = 1 + Math.abs(lean);
    // Where both halves would come free, the surface may be parted to suit.
    const angle = up[i] && down[i] ? Math.abs(lean) : up[i] ? lean : -lean;
    if ((up[i] || down[i]) && angle < draft * RADIANS_PER_DEGREE) low[i] = 1 + draft * RADIANS_PER_DEGREE - angle;
  }
  return {
    direction: d,
    one_part_percent: sharePercent(places, one),
    two_part_percent: sharePercent(places, two),
    undercuts: spots(surface.mesh, places, two),
    low_draft_percent: sharePercent(places, low),
    low_draft: spots(surface.mesh, places, low),
  };
}

/** How far the surface leans towards `d`, radians: half pi where it faces along d. */
const leanOf = ({ normal: n }: Places, i: number, d: Vec3): number =>
  Math.asin(Math.max(-1, Math.min(1, n[3 * i] * d[0] + n[3 * i + 1] * d[1] + n[3 * i + 2] * d[2])));

/** Which places come free along d, and against it. */
function freedom(surface: AskedSurface, places: Places, d: Vec3): { up: Uint8Array; down: Uint8Array } {
  const n = places.area.length;
  const back: Vec3 = [-d[0], -d[1], -d[2]];
  const up = new Uint8Array(n);
  const down = new Uint8Array(n);
  const upright = UPRIGHT * RADIANS_PER_DEGREE;
  const { at, normal } = places;
  for (let i = 0; i < n; i++) {
    const lean = leanOf(places, i, d);
    const o = 3 * i;
    const free = (way: Vec3): number =>
      surface.along(at[o] + OFF * normal[o], at[o + 1] + OFF * normal[o + 1], at[o + 2] + OFF * normal[o + 2], way, Infinity) === Infinity
        ? 1
        : 0;
    if (lean >= -upright) up[i] = free(d);
    if (lean <= upright) down[i] = free(back);
  }
  return { up, down };
}

/**
 * The direction along which a mould in two parts meets the least undercut, and among those as good the one with the shallowest mould. A sphere
 * of directions first, then turns about the best of them down to half a degree.
 */
export function bestPull(surface: AskedSurface): Vec3 {
  const places = surface.places(FEW);
  const longest = extents(surface).reduce((m, e) => Math.max(m, e), 0) || 1;
  const costOf = (d: Vec3): number => {
    const { up, down } = freedom(surface, places, d);
    const caught = Float64Array.from(up, (u, i) => (u || down[i] ? 0 : 1));
    return sharePercent(places, caught) / 100 + (DEPTH_WEIGHT * depthAlong(surface, d)) / longest;
  };
  const first: Vec3[] = [[1, 0, 0], [0, 1, 0], [0, 0, 1], ...halfSphere(DIRECTIONS)];
  const ranked = first.map((d) => ({ d, cost: costOf(d) })).sort((p, q) => p.cost - q.cost);
  let best = ranked[0];
  for (const start of ranked.slice(0, REFINED)) {
    let own = start;
    for (const turn of TURNS) {
      const [u, v] = frameOf(own.d);
      const near = [0, 1, 2, 3, 4, 5].map((k) => turned(own.d, u, v, { by: turn * RADIANS_PER_DEGREE, at: (k * Math.PI) / 3 }));
      for (const d of near) {
        const cost = costOf(d);
        if (cost < own.cost - 1e-9) own = { d, cost };
      }
    }
    if (own.cost < best.cost - 1e-9) best = own;
  }
  return best.d;
}

function turned(d: Vec3, u: Vec3, v: Vec3, { by, at }: { by: number; at: number }): Vec3 {
  const [c, s] = [Math.cos(by), Math.sin(by)];
  const side = (a: 0 | 1 | 2): number => Math.cos(at) * u[a] + Math.sin(at) * v[a];
  return normalize([c * d[0] + s * side(0), c * d[1] + s * side(1), c * d[2] + s * side(2)]);
}

/** Directions spread evenly over the upper half of a sphere, on a spiral of the golden angle. */
export function halfSphere(count: number): Vec3[] {
  const golden = Math.PI * (3 - Math.sqrt(5));
  return Array.from({ length: count }, (_, i) => {
    const z = 1 - (i + 0.5) / count;
    const r = Math.sqrt(1 - z * z);
    return [r * Math.cos(golden * i), r * Math.sin(golden * i), z];
  });
}

/** How far the body reaches along a unit vector, mm. */
function depthAlong({ mesh: { positions: p } }: AskedSurface, d: Vec3): number {
  let [low, high] = [Infinity, -Infinity];
  for (let i = 0; i < p.length; i += 3) {
    const h = p[i] * d[0] + p[i + 1] * d[1] + p[i + 2] * d[2];
    if (h < low) low = h;
    if (h > high) high = h;
  }
  return high - low;
}

const extents = (s: AskedSurface): number[] =>
  (
    [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ] as const
  ).map((d) => depthAlong(s, d));

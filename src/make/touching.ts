import { type AskedSurface, type Spot, sharePercent, spots } from './samples.ts';

/**
 * What a ball cutter reaches. At each place the largest ball is sought that touches the surface there, on one side, and has nothing of the
 * surface inside: begin with a large one and shrink it to the nearest point that it holds, until it holds none (Ma, Bae and Choi, 3D medial axis
 * point approximation using nearest neighbors and the normal field, 2012: recalled). The ball may stay LEFT off the surface, so the flat
 * faces of a mesh do not count as corners, and a radius reads low by about half of that.
 */
export interface CutterFigures {
  /** Radius of the largest ball that reaches all but a two-hundredth of the surface, mm. */
  readonly least_radius_mm: number;
  /** Share of the surface that the cutter asked does not reach, percent, and the largest such places. */
  readonly unreached_percent: number;
  readonly unreached: readonly Spot[];
}

/** What a cutter may leave, mm. */
const LEFT = 0.15;
const PLACES = 5000;
/** Share of the area that is left out of the least radius: single faces say nothing. */
const LEAST_SHARE = 0.005;
const SHRINKS = 30;

/** `side`: +1 for a cutter outside the body (it cuts a plug), -1 for one inside (it cuts the mould's hollow). `radius`: of the cutter, mm. */
export function cutterFigures(surface: AskedSurface, side: 1 | -1, radius: number): CutterFigures {
  const places = surface.places(PLACES);
  const n = places.area.length;
  // Larger radii than any cutter of that size need not be told apart.
  const most = Math.max(50, 4 * radius);
  // Any ball that comes so near shows that the place is reached: along the face's own normal, or along that of the shape it stands for.
  const found = Float64Array.from({ length: n }, (_, i) =>
    Math.max(ballAt(surface, places.at, places.normal, { i, side, most }), ballAt(surface, places.at, places.smooth, { i, side, most })),
  );
  const short = Float64Array.from(found, (r) => Math.max(0, radius - LEFT / 2 - r));
  return {
    least_radius_mm: lowest(found, places.area, LEAST_SHARE),
    unreached_percent: sharePercent(places, short),
    unreached: spots(surface.mesh, places, short),
  };
}

interface BallSearch {
  readonly i: number;
  readonly side: 1 | -1;
  readonly most: number;
}

/** Radius of the largest empty ball, at most `most`, whose middle lies along the normal and that touches the surface (all but LEFT) at place i, mm. */
function ballAt(surface: AskedSurface, at: Float64Array, normal: Float64Array, { i, side, most }: BallSearch): number {
  const o = 3 * i;
  const [nx, ny, nz] = [side * normal[o], side * normal[o + 1], side * normal[o + 2]];
  const [x, y, z] = [at[o] + LEFT * nx, at[o + 1] + LEFT * ny, at[o + 2] + LEFT * nz];
  let r = most;
  for (let turn = 0; turn < SHRINKS; turn++) {
    const q = surface.nearest(x + r * nx, y + r * ny, z + r * nz);
    const [dx, dy, dz] = [q.x - x, q.y - y, q.z - z];
    const ahead = dx * nx + dy * ny + dz * nz;
    // A point at the ball's own border or behind the place does not hold it back.
    const smaller = ahead > 0 ? (dx * dx + dy * dy + dz * dz) / (2 * ahead) : Infinity;
    if (!(smaller < r * (1 - 1e-4))) break;
    r = smaller;
  }
  return r;
}

/** The value below which `share` of the weight lies. */
function lowest(values: Float64Array, weights: Float64Array, share: number): number {
  const order = [...values.keys()].sort((p, q) => values[p] - values[q]);
  const all = weights.reduce((s, w) => s + w, 0);
  let sum = 0;
  for (const i of order) {
    sum += weights[i];
    if (sum >= share * all) return values[i];
  }
  return Infinity;
}

export interface ThinFigures {
  /** Least thickness met, mm, and where. */
  readonly least_mm: number;
  readonly at_mm: readonly [number, number, number] | null;
  /** Share of the surface with less body behind it than asked, percent, and the largest such places. */
  readonly thin_percent: number;
  readonly thin: readonly Spot[];
}

/** Begin inside the surface by this much, mm: not to meet the face itself. */
const INSIDE = 1e-3;

/** How thick the body is behind its surface: straight in from each place to the next face. */
export function thinFigures(surface: AskedSurface, asked: number): ThinFigures {
  const places = surface.places(PLACES);
  const { at, normal } = places;
  const { origin } = surface.mesh;
  let least = Infinity;
  let where = -1;
  const short = Float64Array.from(places.area, (_, i) => {
    const o = 3 * i;
    const d = [-normal[o], -normal[o + 1], -normal[o + 2]] as const;
    const depth = surface.along(at[o] + INSIDE * d[0], at[o + 1] + INSIDE * d[1], at[o + 2] + INSIDE * d[2], d, Infinity) + INSIDE;
    if (depth < least) [least, where] = [depth, i];
    return Math.max(0, asked - depth);
  });
  return {
    least_mm: least,
    at_mm: where < 0 ? null : [at[3 * where] + origin[0], at[3 * where + 1] + origin[1], at[3 * where + 2] + origin[2]],
    thin_percent: sharePercent(places, short),
    thin: spots(surface.mesh, places, short),
  };
}

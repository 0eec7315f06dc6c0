import type { Task } from '../core/context.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { borderLoops, type Loop } from './borders.ts';

/** A border of a scan where nothing was seen, ready to be drawn. mm. */
export interface HoleResult {
  readonly scan: string;
  /** Centre of its length. */
  readonly at_mm: Vec3;
  readonly length_mm: number;
  /** From the envelope's surface, told from places on it some 10 mm apart and so up to about as much too great; null beyond 60 mm. */
  readonly from_envelope_mm: number | null;
  /** Corners in order, every so many of them, at most CORNERS; from the last one back to the first. */
  readonly loop: readonly Vec3[];
}

/** Corners of a loop, and loops, that are worth drawing. */
const CORNERS = 60;
const LOOPS = 200;
/** Borders of fewer corners are single missing triangles. */
const LEAST_CORNERS = 4;
/** Beyond this a border is not near, mm. */
const FAR = 60;

interface Asked {
  readonly scan: string;
  readonly mesh: Mesh;
  /** Places on the envelope's surface, x y z, mm. */
  readonly places: Float64Array;
}

/** The borders of one scan: those near the envelope first, nearest first, then the others, longest first. */
function holesOf({ scan, mesh, places }: Asked): HoleResult[] {
  const loops = borderLoops(mesh).filter((l) => l.vertices.length >= LEAST_CORNERS);
  return sortHoles(loops.map((l) => holeOf(scan, mesh, l, places)));
}

export const holesTask: Task<Asked, HoleResult[]> = { name: 'holes.find', run: holesOf };

/** Near ones first, nearest first, then the others, longest first; no more than are worth drawing. */
export function sortHoles(holes: readonly HoleResult[]): HoleResult[] {
  const off = (h: HoleResult): number => h.from_envelope_mm ?? Infinity;
  const order = (a: HoleResult, b: HoleResult): number => (off(a) === off(b) ? b.length_mm - a.length_mm : off(a) - off(b));
  return [...holes].sort(order).slice(0, LOOPS);
}

function holeOf(scan: string, mesh: Mesh, loop: Loop, places: Float64Array): HoleResult {
  const { origin, positions: p } = mesh;
  const every = Math.ceil(loop.vertices.length / CORNERS);
  const corners = loop.vertices
    .filter((_, i) => i % every === 0)
    .map((v): Vec3 => [hundredth(origin[0] + p[v * 3]), hundredth(origin[1] + p[v * 3 + 1]), hundredth(origin[2] + p[v * 3 + 2])]);
  // No corner is nearer than the centre's distance less the loop's own size.
  const beyond = nearest([loop.at], places) - loop.across > FAR;
  const off = beyond ? Infinity : nearest(corners, places);
  const from_envelope_mm = off > FAR ? null : off;
  return { scan, at_mm: loop.at, length_mm: loop.length, from_envelope_mm, loop: corners };
}

/** Finer than any scan, and half as long in the result's file. */
const hundredth = (v: number): number => Math.round(v * 100) / 100;

/** Least distance between two sets of points, mm. */
function nearest(corners: readonly Vec3[], places: Float64Array): number {
  let least = Infinity;
  for (const [x, y, z] of corners)
    for (let i = 0; i < places.length; i += 3)
      least = Math.min(least, (places[i] - x) ** 2 + (places[i + 1] - y) ** 2 + (places[i + 2] - z) ** 2);
  return Math.sqrt(least);
}

import { type Field, sampleField } from '../core/field.ts';
import { cellAt, cellCentre, gridBox } from '../core/grid.ts';
import { add, normalize, scale, type Vec3 } from '../core/vec.ts';
import { flood } from '../field/flood.ts';
import { heldBack } from './attitudes.ts';
import { heights, outletCell } from './level.ts';

/**
 * The highest point of the cavity's border from which a straight spout leads to the open: `slack` (mm, on any grid) keeps at least `radius`
 * all along a line that rises at 45 degrees or more. Without `slack` the highest point; null when no line is free.
 */
export function proposeFiller(cavity: Field, slack: Field | undefined, radius: number): Vec3 | null {
  const { grid, data } = cavity;
  const cells: number[] = [];
  for (let c = 0; c < data.length; c++) if (data[c] > 0 && data[c] <= 1.2 * grid.step) cells.push(c);
  const top = heights(cavity, [0, 0, 1]).data;
  const middle = meanOf(cavity, cells);
  // Of equally high places the one nearest the middle: a flat top then has its filler where lean does least harm.
  const rank = cells.map((c) => {
    const p = cellCentre(grid, c);
    return { c, height: Math.round((4 * top[c]) / grid.step), off: (p[0] - middle[0]) ** 2 + (p[1] - middle[1]) ** 2 };
  });
  rank.sort((a, b) => b.height - a.height || a.off - b.off || a.c - b.c);
  // One place a cell of the slack: what its neighbours see is the same.
  const tried = new Set<number>();
  for (const { c } of rank) {
    const [x, y] = cellCentre(grid, c);
    const p: Vec3 = [x, y, top[c]];
    if (!slack) return p;
    const seen = cellAt(slack.grid, p);
    if (tried.has(seen)) continue;
    tried.add(seen);
    if (SPOUTS.some((d) => spoutFree(slack, p, d, radius))) return p;
  }
  return null;
}

/**
 * From a point just inside the cavity on along `way` (unit) to where it ends, when that is within `most` mm, else out along the field's slope:
 * an outlet that stops short of the wall would keep a layer of its own.
 */
export function toBorder(f: Field, p: Vec3, way: Vec3, most: number): Vec3 {
  const step = f.grid.step / 32;
  for (let t = step; t <= most; t += step) if (sampleField(f, add(p, scale(way, t))) <= 0) return add(p, scale(way, t));
  const h = f.grid.step / 2;
  const rate = (d: Vec3): number => sampleField(f, add(p, scale(d, h))) - sampleField(f, add(p, scale(d, -h)));
  const slope = normalize([rate([1, 0, 0]), rate([0, 1, 0]), rate([0, 0, 1])]);
  return add(p, scale(slope, -sampleField(f, p)));
}

function meanOf({ grid }: Field, cells: readonly number[]): Vec3 {
  let sum: Vec3 = [0, 0, 0];
  for (const c of cells) sum = add(sum, cellCentre(grid, c));
  return scale(sum, 1 / Math.max(1, cells.length));
}

/** Straight up, and eight ways round at 22.5 and at 45 degrees from it. */
const SPOUTS: readonly Vec3[] = [
  [0, 0, 1],
  ...[Math.PI / 8, Math.PI / 4].flatMap((tilt) =>
    Array.from({ length: 8 }, (_, i): Vec3 => {
      const a = (i * Math.PI) / 4;
      return [Math.sin(tilt) * Math.cos(a), Math.sin(tilt) * Math.sin(a), Math.cos(tilt)];
    }),
  ),
];

function spoutFree(slack: Field, from: Vec3, along: Vec3, radius: number): boolean {
  const { min, max } = gridBox(slack.grid);
  for (let t = radius; ; t += slack.grid.step) {
    const p = add(from, scale(along, t));
    if (p.some((v, a) => v < min[a] || v > max[a])) return true;
    if (sampleField(slack, p) < radius) return false;
  }
}

/** What a second way out would free, mm3 at the worst attitude. */
export interface SecondOutlet {
  readonly at: readonly [Vec3, Vec3];
  readonly frees: number;
}

/** How many places are tried against each other. */
const TRIED = 8;

/**
 * Whether two pickups, or one pickup and a balance line to it, strand less than the one pickup at its worst direction. `downs` are unit vectors
 * along the apparent gravity. Tried: the pickup itself and the lowest points of what it strands, largest first.
 * With two outlets a place is reached from either; through a line, only down to the height of the line's end at the pickup.
 */
export function secondOutlet(
  cavity: Field,
  downs: readonly Vec3[],
  pickup: Vec3,
): { pair: SecondOutlet | null; line: SecondOutlet | null } {
  const stranded = downs.flatMap((d) => heldBack(cavity, d, [pickup]).pockets).sort((a, b) => b.volume - a.volume);
  const apart = 2 * cavity.grid.step;
  const points: Vec3[] = [pickup];
  for (const p of stranded)
    if (points.length < TRIED && points.every((q) => Math.hypot(q[0] - p.at[0], q[1] - p.at[1], q[2] - p.at[2]) > apart)) points.push(p.at);
  if (points.length === 1) return { pair: null, line: null };
  const n = points.length;
  const one = new Float64Array(downs.length);
  const pairs = new Float64Array(n * n);
  const lines = new Float64Array(n);
  downs.forEach((down, d) => {
    const top = heights(cavity, down);
    const cells = points.map((p) => outletCell(cavity, p, 20));
    const reach = cells.map((c) => flood(top, [c]).reach.data);
    one[d] = heldVolume(cavity, down, (c) => reach[0][c]);
    for (let a = 0; a < n; a++)
      for (let b = a + 1; b < n; b++)
        pairs[a * n + b] = Math.max(
          pairs[a * n + b],
          heldVolume(cavity, down, (c) => Math.max(reach[a][c], reach[b][c])),
        );
    const end = top.data[cells[0]];
    for (let b = 1; b < n; b++)
      lines[b] = Math.max(
        lines[b],
        heldVolume(cavity, down, (c) => Math.max(reach[0][c], Math.min(reach[b][c], end))),
      );
  });
  const worst = Math.max(...one);
  let pair: SecondOutlet | null = null;
  for (let a = 0; a < n; a++)
    for (let b = a + 1; b < n; b++) {
      const frees = worst - pairs[a * n + b];
      if (frees > (pair?.frees ?? 0)) pair = { at: [points[a], points[b]], frees };
    }
  let line: SecondOutlet | null = null;
  for (let b = 1; b < n; b++) if (worst - lines[b] > (line?.frees ?? 0)) line = { at: [points[0], points[b]], frees: worst - lines[b] };
  return { pair, line };
}

/** mm3 of cells whose centre lies beyond its reach along `way`; a border cell counts its share. */
function heldVolume(cavity: Field, way: Vec3, reach: (c: number) => number): number {
  const { grid, data: f } = cavity;
  const [x0, y0, z0] = grid.origin;
  const { step } = grid;
  let sum = 0;
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        if (!(f[c] > 0)) continue;
        const over = way[0] * (x0 + i * step) + way[1] * (y0 + j * step) + way[2] * (z0 + k * step) - reach(c);
        // A cell that the lip cuts counts in part, so that the figures move smoothly.
        if (over > -step / 2) sum += Math.min(1, 0.5 + f[c] / step) * Math.min(1, 0.5 + over / step);
      }
  return sum * step ** 3;
}

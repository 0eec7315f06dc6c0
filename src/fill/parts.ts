import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { pieces, volume } from '../field/integrate.ts';
import { distanceToLevel } from '../field/offset.ts';

/** A part with its litres and the mean of its cells, mm. */
export interface Spot {
  readonly volume_l: number;
  readonly at_mm: Vec3;
}

/** Keeps the largest part of { f > 0 }; the others are listed, largest first, and filled in. */
export function largestPart(f: Field): { cavity: Field; cutOff: Spot[]; volume: number } {
  const { grid } = f;
  const { labels, volumes } = pieces(f);
  if (volumes.length <= 1) return { cavity: f, cutOff: [], volume: volumes[0] ?? 0 };
  const data = f.data.slice();
  const { nx, ny, nz, step } = grid;
  for (let c = 0; c < labels.length; c++) {
    if (labels[c] <= 0) continue;
    // The border round a filled part must not read as a surface; a cell that also touches the part that stays keeps its value.
    data[c] = -step;
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    for (let z = Math.max(0, k - 1); z <= Math.min(nz - 1, k + 1); z++)
      for (let y = Math.max(0, j - 1); y <= Math.min(ny - 1, j + 1); y++)
        for (let x = Math.max(0, i - 1); x <= Math.min(nx - 1, i + 1); x++) {
          const d = x + nx * (y + ny * z);
          if (labels[d] < 0 && f.data[d] > -step && !touches(labels, grid, [x, y, z])) data[d] = -step;
        }
  }
  return { cavity: { grid, data }, cutOff: spots(f, labels, volumes, 1), volume: volumes[0] };
}

/** Whether any of the 27 cells round (i, j, k) belongs to part 0. */
function touches(labels: Int32Array, { nx, ny, nz }: Field['grid'], [i, j, k]: Vec3): boolean {
  for (let z = Math.max(0, k - 1); z <= Math.min(nz - 1, k + 1); z++)
    for (let y = Math.max(0, j - 1); y <= Math.min(ny - 1, j + 1); y++)
      for (let x = Math.max(0, i - 1); x <= Math.min(nx - 1, i + 1); x++) if (labels[x + nx * (y + ny * z)] === 0) return true;
  return false;
}

/** Parts from number `from` on, at most ten, each at the mean of its cells. Those under a thousandth of a litre are left out. */
function spots(f: Field, labels: Int32Array, volumes: Float64Array, from: number): Spot[] {
  const count = Math.min(volumes.length, from + 10);
  const sums = new Float64Array(4 * count);
  for (let c = 0; c < labels.length; c++) {
    const l = labels[c];
    if (l < from || l >= count) continue;
    const p = cellCentre(f.grid, c);
    for (let a = 0; a < 3; a++) sums[4 * l + a] += p[a];
    sums[4 * l + 3]++;
  }
  const out: Spot[] = [];
  for (let l = from; l < count; l++) {
    if (volumes[l] < 1e-3 * MM3_PER_LITRE) continue;
    const n = sums[4 * l + 3];
    out.push({ volume_l: volumes[l] / MM3_PER_LITRE, at_mm: [sums[4 * l] / n, sums[4 * l + 1] / n, sums[4 * l + 2] / n] });
  }
  return out;
}

/**
 * Places too thin for a cavity: body farther from the cavity than two walls and a rounded corner explain. What lies nearer can not be told from
 * a wall's own corner. mm3, and the largest places.
 */
export async function thinPlaces(
  body: Field,
  cavity: Field,
  wall: { through: number; leastRadius: number },
  context: Context,
): Promise<{ volume: number; places: Spot[] }> {
  const plain = 2 * wall.through + wall.leastRadius;
  const { data } = await distanceToLevel(cavity, 0, { levels: [-plain], sharp: false }, context);
  const deep: Field = { grid: body.grid, data: body.data.map((b, c) => Math.min(b, -data[c] - plain)) };
  const { labels, volumes } = pieces(deep);
  return { volume: volumes.reduce((sum, v) => sum + v, 0), places: spots(deep, labels, volumes, 0) };
}

/** mm3 between two walls. */
export async function interspaceOf(body: Field, wall: number, gap: number, context: Context): Promise<number> {
  const depth = await distanceToLevel(body, 0, { levels: [wall, wall + gap] }, context);
  return volume(depth, wall) - volume(depth, wall + gap);
}

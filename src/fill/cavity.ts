import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { distanceToLevel } from '../field/offset.ts';
import { rollBall } from '../space/roll.ts';

/** A round hole through the body for a tube: centre line as points in mm, diameter of the hole in mm. */
export interface Bore {
  readonly points: readonly Vec3[];
  readonly diameter: number;
}

/**
 * The cavity of a body: the points at least `wall` mm inside its surface; with `leastRadius`, of those only the ones that a ball of
 * that radius inside the cavity reaches. `body` is positive inside, mm; only its sign and its zero are used, so it need not be a
 * distance deep inside. The result is positive in the cavity and near its border a distance, mm. Where the body meets the grid's
 * edge the wall stands half a cell beyond the outermost centres.
 */
export async function cavityOf(body: Field, wall: number, leastRadius: number | null, context: Context): Promise<Field> {
  return cavityAt(await depthIn(body, [wall], leastRadius, context), wall, leastRadius, context);
}

/** Depth in a body, mm, from which the cavities of several walls can be had. */
export function depthIn(body: Field, walls: readonly number[], leastRadius: number | null, context: Context): Promise<Field> {
  const r = leastRadius ?? 0;
  return distanceToLevel(body, 0, { levels: [...new Set(walls.flatMap((w) => [w, w + r]))] }, context);
}

/** The cavity of one wall from the depth, which is used up. */
export async function cavityAt(depth: Field, wall: number, leastRadius: number | null, context: Context): Promise<Field> {
  const r = leastRadius ?? 0;
  if (r === 0) return shifted(depth, -wall);
  return rollBall(shifted(depth, -wall), r, 'anywhere', context);
}

/** Adds `by` mm to every cell, in place. */
function shifted(f: Field, by: number): Field {
  const { data } = f;
  for (let c = 0; c < data.length; c++) data[c] += by;
  return f;
}

/** The body less the holes: a new field, still positive inside; the body itself when there are none. */
export function withBores(body: Field, bores: readonly Bore[]): Field {
  if (bores.length === 0) return body;
  const { grid } = body;
  const data = body.data.slice();
  for (const bore of bores) {
    let c = 0;
    for (let k = 0; k < grid.nz; k++)
      for (let j = 0; j < grid.ny; j++)
        for (let i = 0; i < grid.nx; i++, c++) {
          if (data[c] < 0) continue;
          const [x, y, z] = grid.origin;
          const away = toLine(bore.points, x + i * grid.step, y + j * grid.step, z + k * grid.step) - bore.diameter / 2;
          if (away < data[c]) data[c] = away;
        }
  }
  return { grid, data };
}

/** Distance from a point to the line through `points`, mm. */
function toLine(points: readonly Vec3[], x: number, y: number, z: number): number {
  let least = Infinity;
  for (let i = 0; i + 1 < points.length || i === 0; i++) {
    const a = points[i];
    const b = points[i + 1] ?? a;
    const dx = b[0] - a[0];
    const dy = b[1] - a[1];
    const dz = b[2] - a[2];
    const along = dx * dx + dy * dy + dz * dz;
    const t = along > 0 ? Math.min(1, Math.max(0, ((x - a[0]) * dx + (y - a[1]) * dy + (z - a[2]) * dz) / along)) : 0;
    const ex = x - a[0] - t * dx;
    const ey = y - a[1] - t * dy;
    const ez = z - a[2] - t * dz;
    const d = ex * ex + ey * ey + ez * ez;
    if (d < least) least = d;
  }
  return Math.sqrt(least);
}

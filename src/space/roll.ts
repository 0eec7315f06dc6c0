import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { flood } from '../field/flood.ts';
import { distanceToLevel } from '../field/offset.ts';

/**
 * The room swept by a ball: all points within `radius` of a point y with f(y) >= radius that hangs together with a start.
 *
 * The core { f >= radius } is cut out with its creases (a plain grid would round them off and every fillet would come out
 * short), then grown by the radius with the distance kernel. The result is positive inside, mm, a distance near its border,
 * and never greater than f where it is positive, so no clearance is given away.
 */
export async function rollBall(f: Field, radius: number, start: readonly number[] | 'anywhere', context: Context): Promise<Field> {
  const core = start === 'anywhere' ? f : partFrom(f, radius, start);
  const room = await distanceToLevel(core, radius, [-radius], context);
  const out = room.data;
  for (let c = 0; c < out.length; c++) {
    const v = out[c] + radius;
    out[c] = Math.min(v, f.data[c]);
  }
  return room;
}

/** The field with everything at `level` or above that does not hang together with the start cells pushed below the level. */
export function partFrom(f: Field, level: number, start: readonly number[]): Field {
  const { reach } = flood(f, start, { floor: level });
  const data = reach.data;
  const below = level - f.grid.step;
  for (let c = 0; c < data.length; c++) data[c] = data[c] >= level || f.data[c] < level ? f.data[c] : below;
  return { grid: f.grid, data };
}

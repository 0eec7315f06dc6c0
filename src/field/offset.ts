import { allocateF32, type Context, checkCancelled } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import { lowerToDistance } from './distance.ts';
import { surface } from './surface.ts';

/** Farther than any two cells of the grid, mm. */
export const farAway = (g: Grid): number => g.step * Math.hypot(g.nx, g.ny, g.nz);

export interface LevelOptions {
  /** Signed distances, mm, at which the result will be cut. */
  readonly levels: readonly number[];
  /** Keep the level's creases. Default true. */
  readonly sharp?: boolean;
}

/**
 * Signed distance to the border of { f >= level }, positive inside, mm: the level's surface, creases kept, then the distance
 * kernel on its triangles. `f` need only be a distance near the level.
 *
 * Accurate within a cell of `levels` (signed, mm). Where all levels lie on one side, the other side is not worked out: it holds
 * f less the level there, which has the right sign. Everywhere -farAway when nothing lies above the level. Where the set meets the
 * grid's edge the border stands half a cell beyond the outermost centres.
 */
export async function distanceToLevel(f: Field, level: number, { levels, sharp = true }: LevelOptions, context: Context): Promise<Field> {
  checkCancelled(context);
  const { grid, data } = f;
  const out: Field = { grid, data: allocateF32(context.pool, cellCount(grid)) };
  const d = out.data;
  const skin = surface(f, level, { sharp });
  if (skin.indices.length === 0) {
    d.fill(-farAway(grid));
    return out;
  }
  // What is not asked for starts so low that the kernel passes it over.
  const inner = levels.some((l) => l >= 0);
  const outer = levels.some((l) => l <= 0);
  for (let c = 0; c < d.length; c++) d[c] = (data[c] >= level ? inner : outer) ? Infinity : -Infinity;
  await lowerToDistance(out, skin, { levels: levels.map(Math.abs), levelsOnly: true, offset: 0 }, context);
  for (let c = 0; c < d.length; c++) {
    if (d[c] === -Infinity) d[c] = data[c] - level;
    else if (!(data[c] >= level)) d[c] = -d[c];
  }
  return out;
}

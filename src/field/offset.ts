import { allocateF32, type Context, checkCancelled } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import { distanceToMesh } from './distance.ts';
import { surface } from './surface.ts';

/** Farther than any two cells of the grid, mm. */
export const farAway = (g: Grid): number => g.step * Math.hypot(g.nx, g.ny, g.nz);

/**
 * Signed distance to the border of { f >= level }, positive inside, mm: the level's surface, creases kept, then the distance
 * kernel on its triangles. `f` need only be a distance near the level. Accurate within a cell of `levels` (signed, mm).
 * Everywhere -farAway when nothing lies above the level. Where the set meets the grid's edge the border stands half a cell
 * beyond the outermost centres.
 */
export async function distanceToLevel(f: Field, level: number, levels: readonly number[], context: Context): Promise<Field> {
  checkCancelled(context);
  const { grid, data } = f;
  const skin = surface(f, level, { sharp: true });
  if (skin.indices.length === 0) {
    const out = allocateF32(context.pool, cellCount(grid));
    return { grid, data: out.fill(-farAway(grid)) };
  }
  const d = await distanceToMesh(skin, grid, { levels: levels.map(Math.abs), pad: grid.step, levelsOnly: true }, context);
  for (let c = 0; c < data.length; c++) if (!(data[c] >= level)) d.data[c] = -d.data[c];
  return d;
}

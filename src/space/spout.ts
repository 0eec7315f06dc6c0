import { ALONE, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { gridOver } from '../core/grid.ts';
import { joinMeshes, type Mesh, meshBox } from '../core/mesh.ts';
import { type Box3, boxSize } from '../core/vec.ts';
import { distanceToMesh } from '../field/distance.ts';
import { thinFor } from './skin.ts';

export interface SpoutInput {
  /** Everything that is on the vehicle when it is filled. */
  readonly meshes: readonly Mesh[];
  /** What is filled, mm. */
  readonly box: Box3;
  /** Radius that the spout needs, mm. */
  readonly radius: number;
}

/** Finest cell, mm: half a filler's spout. */
const FINEST = 15;
const MOST_CELLS = 1e6;
/** Triangles closer than this to each other, in cells, are one. */
const THINNING = 0.3;

/**
 * Distance, mm, from the room over a tank to all that stands there, for seeing whether a spout comes in along a straight line from above. The
 * grid is as wide as a line at 45 degrees needs to get out over the highest part; good to a quarter of a cell at `radius`.
 */
export const spoutTask: Task<SpoutInput, Field> = {
  name: 'spout.room',
  run: ({ meshes, box, radius }) => {
    const all = joinMeshes(meshes);
    const top = Math.max(box.max[2], meshBox(all).max[2]) + FINEST;
    const rise = top - box.min[2];
    const over: Box3 = {
      min: [box.min[0] - rise, box.min[1] - rise, box.min[2]],
      max: [box.max[0] + rise, box.max[1] + rise, top],
    };
    const step = Math.max(FINEST, Math.cbrt(boxSize(over).reduce((v, s) => v * s, 1) / MOST_CELLS));
    return distanceToMesh(thinFor(all, THINNING * step), gridOver(over, step), { levels: [radius], levelsOnly: true }, ALONE);
  },
};

import { ALONE, type Context, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid, gridOver } from '../core/grid.ts';
import { joinMeshes, type Mesh, meshBox } from '../core/mesh.ts';
import { boxSize, growBox } from '../core/vec.ts';
import { distanceToMesh } from '../field/distance.ts';
import { distanceToLevel } from '../field/offset.ts';
import { partFrom } from './roll.ts';

/** Cells of the coarse grid, at most; and the finest coarse cell as a multiple of the fine one. */
const MOST_CELLS = 1.5e6;
const COARSENING = 4;

export interface SkinInput {
  readonly meshes: readonly Mesh[];
  readonly radius: number;
  /** Step of the grid on which the skin will be used, mm. */
  readonly fineStep: number;
}

/** The skin as one task, beside others. */
export const skinTask: Task<SkinInput, Field> = { name: 'skin.field', run: (input) => skinField(input, ALONE) };

/**
 * The skin: what a ball of `radius` mm, rolled from outside over everything, cannot touch. Signed distance to its border, positive
 * inside, mm, on a coarse grid over all scans; the centres that the ball can take are those connected to the grid's edge.
 */
export async function skinField({ meshes, radius, fineStep }: SkinInput, context: Context): Promise<Field> {
  const all = joinMeshes(meshes);
  const box = meshBox(all);
  const size = boxSize(growBox(box, radius));
  const least = Math.cbrt((size[0] * size[1] * size[2]) / MOST_CELLS);
  const step = Math.min(Math.max(least, fineStep * COARSENING), radius / 6);
  const grid = gridOver(growBox(box, radius + 3 * step), step);
  const d = await distanceToMesh(thinFor(all, step * THINNING), grid, { levels: [radius], levelsOnly: true }, context);
  const centres = partFrom(d, radius, edgeCells(grid));
  const toCentre = await distanceToLevel(centres, radius, { levels: [-radius] }, context);
  const out = toCentre.data;
  for (let c = 0; c < out.length; c++) out[c] = -out[c] - radius;
  return toCentre;
}

/** Triangles closer than this to each other, in coarse cells, are one: off by under 0.1 mm a ball's radius away. */
const THINNING = 0.3;

/** Of the triangles smaller than `size` mm keeps one for each cube of that size. */
export function thinFor(mesh: Mesh, size: number): Mesh {
  const { positions: p, indices: t } = mesh;
  const box = meshBox(mesh);
  const n = [0, 1, 2].map((a) => Math.floor((box.max[a] - box.min[a]) / size) + 1);
  const taken = new Uint8Array(Math.ceil((n[0] * n[1] * n[2]) / 8));
  const kept = new Uint32Array(t.length);
  let count = 0;
  for (let i = 0; i < t.length; i += 3) {
    let cube = 0;
    let small = true;
    for (let a = 2; a >= 0; a--) {
      const x = p[t[i] * 3 + a];
      const y = p[t[i + 1] * 3 + a];
      const z = p[t[i + 2] * 3 + a];
      small &&= Math.max(x, y, z) - Math.min(x, y, z) < size;
      cube = cube * n[a] + Math.floor(((x + y + z) / 3 + mesh.origin[a] - box.min[a]) / size);
    }
    if (small && taken[cube >> 3] & (1 << (cube & 7))) continue;
    if (small) taken[cube >> 3] |= 1 << (cube & 7);
    kept[count++] = t[i];
    kept[count++] = t[i + 1];
    kept[count++] = t[i + 2];
  }
  return { ...mesh, indices: kept.slice(0, count) };
}

/** Indices of the cells on the six sides of the grid. */
export function edgeCells({ nx, ny, nz }: Grid): number[] {
  const out: number[] = [];
  const n = cellCount({ origin: [0, 0, 0], step: 1, nx, ny, nz });
  for (let c = 0; c < n; c++) {
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    if (i === 0 || j === 0 || k === 0 || i === nx - 1 || j === ny - 1 || k === nz - 1) out.push(c);
  }
  return out;
}

import type { Field } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import { type Mesh, meshBox } from '../core/mesh.ts';
import { type Box3, scale, sub } from '../core/vec.ts';

/** Cells of the target grid, from inclusive to exclusive, that the run's own lattice has; may lie outside the grid. */
export interface Window {
  readonly from: readonly number[];
  readonly to: readonly number[];
}

/** The mesh's box in cells of the grid, cell centres at whole numbers. */
export function boxInCells(mesh: Mesh, { origin, step }: Grid): Box3 {
  const { min, max } = meshBox(mesh);
  return { min: scale(sub(min, origin), 1 / step), max: scale(sub(max, origin), 1 / step) };
}

/** The window of the cells that a mesh in `box` (in cells) could lower at all, and the greatest of their values, mm; null without any. */
export function openCells(
  { grid, data }: Field,
  { min, max }: Box3,
  { offset, floor = -Infinity }: { readonly offset: number; readonly floor?: number },
): (Window & { readonly most: number }) | null {
  const { nx, ny, nz, step } = grid;
  const from = [nx, ny, nz];
  const to = [0, 0, 0];
  let most = -Infinity;
  const away = (i: number, a: number): number => Math.max(min[a] - i, 0, i - max[a]) * step;
  const along = Float64Array.from({ length: nx }, (_, i) => away(i, 0) ** 2);
  let c = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const aside = away(j, 1) ** 2 + away(k, 2) ** 2;
      let first = -1;
      let last = -1;
      for (let i = 0; i < nx; i++, c++) {
        const v = data[c];
        const room = v + offset;
        if (v <= floor || room <= 0 || room * room <= aside + along[i]) continue;
        if (first < 0) first = i;
        last = i;
        if (v > most) most = v;
      }
      if (first < 0) continue;
      from[0] = Math.min(from[0], first);
      to[0] = Math.max(to[0], last + 1);
      from[1] = Math.min(from[1], j);
      to[1] = Math.max(to[1], j + 1);
      from[2] = Math.min(from[2], k);
      to[2] = k + 1;
    }
  return most === -Infinity ? null : { from, to, most };
}

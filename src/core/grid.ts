import type { Box3, Vec3 } from './vec.ts';

/**
 * A regular lattice of cell centres. `origin` is the CENTRE of cell (0, 0, 0), mm; cell (i, j, k) sits at
 * origin + step * (i, j, k) and has index i + nx * (j + ny * k): x runs fastest.
 */
export interface Grid {
  readonly origin: Vec3;
  /** Distance between neighbouring cell centres, mm; cells are cubes. */
  readonly step: number;
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
}

export const cellCount = (g: Grid): number => g.nx * g.ny * g.nz;

/** The smallest grid of cells of `step` mm that covers `box`, its cells centred about the box. */
export function gridOver(box: Box3, step: number): Grid {
  const n = [0, 1, 2].map((a) => Math.max(1, Math.ceil((box.max[a] - box.min[a]) / step - 1e-9)));
  const at = (a: number): number => (box.min[a] + box.max[a]) / 2 - ((n[a] - 1) / 2) * step;
  return { origin: [at(0), at(1), at(2)], step, nx: n[0], ny: n[1], nz: n[2] };
}

/** The box that the cells fill, mm. */
export function gridBox(g: Grid): Box3 {
  const h = g.step / 2;
  const [x, y, z] = g.origin;
  return {
    min: [x - h, y - h, z - h],
    max: [x + g.step * g.nx - h, y + g.step * g.ny - h, z + g.step * g.nz - h],
  };
}

/** Centre of the cell with index `index`, mm. */
export function cellCentre(g: Grid, index: number): Vec3 {
  const i = index % g.nx;
  const j = Math.floor(index / g.nx) % g.ny;
  const k = Math.floor(index / (g.nx * g.ny));
  return [g.origin[0] + i * g.step, g.origin[1] + j * g.step, g.origin[2] + k * g.step];
}

/** Index of the cell that holds `p`, or -1 outside the grid. */
export function cellAt(g: Grid, p: Vec3): number {
  const i = Math.round((p[0] - g.origin[0]) / g.step);
  const j = Math.round((p[1] - g.origin[1]) / g.step);
  const k = Math.round((p[2] - g.origin[2]) / g.step);
  if (!(i >= 0 && j >= 0 && k >= 0 && i < g.nx && j < g.ny && k < g.nz)) return -1;
  return i + g.nx * (j + g.ny * k);
}

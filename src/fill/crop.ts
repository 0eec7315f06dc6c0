import { type Field, sampleField } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';

/** The part of the grid that holds { f > 0 } with `room` cells round it; the same cells, so nothing is resampled. An empty set keeps one cell. */
export function cropped(f: Field, room = 3): Field {
  const { nx, ny, nz, step, origin } = f.grid;
  const lo = [nx, ny, nz];
  const hi = [-1, -1, -1];
  let c = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++, c++) {
        if (!(f.data[c] > 0)) continue;
        if (i < lo[0]) lo[0] = i;
        if (i > hi[0]) hi[0] = i;
        if (j < lo[1]) lo[1] = j;
        if (j > hi[1]) hi[1] = j;
        if (k < lo[2]) lo[2] = k;
        if (k > hi[2]) hi[2] = k;
      }
  const size = [nx, ny, nz];
  const from = lo.map((v) => (hi[0] < 0 ? 0 : Math.max(0, v - room)));
  const to = hi.map((v, a) => (hi[0] < 0 ? 1 : Math.min(size[a], v + room + 1)));
  const grid: Grid = {
    origin: [origin[0] + from[0] * step, origin[1] + from[1] * step, origin[2] + from[2] * step],
    step,
    nx: to[0] - from[0],
    ny: to[1] - from[1],
    nz: to[2] - from[2],
  };
  const data = new Float32Array(cellCount(grid));
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++) {
      const at = from[0] + nx * (from[1] + j + ny * (from[2] + k));
      data.set(f.data.subarray(at, at + grid.nx), grid.nx * (j + grid.ny * k));
    }
  return { grid, data };
}

/**
 * The field on cells so much larger that no more than `most` are left; the field itself when it has no more. Every new centre is read
 * between the old ones. Good for volumes to second order; necks under two of the new cells may close.
 */
export function thinned(f: Field, most: number): Field {
  const { grid } = f;
  const by = Math.cbrt(cellCount(grid) / most);
  if (by <= 1) return f;
  const step = grid.step * by;
  const along = (n: number): number => Math.max(1, Math.ceil(n / by - 1e-9));
  const coarse: Grid = {
    origin: [grid.origin[0] + (step - grid.step) / 2, grid.origin[1] + (step - grid.step) / 2, grid.origin[2] + (step - grid.step) / 2],
    step,
    nx: along(grid.nx),
    ny: along(grid.ny),
    nz: along(grid.nz),
  };
  const data = new Float32Array(cellCount(coarse));
  const p: [number, number, number] = [0, 0, 0];
  let c = 0;
  for (let k = 0; k < coarse.nz; k++) {
    p[2] = coarse.origin[2] + k * step;
    for (let j = 0; j < coarse.ny; j++) {
      p[1] = coarse.origin[1] + j * step;
      for (let i = 0; i < coarse.nx; i++) {
        p[0] = coarse.origin[0] + i * step;
        data[c++] = sampleField(f, p);
      }
    }
  }
  return { grid: coarse, data };
}

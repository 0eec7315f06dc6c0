import { cellCount, type Grid } from './grid.ts';
import type { Vec3 } from './vec.ts';

/** One number a cell, mm, positive = free. */
export interface Field {
  readonly grid: Grid;
  readonly data: Float32Array;
}

/** One byte a cell, 0 or 1. */
export interface Mask {
  readonly grid: Grid;
  readonly data: Uint8Array;
}

/**
 * The field between cell centres, trilinear; held constant beyond the outermost centres.
 * Second order where the field is smooth, first order across its creases.
 */
export const sampleField = (f: Field, p: Vec3): number => sampleAt(f, p[0], p[1], p[2]);

/** The same at (px, py, pz), for hot loops. */
export function sampleAt(f: Field, px: number, py: number, pz: number): number {
  const { origin, step, nx, ny, nz } = f.grid;
  const x = Math.min(Math.max((px - origin[0]) / step, 0), nx - 1);
  const y = Math.min(Math.max((py - origin[1]) / step, 0), ny - 1);
  const z = Math.min(Math.max((pz - origin[2]) / step, 0), nz - 1);
  const i = Math.min(Math.floor(x), Math.max(nx - 2, 0));
  const j = Math.min(Math.floor(y), Math.max(ny - 2, 0));
  const k = Math.min(Math.floor(z), Math.max(nz - 2, 0));
  const dx = nx > 1 ? 1 : 0;
  const dy = ny > 1 ? nx : 0;
  const dz = nz > 1 ? nx * ny : 0;
  const u = x - i;
  const v = y - j;
  const w = z - k;
  const d = f.data;
  const c = i + nx * (j + ny * k);
  const a00 = d[c] * (1 - u) + d[c + dx] * u;
  const a10 = d[c + dy] * (1 - u) + d[c + dy + dx] * u;
  const a01 = d[c + dz] * (1 - u) + d[c + dz + dx] * u;
  const a11 = d[c + dz + dy] * (1 - u) + d[c + dz + dy + dx] * u;
  return (a00 * (1 - v) + a10 * v) * (1 - w) + (a01 * (1 - v) + a11 * v) * w;
}

/** A new field with the value `value` everywhere (or what `of` gives at each cell centre), on plain memory. */
export function fieldOf(grid: Grid, value: number | ((x: number, y: number, z: number) => number)): Field {
  const data = new Float32Array(cellCount(grid));
  if (typeof value === 'number') return { grid, data: data.fill(value) };
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++)
        data[c++] = value(grid.origin[0] + i * grid.step, grid.origin[1] + j * grid.step, grid.origin[2] + k * grid.step);
  return { grid, data };
}

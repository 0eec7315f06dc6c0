import type { Vec3 } from '../core/vec.ts';

/** Largest plain solids in a small mask (1 = free, x fastest). Exact on the mask; starting points for the search on the field. */

/** Cells lo..hi, both within. */
export interface Cuboid {
  readonly lo: Vec3;
  readonly hi: Vec3;
}

/**
 * The largest box of free cells: for every pair of a lowest and a highest layer the cells free in all layers between, and in them the largest rectangle
 * under a histogram by a stack. O(nz^2 nx ny).
 */
export function largestCuboid(free: Uint8Array, [nx, ny, nz]: Vec3): Cuboid | null {
  const all = new Uint8Array(nx * ny);
  const height = new Int32Array(nx + 1);
  const stack = new Int32Array(nx + 2);
  let best = 0;
  let found: Cuboid | null = null;
  for (let from = 0; from < nz; from++) {
    all.fill(1);
    for (let to = from; to < nz; to++) {
      const layer = to * nx * ny;
      for (let i = 0; i < nx * ny; i++) all[i] &= free[layer + i];
      // Not even the whole layer would do better.
      if ((nz - from) * nx * ny <= best) break;
      height.fill(0);
      for (let j = 0; j < ny; j++) {
        let depth = 0;
        for (let i = 0; i <= nx; i++) {
          height[i] = i < nx && all[i + nx * j] ? height[i] + 1 : 0;
          while (depth > 0 && height[stack[depth - 1]] >= height[i]) {
            const h = height[stack[--depth]];
            const left = depth > 0 ? stack[depth - 1] + 1 : 0;
            const cells = h * (i - left) * (to - from + 1);
            if (cells <= best) continue;
            best = cells;
            found = { lo: [left, j - h + 1, from], hi: [i - 1, j, to] };
          }
          stack[depth++] = i;
        }
      }
    }
  }
  return found;
}

/** An upright cylinder on a mask: centre cell, radius in cells to the nearest blocked cell's edge, layers from..to. */
export interface Upright {
  readonly x: number;
  readonly y: number;
  readonly radius: number;
  readonly from: number;
  readonly to: number;
}

/** The largest upright cylinder: for every pair of layers the largest disc in the cells free in all of them, by a distance transform. */
export function largestUpright(free: Uint8Array, [nx, ny, nz]: Vec3): Upright | null {
  const all = new Uint8Array(nx * ny);
  const far = new Float64Array(nx * ny);
  let best = 0;
  let found: Upright | null = null;
  for (let from = 0; from < nz; from++) {
    all.fill(1);
    for (let to = from; to < nz; to++) {
      const layer = to * nx * ny;
      for (let i = 0; i < nx * ny; i++) all[i] &= free[layer + i];
      discDistance(all, nx, ny, far);
      for (let c = 0; c < nx * ny; c++) {
        const r = Math.sqrt(far[c]) - 0.5;
        if (!(r > 0) || r * r * (to - from + 1) <= best) continue;
        best = r * r * (to - from + 1);
        found = { x: c % nx, y: Math.floor(c / nx), radius: r, from, to };
      }
    }
  }
  return found;
}

/** Squared distance, in cells, from each cell to the nearest blocked cell; beyond the edge all is blocked. Rows, then columns by trying every row. */
function discDistance(all: Uint8Array, nx: number, ny: number, out: Float64Array): void {
  for (let j = 0; j < ny; j++) {
    let away = 0;
    for (let i = 0; i < nx; i++) {
      away = all[i + nx * j] ? away + 1 : 0;
      out[i + nx * j] = away;
    }
    away = 0;
    for (let i = nx - 1; i >= 0; i--) {
      away = all[i + nx * j] ? away + 1 : 0;
      out[i + nx * j] = Math.min(out[i + nx * j], away) ** 2;
    }
  }
  const column = new Float64Array(ny);
  for (let i = 0; i < nx; i++) {
    for (let j = 0; j < ny; j++) column[j] = out[i + nx * j];
    for (let j = 0; j < ny; j++) {
      let least = Math.min(j + 1, ny - j) ** 2;
      for (let d = 0; d * d < least && (j - d >= 0 || j + d < ny); d++) {
        if (j - d >= 0) least = Math.min(least, column[j - d] + d * d);
        if (j + d < ny) least = Math.min(least, column[j + d] + d * d);
      }
      out[i + nx * j] = least;
    }
  }
}

import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';

/** The neighbours that come before a cell in cell order: dx, dy, dz each. */
export const BACK_6 = [
  [-1, 0, 0],
  [0, -1, 0],
  [0, 0, -1],
];
export const BACK_26 = [[-1, 0, 0], ...[-1, 0, 1].map((x) => [x, -1, 0]), ...[-1, 0, 1].flatMap((y) => [-1, 0, 1].map((x) => [x, y, -1]))];

/** Numbers the connected components of a mask in cell order, by union-find on provisional labels; -1 outside the mask. */
export function components({ nx, ny, nz }: Grid, mask: Uint8Array, back: readonly number[][]): { labels: Int32Array; count: number } {
  const labels = new Int32Array(mask.length).fill(-1);
  const up: number[] = [];
  const find = (a: number): number => {
    let l = a;
    while (up[l] !== l) {
      up[l] = up[up[l]];
      l = up[l];
    }
    return l;
  };
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const row = nx * (j + ny * k);
      for (let i = 0; i < nx; i++) {
        if (!mask[row + i]) continue;
        let label = -1;
        for (let b = 0; b < back.length; b++) {
          const [dx, dy, dz] = back[b];
          const x = i + dx;
          if (x < 0 || x >= nx || j + dy < 0 || j + dy >= ny || k + dz < 0) continue;
          const other = labels[row + x + nx * (dy + ny * dz)];
          if (other < 0 || other === label) continue;
          if (label < 0) {
            label = find(other);
            continue;
          }
          const root = find(other);
          if (root === label) continue;
          up[Math.max(root, label)] = Math.min(root, label);
          label = Math.min(root, label);
        }
        if (label < 0) {
          label = up.length;
          up.push(label);
        }
        labels[row + i] = label;
      }
    }
  const number = new Int32Array(up.length);
  let count = 0;
  for (let l = 0; l < up.length; l++) number[l] = up[l] === l ? count++ : number[find(l)];
  for (let c = 0; c < labels.length; c++) if (labels[c] >= 0) labels[c] = number[labels[c]];
  return { labels, count };
}

/** 1 for the cells of { field > level }. */
export function insideOf(field: Field, level: number): Uint8Array {
  const inside = new Uint8Array(cellCount(field.grid));
  for (let c = 0; c < inside.length; c++) inside[c] = field.data[c] > level ? 1 : 0;
  return inside;
}

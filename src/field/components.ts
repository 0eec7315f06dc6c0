import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';

/** The neighbours that come before a cell in cell order: dx, dy, dz each, flat. */
export const BACK_6 = Int8Array.of(-1, 0, 0, 0, -1, 0, 0, 0, -1);
export const BACK_26 = Int8Array.from([
  ...[-1, 0, 0],
  ...[-1, 0, 1].flatMap((x) => [x, -1, 0]),
  ...[-1, 0, 1].flatMap((y) => [-1, 0, 1].flatMap((x) => [x, y, -1])),
]);

/** Numbers the connected components of a mask in cell order, by union-find on provisional labels; -1 outside the mask. */
export function components({ nx, ny, nz }: Grid, mask: Uint8Array, back: Int8Array): { labels: Int32Array; count: number } {
  const labels = new Int32Array(mask.length).fill(-1);
  const up: number[] = [];
  const offset = new Int32Array(back.length / 3);
  for (let b = 0; b < offset.length; b++) offset[b] = back[3 * b] + nx * (back[3 * b + 1] + ny * back[3 * b + 2]);
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
        const edge = i === 0 || i === nx - 1 || j === 0 || j === ny - 1 || k === 0;
        for (let b = 0; b < offset.length; b++) {
          if (edge) {
            const x = i + back[3 * b];
            const y = j + back[3 * b + 1];
            if (x < 0 || x >= nx || y < 0 || y >= ny || k + back[3 * b + 2] < 0) continue;
          }
          const other = labels[row + i + offset[b]];
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

import type { Field } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import { BACK_6, BACK_26, components, insideOf } from './components.ts';

/**
 * The Euler number of { field > level } and what it is made of. Cells of the set hang together through faces (6 neighbours),
 * cells outside it through faces, edges and corners (26 neighbours); what lies beyond the grid is outside. The two go
 * together: Toriwaki & Yonekura, Euler Number and Connectivity Indexes of a Three Dimensional Digital Picture, Forma 17
 * (2002) 183-209.
 */
export interface Euler {
  readonly pieces: number;
  /** Independent holes right through the set, as in a ring or between a ladder's rungs. */
  readonly holes: number;
  /** Closed hollows. */
  readonly cavities: number;
  /** pieces - holes + cavities */
  readonly euler: number;
}

/** Euler number and what it is made of, for { field > level }. */
export function euler(field: Field, level = 0): Euler {
  const inside = insideOf(field, level);
  const number = eulerOfCells(field.grid, inside);
  const { count: pieces } = components(field.grid, inside, BACK_6);
  const cavities = cavitiesOf(field.grid, inside);
  return { pieces, holes: pieces + cavities - number, cavities, euler: number };
}

/** Cells less face pairs plus squares of four less cubes of eight, all wholly in the set. */
function eulerOfCells({ nx, ny, nz }: Grid, inside: Uint8Array): number {
  const dy = nx;
  const dz = nx * ny;
  let sum = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++) {
        const c = i + dy * j + dz * k;
        if (!inside[c]) continue;
        const x = i + 1 < nx ? inside[c + 1] : 0;
        const y = j + 1 < ny ? inside[c + dy] : 0;
        const z = k + 1 < nz ? inside[c + dz] : 0;
        const xy = x & y & (x && y ? inside[c + 1 + dy] : 0);
        const yz = y & z & (y && z ? inside[c + dy + dz] : 0);
        const zx = z & x & (z && x ? inside[c + dz + 1] : 0);
        const cube = xy & yz & zx & (xy && yz ? inside[c + 1 + dy + dz] : 0);
        sum += 1 - x - y - z + xy + yz + zx - cube;
      }
  return sum;
}

/** Pieces of the outside that do not hang together with what lies beyond the grid. */
function cavitiesOf(grid: Grid, inside: Uint8Array): number {
  const outside = inside.map((v) => 1 - v);
  const { labels, count } = components(grid, outside, BACK_26);
  const open = new Uint8Array(count);
  const { nx, ny, nz } = grid;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const row = nx * (j + ny * k);
      const stride = k === 0 || k === nz - 1 || j === 0 || j === ny - 1 ? 1 : Math.max(1, nx - 1);
      for (let i = 0; i < nx; i += stride) if (labels[row + i] >= 0) open[labels[row + i]] = 1;
    }
  return open.reduce((n, o) => n + (o ? 0 : 1), 0);
}

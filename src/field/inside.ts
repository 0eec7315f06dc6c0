import { allocateF32, allocateI32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Field, Mask } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import { type WindingTree, windingNumber } from './winding.ts';

/**
 * Which cells lie inside a scan: winding number beyond one half, either way round. The number is worked out only on every STRIDE-th cell of each
 * axis; a cell takes the answer of such a node when the ball round the cell as large as its distance to the surface holds the
 * node, or the answer of a neighbour when the surface cannot pass between the two. Cells closer to the surface than that stay 0.
 *
 * A hole in the scan lets the number fall gradually from 1 to 0 across the opening, so the border drawn there is good to STRIDE cells.
 */
const STRIDE = 4;

interface Lattice {
  readonly tree: WindingTree;
  readonly grid: Grid;
  readonly from: number;
  readonly to: number;
}

/** 1 where the winding number of `tree` exceeds one half or lies below minus one half. `distance` is the unsigned distance to the same scan on the same grid, mm. */
export async function insideOf(tree: WindingTree, distance: Field, context: Context): Promise<Mask> {
  const { grid } = distance;
  const coarse: Grid = {
    origin: grid.origin,
    step: grid.step * STRIDE,
    nx: Math.ceil(grid.nx / STRIDE),
    ny: Math.ceil(grid.ny / STRIDE),
    nz: Math.ceil(grid.nz / STRIDE),
  };
  const { pool } = context;
  // Bulk data go to where every worker sees them, instead of being copied to each.
  const corners = allocateF32(pool, tree.corners.length);
  corners.set(tree.corners);
  const nodes = new Float64Array(pool.allocate(tree.nodes.byteLength));
  nodes.set(tree.nodes);
  const links = allocateI32(pool, tree.links.length);
  links.set(tree.links);
  const shared: WindingTree = { origin: tree.origin, corners, nodes, links };
  const parts = slabs(coarse.nz, pool.size === 1 ? 1 : pool.size * 4);
  const planes = await pool.map(
    latticeTask,
    parts.map((s) => ({ tree: shared, grid: coarse, ...s })),
  );
  checkCancelled(context);
  const node = new Uint8Array(cellCount(coarse));
  planes.forEach((bytes, i) => {
    node.set(bytes, parts[i].from * coarse.nx * coarse.ny);
  });
  return { grid, data: spread(distance, coarse, node) };
}

function spread(distance: Field, coarse: Grid, node: Uint8Array): Uint8Array {
  const { grid, data: d } = distance;
  const { nx, ny, nz, step } = grid;
  const out = new Uint8Array(d.length);
  const known = new Uint8Array(d.length);
  let c = 0;
  for (let k = 0; k < nz; k++) {
    const ck = Math.min(Math.round(k / STRIDE), coarse.nz - 1);
    for (let j = 0; j < ny; j++) {
      const cj = Math.min(Math.round(j / STRIDE), coarse.ny - 1);
      for (let i = 0; i < nx; i++, c++) {
        const ci = Math.min(Math.round(i / STRIDE), coarse.nx - 1);
        const gap = step * Math.hypot(i - ci * STRIDE, j - cj * STRIDE, k - ck * STRIDE);
        if (d[c] < gap || d[c] < step / 2) continue;
        known[c] = 1;
        out[c] = node[ci + coarse.nx * (cj + coarse.ny * ck)];
      }
    }
  }
  // The rest learn from neighbours that the surface cannot part from them, breadth first, in cell order.
  const offset = [-1, 1, -nx, nx, -nx * ny, nx * ny];
  let front: number[] = [];
  for (let i = 0; i < d.length; i++) if (known[i] && d[i] < STRIDE * 2 * step) front.push(i);
  while (front.length > 0) {
    const next: number[] = [];
    for (const p of front) {
      const i = p % nx;
      const j = Math.floor(p / nx) % ny;
      const k = Math.floor(p / (nx * ny));
      for (let a = 0; a < 6; a++) {
        if ((a === 0 && i === 0) || (a === 1 && i === nx - 1) || (a === 2 && j === 0)) continue;
        if ((a === 3 && j === ny - 1) || (a === 4 && k === 0) || (a === 5 && k === nz - 1)) continue;
        const q = p + offset[a];
        if (known[q] || d[p] + d[q] <= step) continue;
        known[q] = 1;
        out[q] = out[p];
        next.push(q);
      }
    }
    front = next;
  }
  return out;
}

function lattice({ tree, grid, from, to }: Lattice): Uint8Array {
  const out = new Uint8Array(grid.nx * grid.ny * (to - from));
  let c = 0;
  for (let k = from; k < to; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++)
        // Either way round: many a scan has its faces inwards.
        out[c++] =
          Math.abs(windingNumber(tree, [grid.origin[0] + i * grid.step, grid.origin[1] + j * grid.step, grid.origin[2] + k * grid.step])) >
          0.5
            ? 1
            : 0;
  return out;
}

export const latticeTask: Task<Lattice, Uint8Array> = { name: 'inside.lattice', run: lattice };

import { allocateF32, allocateI32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Field, Mask } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import { boxOfPositions } from '../core/mesh.ts';
import type { Box3, Vec3 } from '../core/vec.ts';
import { type WindingTree, windingNumber } from './winding.ts';

/**
 * Which cells lie inside a scan: winding number beyond one half, either way round. The number is worked out only on every STRIDE-th cell of each
 * axis; a cell takes the answer of such a node when the ball round the cell as large as its distance to the surface holds the
 * node, or the answer of a neighbour when the surface cannot pass between the two. Cells closer to the surface than that stay 0.
 *
 * A hole in the scan lets the number fall gradually from 1 to 0 across the opening, so the border drawn there is good to STRIDE cells.
 */
const STRIDE = 4;
/** Up to here, in cells, distances are exact; beyond they may be a cell too large. */
const EXACT = 1.5;

interface Lattice {
  readonly tree: WindingTree;
  /** Of the scan, mm: seen from outside it a surface fills at most half the sphere. */
  readonly box: Box3;
  readonly grid: Grid;
  readonly from: number;
  readonly to: number;
}

/**
 * 1 where the winding number of `tree` exceeds one half or lies below minus one half. `distance` is the unsigned distance to the same scan on
 * the same grid, mm; accurate near the surface, elsewhere it may be up to a cell too large.
 */
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
  const box = boxOfPositions(shared.origin, shared.corners);
  const parts = slabs(coarse.nz, pool.size === 1 ? 1 : pool.size * 4);
  const planes = await pool.map(
    latticeTask,
    parts.map((s) => ({ tree: shared, box, grid: coarse, ...s })),
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
  const nodeOf = (i: number, last: number): number => Math.min(Math.round(i / STRIDE), last - 1);
  const columns = Int32Array.from({ length: nx }, (_, i) => nodeOf(i, coarse.nx));
  // A queue of cells, each once: those whose node speaks for them and that have a neighbour to tell, then whoever learns from them.
  const queue = new Int32Array(d.length);
  let count = 0;
  let c = 0;
  for (let k = 0; k < nz; k++) {
    const ck = nodeOf(k, coarse.nz);
    for (let j = 0; j < ny; j++) {
      const cj = nodeOf(j, coarse.ny);
      const aside = (j - cj * STRIDE) ** 2 + (k - ck * STRIDE) ** 2;
      const row = coarse.nx * (cj + coarse.ny * ck);
      for (let i = 0; i < nx; i++, c++) {
        const gap = d[c] / step;
        const safe = gap <= EXACT ? gap : Math.max(EXACT, gap - 1);
        const ci = columns[i];
        if (safe < 0.5 || safe * safe < aside + (i - ci * STRIDE) ** 2) continue;
        known[c] = 1;
        out[c] = node[row + ci];
        if (safe < 2 * STRIDE) queue[count++] = c;
      }
    }
  }
  // The rest learn from neighbours that the surface cannot part from them, breadth first, in cell order.
  const plane = nx * ny;
  const tell = (p: number, q: number): void => {
    if (known[q] || d[p] + d[q] <= step) return;
    known[q] = 1;
    out[q] = out[p];
    queue[count++] = q;
  };
  for (let n = 0; n < count; n++) {
    const p = queue[n];
    const i = p % nx;
    const j = Math.floor(p / nx) % ny;
    if (i > 0) tell(p, p - 1);
    if (i < nx - 1) tell(p, p + 1);
    if (j > 0) tell(p, p - nx);
    if (j < ny - 1) tell(p, p + nx);
    if (p >= plane) tell(p, p - plane);
    if (p < d.length - plane) tell(p, p + plane);
  }
  return out;
}

function lattice({ tree, box, grid, from, to }: Lattice): Uint8Array {
  const { origin, step, nx, ny } = grid;
  const out = new Uint8Array(nx * ny * (to - from));
  let c = 0;
  for (let k = from; k < to; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++, c++) {
        const p: Vec3 = [origin[0] + i * step, origin[1] + j * step, origin[2] + k * step];
        // Either way round: many a scan has its faces inwards.
        if (p.every((v, a) => v > box.min[a] && v < box.max[a])) out[c] = Math.abs(windingNumber(tree, p)) > 0.5 ? 1 : 0;
      }
  return out;
}

export const latticeTask: Task<Lattice, Uint8Array> = { name: 'inside.lattice', run: lattice };

import { ALONE, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, cellCount, type Grid } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Box3 } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { insideOf } from '../field/inside.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import { thinnedMesh } from './thin.ts';

/**
 * Slack to one scan on the grid over all scans: one task a scan, so that all of it runs beside the others. On the demo (1.06M triangles, 1.2M cells)
 * the distances take 1.9 s of processor time in all, winding numbers of scans thinned to half a cell 2 s. Distances that are accurate near zero
 * only were tried: 1.2 s, but sides were then told wrongly inside thick parts.
 */
export interface SlackAsk {
  readonly mesh: Mesh;
  /** Box of the mesh, mm. */
  readonly box: Box3;
  readonly grid: Grid;
  /** What is taken from the distance: sliding clearance, doubt, radius of points; mm. */
  readonly offset: number;
  /** The greatest slack that is told, mm. */
  readonly most: number;
  /** Whether what the scan encloses is solid. */
  readonly solid: boolean;
}

/**
 * Distance less the offset, mm, no greater than `most`. Negative all through what a solid scan encloses: on a grid this coarse a tube's wall alone would be too thin to stop anything.
 */
export const slackTask: Task<SlackAsk, Field> = {
  name: 'obstacle.slack',
  run: async ({ mesh, box, grid, offset, most, solid }) => {
    const field: Field = { grid, data: new Float32Array(cellCount(grid)).fill(most + offset) };
    const { data } = field;
    await lowerToDistance(field, mesh, { levels: [0], offset: 0 }, ALONE);
    if (solid) await turnInside(field, mesh, box);
    for (let c = 0; c < data.length; c++) data[c] -= offset;
    return field;
  },
};

/** Makes the distance negative where the scan encloses the cell: only cells in its box can be, and it is seen from at least a cell away. */
async function turnInside({ grid, data }: Field, mesh: Mesh, box: Box3): Promise<void> {
  const size = [grid.nx, grid.ny, grid.nz];
  const at = (v: number, a: number): number => (v - grid.origin[a]) / grid.step;
  const first = size.map((n, a) => Math.min(Math.max(Math.floor(at(box.min[a], a)), 0), n - 1));
  const [nx, ny, nz] = size.map((n, a) => Math.min(Math.max(Math.ceil(at(box.max[a], a)), 0), n - 1) - first[a] + 1);
  const origin = cellCentre(grid, first[0] + grid.nx * (first[1] + grid.ny * first[2]));
  const part: Field = { grid: { origin, step: grid.step, nx, ny, nz }, data: new Float32Array(nx * ny * nz) };
  const row = (j: number, k: number): number => first[0] + grid.nx * (first[1] + j + grid.ny * (first[2] + k));
  for (let k = 0; k < nz; k++) for (let j = 0; j < ny; j++) part.data.set(data.subarray(row(j, k), row(j, k) + nx), nx * (j + ny * k));
  const tree = buildWinding(thinnedMesh(mesh, grid.step / THINNED));
  const inside = await insideOf(tree, part, ALONE);
  for (let c = 0; c < inside.data.length; c++) {
    // Faces seen from behind enclose nothing: only what they face away from is solid.
    if (!inside.data[c] || windingNumber(tree, cellCentre(part.grid, c)) <= 0.5) continue;
    const cell = row(Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))) + (c % nx);
    data[cell] = -data[cell];
  }
}

/** Corners of a scan this share of a cell apart do for what it encloses. */
const THINNED = 2;

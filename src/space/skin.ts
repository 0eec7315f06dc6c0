import { ALONE, allocateF32, type Context, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellAt, cellCentre, cellCount, type Grid, gridOver } from '../core/grid.ts';
import { joinMeshes, type Mesh, meshBox } from '../core/mesh.ts';
import { type Box3, boxSize, growBox, type Vec3 } from '../core/vec.ts';
import { distanceToMesh, lowerToDistance } from '../field/distance.ts';
import { surface } from '../field/surface.ts';
import { partFrom } from './roll.ts';

/** Cells of the grid over everything, and of the one round the region, at most. */
const CELLS_OVERALL = 4e5;
const CELLS_ROUND = 1.5e6;
/** Cells to the ball's radius round the region, and the finest cell there as a multiple of the region's own. */
const TO_RADIUS = 12;
const COARSENING = 4;
/** Cells to the ball's radius at least. */
const COARSEST = 6;
/** Triangles closer than this to each other, in cells round the region, are one: off by 0.1 mm as a rule, 0.4 mm at most, a ball's radius away. */
const THINNING = 0.5;

export interface SkinInput {
  readonly meshes: readonly Mesh[];
  readonly radius: number;
  /** Step of the grid on which the skin will be used, mm, and the box that it fills. */
  readonly fineStep: number;
  readonly box: Box3;
}

/** The skin as one task, beside others. */
export const skinTask: Task<SkinInput, Field> = { name: 'skin.field', run: (input) => skinField(input, ALONE) };

/**
 * The skin: what a ball of `radius` mm, rolled from outside over everything, cannot touch. Depth in it, mm, on a grid that holds `box`; good in the
 * box, unspecified outside.
 *
 * Where the ball gets to at all is told on a coarse grid over everything; where exactly its centre can stand, on a finer one that reaches a
 * radius and the box's depth beyond the box. One grid of 14 mm over the whole vehicle took 2.8 s of processor time on the demo; this takes 1.5 s, or 0.8 s once the code is compiled.
 */
export async function skinField({ meshes, radius, fineStep, box }: SkinInput, context: Context): Promise<Field> {
  const all = joinMeshes(meshes);
  const depth = Math.min(...boxSize(box)) / 2;
  const wide = growBox(box, radius + depth);
  const step = Math.min(Math.max(cellFor(wide, CELLS_ROUND), radius / TO_RADIUS, fineStep * COARSENING), radius / COARSEST);
  const mesh = thinFor(all, step * THINNING);
  const levels = { levels: [radius], levelsOnly: true };

  const whole = growBox(meshBox(all), radius);
  const coarse = Math.min(Math.max(cellFor(whole, CELLS_OVERALL), step), radius / COARSEST);
  const overall = gridOver(growBox(whole, 3 * coarse), coarse);
  const reached = partFrom(await distanceToMesh(thinFor(mesh, coarse * THINNING), overall, levels, context), radius, edgeCells(overall));

  const grid = gridOver(wide, step);
  const near = await distanceToMesh(mesh, grid, { ...levels, pad: radius + step }, context);
  const starts: number[] = [];
  for (let c = 0; c < near.data.length; c++) {
    const there = cellAt(overall, cellCentre(grid, c));
    if (near.data[c] >= radius && (there < 0 || reached.data[there] >= radius)) starts.push(c);
  }
  const centres = partFrom(near, radius, starts);
  const out: Field = { grid, data: allocateF32(context.pool, cellCount(grid)) };
  const asked = growBox(box, 2 * step);
  for (let c = 0; c < out.data.length; c++) out.data[c] = centres.data[c] < radius && holds(asked, cellCentre(grid, c)) ? DEEP : -radius;
  await lowerToDistance(out, surface(centres, radius, { sharp: true }), { ...levels, offset: radius, floor: -radius }, context);
  return out;
}

/** Depth where no ball comes near, mm. */
const DEEP = 1e6;

const holds = ({ min, max }: Box3, p: Vec3): boolean => p.every((v, a) => v >= min[a] && v <= max[a]);

/** Step, mm, at which so many cells fill a box. */
const cellFor = (box: Box3, cells: number): number => Math.cbrt(boxSize(box).reduce((v, s) => v * s, 1) / cells);

/** Of the triangles smaller than `size` mm keeps one for each cube of that size. */
export function thinFor(mesh: Mesh, size: number): Mesh {
  const { positions: p, indices: t } = mesh;
  const box = meshBox(mesh);
  const n = [0, 1, 2].map((a) => Math.floor((box.max[a] - box.min[a]) / size) + 1);
  const taken = new Uint8Array(Math.ceil((n[0] * n[1] * n[2]) / 8));
  const kept = new Uint32Array(t.length);
  let count = 0;
  const [x0, y0, z0] = [0, 1, 2].map((a) => mesh.origin[a] - box.min[a]);
  const apart = (u: number, v: number, w: number): number => Math.max(u, v, w) - Math.min(u, v, w);
  for (let i = 0; i < t.length; i += 3) {
    const [a, b, c] = [3 * t[i], 3 * t[i + 1], 3 * t[i + 2]];
    const small =
      apart(p[a], p[b], p[c]) < size && apart(p[a + 1], p[b + 1], p[c + 1]) < size && apart(p[a + 2], p[b + 2], p[c + 2]) < size;
    const x = Math.floor(((p[a] + p[b] + p[c]) / 3 + x0) / size);
    const y = Math.floor(((p[a + 1] + p[b + 1] + p[c + 1]) / 3 + y0) / size);
    const z = Math.floor(((p[a + 2] + p[b + 2] + p[c + 2]) / 3 + z0) / size);
    const cube = x + n[0] * (y + n[1] * z);
    if (small && taken[cube >> 3] & (1 << (cube & 7))) continue;
    if (small) taken[cube >> 3] |= 1 << (cube & 7);
    kept[count++] = t[i];
    kept[count++] = t[i + 1];
    kept[count++] = t[i + 2];
  }
  return { ...mesh, indices: kept.slice(0, count) };
}

/** Indices of the cells on the six sides of the grid. */
export function edgeCells({ nx, ny, nz }: Grid): number[] {
  const out: number[] = [];
  const n = cellCount({ origin: [0, 0, 0], step: 1, nx, ny, nz });
  for (let c = 0; c < n; c++) {
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    if (i === 0 || j === 0 || k === 0 || i === nx - 1 || j === ny - 1 || k === nz - 1) out.push(c);
  }
  return out;
}

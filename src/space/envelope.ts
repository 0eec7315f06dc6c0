import { ALONE, allocateF32, type Context, type Pool, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellAt, cellCentre, type Grid } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { type Flood, flood, UNREACHED } from '../field/flood.ts';
import { pieces, volume, volumeByLabel, volumeOfBoth } from '../field/integrate.ts';
import { partFrom, rollBall, rolledVolumeTask } from './roll.ts';

/** The cell with the greatest value among those that `allowed` (1 a cell) admits; -1 when none is admitted. */
export function highest(f: Field, allowed?: (cell: number) => boolean): number {
  let best = -1;
  let most = -Infinity;
  for (let c = 0; c < f.data.length; c++)
    if (f.data[c] > most && (!allowed || allowed(c))) {
      most = f.data[c];
      best = c;
    }
  return best;
}

/** From a cell uphill, steepest neighbour first, to the local summit: the middle of the room round a start point. */
export function summitFrom(f: Field, cell: number): number {
  const { nx, ny, nz } = f.grid;
  const d = f.data;
  let c = cell;
  for (;;) {
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    let best = c;
    for (let z = Math.max(k - 1, 0); z <= Math.min(k + 1, nz - 1); z++)
      for (let y = Math.max(j - 1, 0); y <= Math.min(j + 1, ny - 1); y++)
        for (let x = Math.max(i - 1, 0); x <= Math.min(i + 1, nx - 1); x++) {
          const q = x + nx * (y + ny * z);
          if (d[q] > d[best]) best = q;
        }
    if (best === c) return c;
    c = best;
  }
}

/** Every second cell of each axis: the same field at twice the step, in memory of `pool` where one is given. */
export function everySecond(f: Field, pool?: Pool): Field {
  const { origin, step, nx, ny, nz } = f.grid;
  const grid: Grid = { origin, step: step * 2, nx: Math.ceil(nx / 2), ny: Math.ceil(ny / 2), nz: Math.ceil(nz / 2) };
  const n = grid.nx * grid.ny * grid.nz;
  const data = pool ? allocateF32(pool, n) : new Float32Array(n);
  let o = 0;
  for (let k = 0; k < nz; k += 2) for (let j = 0; j < ny; j += 2) for (let i = 0; i < nx; i += 2) data[o++] = f.data[i + nx * (j + ny * k)];
  return { grid, data };
}

/** A pocket of the free space and the narrow place through which it is reached from the largest ball. */
export interface NeckFound {
  readonly at: Vec3;
  /** Diameter of the largest ball that passes, mm; the grid reads it up to a cell too small. */
  readonly diameter: number;
  /** Free room behind it, mm3: of the envelope where the ball passes, else of all free cells. */
  readonly behind: number;
  /** Whether the envelope's ball passes. */
  readonly passed: boolean;
  /** Whether a cell of the field at every second cell lies behind it, undefined in what is not free: for drawing the pocket. */
  readonly holds: (cell: number) => boolean | undefined;
}

const NECKS_SHOWN = 12;
/** A pocket smaller than this is not worth a line, mm3. */
const LEAST_POCKET = 0.02 * MM3_PER_LITRE;

/** Necks between the largest ball at cell `root` and the pockets of the free space, those with the most room behind first. */
export function necksFrom(f: Field, root: number, envelope: Field, radius: number): NeckFound[] {
  const { necks, labels }: Flood = flood(f, [root], { floor: f.grid.step / 4, persistence: 1.5 * f.grid.step });
  if (necks.length === 0) return [];
  const inside = volumeByLabel(envelope, labels, necks.length);
  const free = new Float64Array(necks.length);
  for (let c = 0; c < labels.length; c++) if (labels[c] >= 0) free[labels[c]] += f.grid.step ** 3;
  for (let n = necks.length - 1; n >= 0; n--)
    if (necks[n].parent >= 0) {
      inside[necks[n].parent] += inside[n];
      free[necks[n].parent] += free[n];
    }
  // A neck stands after the one before it, so that one look at its parent's tells all that it lies behind.
  const rough = labelsEverySecond(labels, f.grid);
  const within = (label: number, neck: number): boolean => {
    let n = label;
    while (n > neck) n = necks[n].parent;
    return n === neck;
  };
  return necks
    .map((n, i) => ({
      holds: (cell: number) => (rough[cell] === UNREACHED ? undefined : within(rough[cell], i)),
      at: cellCentre(f.grid, n.cell),
      diameter: 2 * n.level,
      behind: n.level >= radius ? inside[i] : free[i],
      passed: n.level >= radius,
    }))
    .filter((n) => n.behind >= LEAST_POCKET)
    .sort((a, b) => b.behind - a.behind)
    .slice(0, NECKS_SHOWN);
}

function labelsEverySecond(labels: Int32Array, { nx, ny, nz }: Grid): Int32Array {
  const out = new Int32Array(Math.ceil(nx / 2) * Math.ceil(ny / 2) * Math.ceil(nz / 2));
  let o = 0;
  for (let k = 0; k < nz; k += 2) for (let j = 0; j < ny; j += 2) for (let i = 0; i < nx; i += 2) out[o++] = labels[i + nx * (j + ny * k)];
  return out;
}

/** Volume of the envelope for each of some radii, mm3, all from the same start cell; 0 where the start's room is too narrow. */
export async function volumesByRadius(f: Field, root: number, radii: readonly number[], context: Context): Promise<number[]> {
  const able = radii.filter((r) => f.data[root] >= r);
  const volumes = await context.pool.map(
    rolledVolumeTask,
    able.map((radius) => ({ field: f, radius, start: [root] })),
  );
  return radii.map((r) => volumes[able.indexOf(r)] ?? 0);
}

interface Reclaimed {
  readonly envelope: Field;
  /** The free field with the removed part in place. */
  readonly before: Field;
  readonly radius: number;
}

/** Volume of the envelope, mm3, that was not free before: by a ball of `radius`, from anywhere. */
export const reclaimedTask: Task<Reclaimed, number> = {
  name: 'reclaimed.volume',
  run: async ({ envelope, before, radius }) => {
    const free = await rollBall(before, radius, 'anywhere', ALONE);
    return volume(envelope) - volumeOfBoth(envelope, free);
  },
};

export interface Start {
  readonly cell: number;
  /** How it was chosen, in words. */
  readonly how: string;
}

/**
 * The start: the job's point, else the middle of the room where the removed part was, else that of the largest free piece.
 * Gives -1 for the cell when the point is not free or there is no free piece of this radius.
 */
export function chooseStart(f: Field, radius: number, point: Vec3 | null, removed: Field | null): Start {
  if (point) {
    const cell = cellAt(f.grid, point);
    const how = `the job's start point`;
    return { cell: cell >= 0 && f.data[cell] > 0 ? summitFrom(f, cell) : -1, how };
  }
  if (removed) {
    const cell = highest(f, (c) => removed.data[c] < 0);
    if (cell >= 0 && f.data[cell] >= radius) return { cell, how: 'the void where the removed part was' };
    const near = highest(f, (c) => removed.data[c] < f.grid.step);
    if (near >= 0 && f.data[near] >= radius) return { cell: near, how: 'the void where the removed part was' };
  }
  const { labels, volumes } = pieces(f, radius);
  if (volumes.length === 0) return { cell: -1, how: 'the largest free piece' };
  return { cell: highest(f, (c) => labels[c] === 0), how: 'the largest free piece' };
}

/** The cell of the largest ball among those that the ball of `radius` from `start` reaches. */
export function largestBall(f: Field, radius: number, start: number): number {
  const part = partFrom(f, radius, [start]);
  return highest(part);
}

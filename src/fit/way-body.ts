import { ALONE, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellAt, cellCentre } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { moments, volume } from '../field/integrate.ts';
import { type CellBox, sweepInto } from '../field/sweep.ts';
import { everySecond } from '../space/envelope.ts';
import { rollBall } from '../space/roll.ts';

/**
 * The body of one way in: the envelope lowered to the least slack on the way, rolled again from the start point. One task a way.
 */
export interface WayBodyAsk {
  /** Positive inside, mm, a distance near its border. */
  readonly envelope: Field;
  /** A point of the envelope from which the body hangs together, mm. */
  readonly start: Vec3;
  /** Radius of the ball that must roll into every corner of the body, mm. */
  readonly leastRadius: number;
  /** The straight way: least slack from the cells of `over` along `direction` to the open counts. */
  readonly straight?: { readonly slack: Field; readonly direction: Vec3; readonly over: CellBox };
  /** What lowers the envelope further, on any grids over it. */
  readonly lower: readonly Field[];
}

export interface WayBody {
  /** Positive inside, mm, on the grid of the envelope that it was cut from. */
  readonly body: Field;
  /** mm3, the same at twice the step, and its surface, mm2. */
  readonly volume: number;
  readonly rough: number;
  readonly area: number;
}

/** A body rolled again. */
export interface SizedBody extends WayBody {
  /** Percent of the envelope. */
  readonly keptPercent: number;
  /** How much its volume may be off because the surroundings' grid tells the least slack to half a cell, mm3. */
  readonly sway: number;
}

export const wayBodyTask: Task<WayBodyAsk, WayBody> = {
  name: 'way.body',
  run: async ({ envelope, start, leastRadius, straight, lower }) => {
    const limited: Field = { grid: envelope.grid, data: envelope.data.slice() };
    if (straight) {
      const { slack, direction, over } = straight;
      const least: Field = { grid: slack.grid, data: new Float32Array(slack.data.length) };
      sweepInto(slack, direction, least.data, { over });
      lowerBetween(limited, least);
    }
    for (const f of lower) lowerBetween(limited, f);
    const roll = (f: Field): Promise<Field> => rollBall(f, leastRadius, startCells(f, start, leastRadius), ALONE);
    const body = await roll(limited);
    const rough = volume(await roll(everySecond(limited)));
    return { body, rough, ...sizeOf(body) };
  },
};

function sizeOf(body: Field): { volume: number; area: number } {
  const { volume: v, area } = moments(body);
  return { volume: v, area };
}

/**
 * Lowers a field to another on a coarser grid, trilinear between its cells, held constant beyond them. Rows of the coarser one are mixed once
 * for each row of the finer: a fifth of the time of sampling cell by cell.
 */
export function lowerBetween({ grid, data }: Field, coarse: Field): void {
  const g = coarse.grid;
  const row = new Float32Array(g.nx);
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++) {
      const [y, v] = between((grid.origin[1] + grid.step * j - g.origin[1]) / g.step, g.ny);
      const [z, w] = between((grid.origin[2] + grid.step * k - g.origin[2]) / g.step, g.nz);
      mixRows(coarse, row, { y, z, v, w });
      const first = (grid.origin[0] - g.origin[0]) / g.step;
      const scale = grid.step / g.step;
      for (let i = 0; i < grid.nx; i++, c++) {
        if (data[c] < -2 * grid.step) continue;
        const x = Math.min(Math.max(first + scale * i, 0), g.nx - 1);
        const at = Math.min(Math.floor(x), Math.max(g.nx - 2, 0));
        const value = row[at] + (row[Math.min(at + 1, g.nx - 1)] - row[at]) * (x - at);
        if (value < data[c]) data[c] = value;
      }
    }
}

/** The cell before a place along an axis of n cells, and how far past it the place lies, in cells. */
function between(x: number, n: number): [number, number] {
  const in_ = Math.min(Math.max(x, 0), n - 1);
  const at = Math.min(Math.floor(in_), Math.max(n - 2, 0));
  return [at, in_ - at];
}

/** The row between the rows (y, z), (y + 1, z) and those a plane on; infinite values stay what they are. */
function mixRows({ grid, data }: Field, row: Float32Array, { y, z, v, w }: { y: number; z: number; v: number; w: number }): void {
  const { nx, ny, nz } = grid;
  const dy = y + 1 < ny ? nx : 0;
  const dz = z + 1 < nz ? nx * ny : 0;
  const o = nx * (y + ny * z);
  for (let i = 0; i < nx; i++) {
    const c = o + i;
    const near = v === 0 ? data[c] : data[c] * (1 - v) + data[c + dy] * v;
    if (w === 0) row[i] = near;
    else row[i] = near * (1 - w) + (v === 0 ? data[c + dz] : data[c + dz] * (1 - v) + data[c + dz + dy] * v) * w;
  }
}

/**
 * The cell of the start point when a ball fits there in what is left; else the nearest cell where one does, so that a direction
 * that takes the start point itself is still judged by what hangs together near it.
 */
function startCells({ grid, data }: Field, start: Vec3, radius: number): number[] {
  const c = cellAt(grid, start);
  if (c >= 0 && data[c] >= radius) return [c];
  let best = -1;
  let near = Infinity;
  for (let q = 0; q < data.length; q++) {
    if (!(data[q] >= radius)) continue;
    const p = cellCentre(grid, q);
    const d2 = (p[0] - start[0]) ** 2 + (p[1] - start[1]) ** 2 + (p[2] - start[2]) ** 2;
    if (d2 < near) {
      near = d2;
      best = q;
    }
  }
  return best < 0 ? [] : [best];
}

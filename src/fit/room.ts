import { allocateF32, type Context } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { type CellBox, sweepInto } from '../field/sweep.ts';

/** A neighbour that the body has to slide past. */
export interface Obstacle {
  readonly name: string;
  /** Distance to it less the sliding clearance, mm, on the surroundings' grid: the same for all obstacles, reaching the open. */
  readonly slack: Field;
  /** It is off while the body goes in: it blocks no way. */
  readonly comesOff?: boolean;
  /** It is put on after the body is in, moving along this unit vector; it is off while the body goes in. */
  readonly putOnAlong?: Vec3;
}

/**
 * What a search for ways in works on. `slack` is the least over the obstacles that are there while the body goes in; `body` is the
 * envelope, lowered by the parts that are put on afterwards, on the piece of the surroundings' grid round the envelope.
 */
export interface Room {
  readonly slack: Field;
  /** Cell by cell, which obstacle (index in `names`) gives the slack; -1 where there is none. */
  readonly owner: Int16Array;
  /** Cell by cell, the least slack of the obstacles other than the owner, mm. */
  readonly next: Float32Array;
  readonly names: readonly string[];
  readonly body: Field;
  /** Least slack to the parts put on afterwards, as they move onto their places, on the whole grid; undefined when there are none. */
  readonly late: Field | undefined;
  /** First cell of `body` in the surroundings' grid, along x, y, z. */
  readonly corner: Vec3;
}

/** Gathers the obstacles of one order of assembly. */
export function roomOf(obstacles: readonly Obstacle[], envelope: Field, context: Context): Room {
  const { grid } = obstacles[0].slack;
  const n = cellCount(grid);
  const slack: Field = { grid, data: allocateF32(context.pool, n).fill(Infinity) };
  const owner = new Int16Array(n).fill(-1);
  const next = new Float32Array(n).fill(Infinity);
  obstacles.forEach((o, index) => {
    if (o.comesOff || o.putOnAlong) return;
    const s = o.slack.data;
    for (let c = 0; c < n; c++)
      if (s[c] < slack.data[c]) {
        next[c] = slack.data[c];
        slack.data[c] = s[c];
        owner[c] = index;
      } else if (s[c] < next[c]) next[c] = s[c];
  });
  const { body, corner } = cropOver(envelope, grid, context);
  const late = lateOf(obstacles);
  if (late) lowerTo(body, late, corner);
  return { slack, owner, next, names: obstacles.map((o) => o.name), body, late, corner };
}

/** The slack of a room as it is without one more of its obstacles. */
export function slackWithout({ slack, owner, next, names }: Room, gone: string, context: Context): Field {
  const data = allocateF32(context.pool, slack.data.length);
  const index = names.indexOf(gone);
  for (let c = 0; c < data.length; c++) data[c] = owner[c] === index ? next[c] : slack.data[c];
  return { grid: slack.grid, data };
}

/** The cells of the surroundings' grid that `body` covers. */
export function cellsOfBody({ body, corner }: Pick<Room, 'body' | 'corner'>): CellBox {
  const { nx, ny, nz } = body.grid;
  return { from: corner, to: [corner[0] + nx - 1, corner[1] + ny - 1, corner[2] + nz - 1] };
}

/** What the parts put on afterwards leave, each along its own direction. */
function lateOf(obstacles: readonly Obstacle[]): Field | undefined {
  let out: Field | undefined;
  for (const { slack, putOnAlong } of obstacles) {
    if (!putOnAlong) continue;
    // Taken off again, the part moves against putOnAlong, so the body moves along it as seen from the part.
    const swept: Field = { grid: slack.grid, data: new Float32Array(slack.data.length) };
    sweepInto(slack, putOnAlong, swept.data);
    if (out) for (let c = 0; c < swept.data.length; c++) out.data[c] = Math.min(out.data[c], swept.data[c]);
    else out = swept;
  }
  return out;
}

/** The envelope at those cells of `grid` that its own grid covers, one cell more on every side where there is one. */
function cropOver(envelope: Field, grid: Grid, context: Context): { body: Field; corner: Vec3 } {
  const e = envelope.grid;
  const counts = [grid.nx, grid.ny, grid.nz];
  const inner = [e.nx, e.ny, e.nz];
  const first: number[] = [];
  const size: number[] = [];
  for (let a = 0; a < 3; a++) {
    const lo = Math.floor((e.origin[a] - e.step / 2 - grid.origin[a]) / grid.step);
    const hi = Math.ceil((e.origin[a] + e.step * (inner[a] - 0.5) - grid.origin[a]) / grid.step);
    first.push(Math.min(Math.max(lo, 0), counts[a] - 1));
    size.push(Math.max(1, Math.min(hi, counts[a] - 1) - first[a] + 1));
  }
  const corner: Vec3 = [first[0], first[1], first[2]];
  const at = (a: number): number => grid.origin[a] + grid.step * first[a];
  const cropped: Grid = { origin: [at(0), at(1), at(2)], step: grid.step, nx: size[0], ny: size[1], nz: size[2] };
  const data = allocateF32(context.pool, cellCount(cropped));
  let c = 0;
  for (let k = 0; k < size[2]; k++)
    for (let j = 0; j < size[1]; j++)
      for (let i = 0; i < size[0]; i++) {
        const p: Vec3 = [cropped.origin[0] + grid.step * i, cropped.origin[1] + grid.step * j, cropped.origin[2] + grid.step * k];
        // Beyond the envelope's grid there is no envelope: what it has at its border falls off with the distance to it.
        let off = 0;
        for (let a = 0; a < 3; a++) off = Math.max(off, e.origin[a] - p[a], p[a] - e.origin[a] - e.step * (inner[a] - 1));
        const v = sampleField(envelope, p);
        data[c++] = off > e.step / 2 ? Math.min(v, e.step / 2 - off) : v;
      }
  return { body: { grid: cropped, data }, corner };
}

/**
 * At most `most` of the cells where the body is, spread evenly without a beat against the grid's rows (multiples of the golden
 * section, which no row length divides).
 */
export function someCells({ data }: Field, most: number): number[] {
  const inside: number[] = [];
  for (let c = 0; c < data.length; c++) if (data[c] > 0) inside.push(c);
  if (inside.length <= most) return inside;
  const golden = (Math.sqrt(5) - 1) / 2;
  return Array.from({ length: most }, (_, i) => inside[Math.floor(((i * golden) % 1) * inside.length)]);
}

/** Lowers a cropped field to another on the whole grid, cell by cell. */
export function lowerTo(crop: Field, whole: Field, corner: Vec3): void {
  const { nx, ny, nz } = crop.grid;
  const w = whole.grid;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const row = corner[0] + w.nx * (corner[1] + j + w.ny * (corner[2] + k));
      const o = nx * (j + ny * k);
      for (let i = 0; i < nx; i++) if (whole.data[row + i] < crop.data[o + i]) crop.data[o + i] = whole.data[row + i];
    }
}

import { type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import { boxOfPositions, type Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { type CellBox, sweepInto } from '../field/sweep.ts';
import { angleBetween, halfSpacing, ringAround, sphereOfDirections } from './directions.ts';
import { refineFaces } from './refine.ts';

/**
 * Along which directions a given body may slide out: for each of many, the least slack on the rays from its surface to the open, read from the
 * surroundings' grid. Good to half a cell of it, so only a first choice; what is chosen is followed with exact distances.
 */
export interface Outlook {
  readonly direction: Vec3;
  /** mm */
  readonly least: number;
}

interface Batch {
  readonly slack: Field;
  readonly points: Float32Array;
  readonly directions: readonly Vec3[];
}

/** Points on the surface, no farther apart than about `spacing` mm; three numbers each. */
export function surfacePoints(body: Mesh, spacing: number): Float32Array {
  const { mesh } = refineFaces(body, spacing);
  return mesh.positions.map((v, i) => v + body.origin[i % 3]);
}

export const outlookTask: Task<Batch, number[]> = {
  name: 'body.outlook',
  run: ({ slack, points, directions }) => {
    const swept: Field = { grid: slack.grid, data: new Float32Array(slack.data.length) };
    const over = cellsRound(slack.grid, points);
    return directions.map((d) => {
      sweepInto(slack, d, swept.data, { over });
      let least = Infinity;
      for (let i = 0; i < points.length; i += 3) least = Math.min(least, sampleField(swept, [points[i], points[i + 1], points[i + 2]]));
      return least;
    });
  },
};

/** The cells between which the points lie. */
function cellsRound({ origin, step, nx, ny, nz }: Grid, points: Float32Array): CellBox {
  const { min, max } = boxOfPositions([0, 0, 0], points);
  const size = [nx, ny, nz];
  const cell = (v: number, a: number, round: (x: number) => number): number =>
    Math.min(Math.max(round((v - origin[a]) / step), 0), size[a] - 1);
  const from: Vec3 = [cell(min[0], 0, Math.floor), cell(min[1], 1, Math.floor), cell(min[2], 2, Math.floor)];
  return { from, to: [cell(max[0], 0, Math.ceil), cell(max[1], 1, Math.ceil), cell(max[2], 2, Math.ceil)] };
}

/** The most promising directions that differ by 30 degrees or more, at most `count`, best first. */
export async function outlooks(
  slack: Field,
  points: Float32Array,
  { directions, count }: { directions: number; count: number },
  context: Context,
): Promise<Outlook[]> {
  const look = async (list: readonly Vec3[]): Promise<Outlook[]> => {
    const parts = slabs(list.length, context.pool.size === 1 ? 1 : context.pool.size * 4);
    const found = await context.pool.map(
      outlookTask,
      parts.map((s) => ({ slack, points, directions: list.slice(s.from, s.to) })),
    );
    checkCancelled(context);
    return found.flat().map((least, i) => ({ direction: list[i], least }));
  };
  const first = await look(sphereOfDirections(directions));
  const tops = distinct(first, count);
  const round = await look(tops.flatMap((t) => ringAround(t.direction, halfSpacing(directions) / 2)));
  return distinct([...first, ...round], count);
}

const APART = Math.PI / 6;

function distinct(all: readonly Outlook[], count: number): Outlook[] {
  const out: Outlook[] = [];
  for (const o of [...all].sort((a, b) => b.least - a.least)) {
    if (out.length === count) break;
    if (out.every((t) => angleBetween(t.direction, o.direction) >= APART)) out.push(o);
  }
  return out;
}

import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import { surface } from '../field/surface.ts';
import { everySecond, type NeckFound } from '../space/envelope.ts';
import { rollBall } from '../space/roll.ts';
import { removedBefore } from './envelope.ts';
import type { Space } from './space.ts';

/** A part of the room that is drawn beside envelope and cavity. */
export interface DrawnPart {
  readonly name: string;
  readonly kind: 'reclaimed' | 'pocket' | 'body';
  readonly mesh: Mesh;
}

/** What they are made from. */
export interface DrawnInput {
  readonly space: Space;
  readonly necks: readonly NeckFound[];
  /** The greatest body of the way chosen, at twice the step, and the share of the envelope that it is, percent. */
  readonly body: { readonly field: Field; readonly kept_percent: number } | undefined;
}

/** A body that keeps more than this looks like the envelope, percent. */
const WHOLE = 99.5;

/**
 * The room that the removed part gave, the pockets behind the necks (numbered as these are) and the greatest body of the best way in. For looking at: on
 * cells of twice the step; the figures come from the fine ones.
 */
export async function drawnParts({ space, necks, body }: DrawnInput, context: Context): Promise<DrawnPart[]> {
  const { double, job } = space;
  const out: DrawnPart[] = [];
  const put = (kind: DrawnPart['kind'], name: string, field: Field): void => {
    const mesh = surface(field, 0);
    if (mesh.indices.length > 0) out.push({ name, kind, mesh });
  };
  const before = removedBefore(space, context.pool);
  if (before) {
    const free = await rollBall(everySecond(before, context.pool), job.least_radius, 'anywhere', context);
    put('reclaimed', 'reclaimed', without(double.envelope, free));
  }
  necks.forEach((n, i) => {
    put('pocket', `pocket ${i + 1}, behind a neck of ${n.diameter.toFixed(0)} mm`, only(n.passed ? double.envelope : double.free, n.holds));
  });
  if (body && body.kept_percent < WHOLE) put('body', `body that goes in: ${body.kept_percent.toFixed(0)} % kept`, body.field);
  return out;
}

/** One field less another. Where their surfaces run together nothing is left, not even a film: a tenth of a cell is given away. */
function without({ grid, data }: Field, taken: Field): Field {
  return { grid, data: data.map((v, c) => Math.min(v, -taken.data[c]) - grid.step / 10) };
}

/**
 * The cells of a field that are wanted, with those of no room beside them (there the surface lies); the border to the rest is drawn half a
 * cell in.
 */
function only({ grid, data }: Field, wanted: (cell: number) => boolean | undefined): Field {
  const { nx, ny, nz, step } = grid;
  const out = data.slice();
  const beside = (i: number, j: number, k: number): boolean => {
    for (let z = Math.max(k - 1, 0); z <= Math.min(k + 1, nz - 1); z++)
      for (let y = Math.max(j - 1, 0); y <= Math.min(j + 1, ny - 1); y++)
        for (let x = Math.max(i - 1, 0); x <= Math.min(i + 1, nx - 1); x++) if (wanted(x + nx * (y + ny * z))) return true;
    return false;
  };
  for (let k = 0, c = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) for (let i = 0; i < nx; i++, c++) if (data[c] > -step && !(wanted(c) ?? beside(i, j, k))) out[c] = -step;
  return { grid, data: out };
}

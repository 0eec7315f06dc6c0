import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { type Box3, distance, type Vec3 } from '../core/vec.ts';
import { flood } from '../field/flood.ts';

/** A narrow place of the room, and the radius of the ball that just passes there, mm. */
export interface Narrow {
  readonly at: Vec3;
  readonly radius: number;
}

/** Ways out that are looked at, and narrow places of all of them, at most. */
const WAYS = 4;
const MOST = 8;

/**
 * The narrow places on the widest way for a ball from a cell of the field (slack, mm, positive in free room) out of the box of the surroundings;
 * then, with the narrowest of them shut, on the next widest, and so on: the openings through which a body may have to be threaded. The grid's
 * first cell lies outside that box.
 */
export function narrowPlaces(slack: Field, from: number, surroundings: Box3): Narrow[] {
  const { grid } = slack;
  const field = openOutside(slack, surroundings);
  const out: Narrow[] = [];
  for (let n = 0; n < WAYS && out.length < MOST; n++) {
    const { reach, necks, labels } = flood(field, [from], { floor: 0 });
    if (!(reach.data[0] > 0)) break;
    const passed: Narrow[] = [];
    for (let k = labels[0]; k >= 0; k = necks[k].parent) passed.push({ at: cellCentre(grid, necks[k].cell), radius: necks[k].level });
    if (passed.length === 0) break;
    for (const p of passed) if (out.every((o) => distance(o.at, p.at) > p.radius + grid.step)) out.push(p);
    const shut = passed.reduce((a, b) => (b.radius < a.radius ? b : a));
    close(field, shut);
  }
  return out.slice(0, MOST);
}

/** Outside the box there is all the room there is, however near the grid ends. */
function openOutside({ grid, data }: Field, { min, max }: Box3): Field {
  const out = data.slice();
  for (let c = 0; c < out.length; c++) if (cellCentre(grid, c).some((v, a) => v < min[a] || v > max[a])) out[c] = OPEN;
  return { grid, data: out };
}

/** mm */
const OPEN = 1e6;

/** Nothing passes within twice the narrow place's radius any more. */
function close({ grid, data }: Field, { at, radius }: Narrow): void {
  const reach = 2 * radius + grid.step;
  const [lo, hi] = [-1, 1].map((s) => at.map((v, a) => Math.round((v + s * reach - grid.origin[a]) / grid.step)));
  for (let k = Math.max(0, lo[2]); k <= Math.min(grid.nz - 1, hi[2]); k++)
    for (let j = Math.max(0, lo[1]); j <= Math.min(grid.ny - 1, hi[1]); j++)
      for (let i = Math.max(0, lo[0]); i <= Math.min(grid.nx - 1, hi[0]); i++) {
        const c = i + grid.nx * (j + grid.ny * k);
        if (distance(cellCentre(grid, c), at) <= reach) data[c] = -1;
      }
}

import { sampleField } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { add, scale, type Vec3 } from '../core/vec.ts';
import { type Room, someCells } from './room.ts';

/** An obstacle in the way of a direction. */
export interface Blocker {
  readonly obstacle: string;
  /** Where the body meets it first, mm. */
  readonly at: Vec3;
  /** How far the body has slid when it meets it, mm. */
  readonly after: number;
  /** How far it would have to give way for all that it stops, mm, to about a cell of the surroundings. */
  readonly give: number;
  /** Share of the envelope that meets this obstacle before any other, percent. */
  readonly stopsPercent: number;
}

/** Most rays that are followed; they are spread evenly over the part that is lost. */
const MOST_RAYS = 4000;

/**
 * Follows rays from the cells of the envelope that are lost along the unit vector `d` and names the obstacles they meet: the one
 * met first in front. `reach` says how far the body slides, mm (the first leg of a way in two steps); without it, to the open.
 */
export function blockersAlong(room: Room, d: Vec3, reach = Infinity): Blocker[] {
  const { slack, body } = room;
  const found = new Map<number, { at: Vec3; after: number; give: number; rays: number }>();
  const cells = someCells(body, MOST_RAYS);
  for (const c of cells)
    follow(room, cellCentre(body.grid, c), d, reach, (owner, at, after, give) => {
      const known = found.get(owner);
      if (!known) found.set(owner, { at, after, give, rays: 1 });
      else {
        known.rays++;
        known.give = Math.max(known.give, give);
        if (after < known.after) {
          known.at = at;
          known.after = after;
        }
      }
    });
  return Array.from(found, ([owner, b]) => ({
    obstacle: room.names[owner],
    at: b.at,
    after: b.after,
    give: b.give,
    stopsPercent: (100 * b.rays) / cells.length,
  })).sort((a, b) => a.after - b.after || b.stopsPercent - a.stopsPercent || (a.obstacle < b.obstacle ? -1 : 1));

  /** One ray: where the slack first falls below zero, and the least slack to the obstacle met there while it stays the nearest. */
  function follow(r: Room, p: Vec3, dir: Vec3, end: number, meet: (owner: number, at: Vec3, after: number, give: number) => void): void {
    const { grid } = slack;
    const half = grid.step / 2;
    let first = -1;
    let where: Vec3 = p;
    let after = 0;
    let least = 0;
    for (let t = 0; t <= end; t += half) {
      const q = add(p, scale(dir, t));
      const i = Math.round((q[0] - grid.origin[0]) / grid.step);
      const j = Math.round((q[1] - grid.origin[1]) / grid.step);
      const k = Math.round((q[2] - grid.origin[2]) / grid.step);
      if (i < 0 || j < 0 || k < 0 || i >= grid.nx || j >= grid.ny || k >= grid.nz) break;
      const v = sampleField(slack, q);
      const owner = r.owner[i + grid.nx * (j + grid.ny * k)];
      if (v < 0 && first < 0) {
        first = owner;
        where = q;
        after = t;
      }
      if (owner === first && v < least) least = v;
      // Nothing can be met sooner than the slack allows, because it falls by at most 1 mm per mm.
      if (v > 2 * grid.step) t += v - grid.step;
    }
    if (first >= 0) meet(first, where, after, -least);
  }
}

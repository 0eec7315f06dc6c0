import type { Context } from '../src/core/context.ts';
import type { Mesh } from '../src/core/mesh.ts';
import type { Vec3 } from '../src/core/vec.ts';
import { type Bounded, less } from '../src/fill/bounded.ts';
import type { Coarse } from '../src/report/coarse.ts';
import { QuickRoom } from './quick-room.ts';
import { QuickTank } from './quick-tank.ts';

/** Where the dials stand. Lengths mm, angles degrees, shares 0..1. */
export interface Dials {
  /** Added to every obstacle's own clearance. */
  readonly clearance: number;
  /** By obstacle, instead of its own. */
  readonly clearances: Readonly<Record<string, number>>;
  readonly radius: number;
  readonly wall: number;
  readonly ullage: number;
  readonly pitch: number;
  readonly lean: number;
  /** Share of the rated volume that is in. */
  readonly fill: number;
}

/** What the fine run took and no dial turns. */
export interface Settings {
  /** How far a scanned surface may be off, mm. */
  readonly accuracy: number;
  /** mm; those left out, or no longer at the cavity, are proposed. */
  readonly vents?: readonly Vec3[];
  readonly pickups?: readonly Vec3[];
  /** Least inside radius of the cavity, mm. */
  readonly insideRadius?: number | null;
  /** What stands behind the first wall, mm: a gap and a second wall. */
  readonly behind?: number;
  /** Shares of foam: of the cavity that it takes up, of the fill that it holds back. */
  readonly foam?: { readonly takes: number; readonly holds: number } | null;
}

/** What a room would hold: the litres first, what depends on the attitude when it is known. */
export interface TankFigures {
  readonly brim_l: Bounded;
  readonly ullage_l: Bounded;
  readonly rated_l: Bounded;
  readonly inside_area_dm2: number;
  readonly usable_l?: Bounded;
  readonly trapped_l?: number;
  readonly stranded_l?: number;
  /** Height over the lowest point at this attitude against litres. */
  readonly dip?: readonly { readonly height_mm: number; readonly volume_l: number }[];
  /** Where the level stands at the dialled fill, mm over the lowest point. */
  readonly level_mm?: number;
}

/** One part of an answer, from the room's or the tank's side. A later part of the same side takes an earlier one's place. */
export interface QuickPart {
  /** Radius of the largest ball there, when there is no envelope for the dialled one, mm. */
  readonly none?: number;
  readonly envelope_l?: Bounded;
  readonly tank?: TankFigures;
  /** What is to be drawn anew, by name. */
  readonly meshes: Readonly<Record<string, Mesh>>;
}

export interface QuickResult extends QuickPart {
  readonly step: number;
  readonly tank?: TankFigures & { readonly wall_l?: Bounded };
}

/** Both sides as one answer. */
export function together(step: number, room: QuickPart, tank: QuickPart | undefined): QuickResult {
  if (room.none !== undefined || !tank?.tank) return { step, ...room };
  const wall_l = room.envelope_l && less(room.envelope_l, tank.tank.brim_l);
  return { step, ...room, tank: { ...tank.tank, wall_l }, meshes: { ...room.meshes, ...tank.meshes } };
}

/** The whole answer in one thread, in growing parts; the page asks the two sides in threads of their own, see worker.ts. */
export class Quick {
  private readonly step: number;
  private readonly room: QuickRoom;
  private readonly tank: QuickTank;

  constructor(coarse: Coarse, settings: Settings) {
    this.step = coarse.header.grid.step;
    this.room = new QuickRoom(coarse, settings);
    this.tank = new QuickTank(settings);
  }

  async *turn(d: Dials, context: Context): AsyncGenerator<QuickResult> {
    let room: QuickPart | undefined;
    for await (room of this.room.turn(d, context)) yield together(this.step, room, undefined);
    const found = this.room.found;
    if (room && found) for await (const tank of this.tank.turn(found, d, context)) yield together(this.step, room, tank);
  }
}

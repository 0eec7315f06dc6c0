import type { Context } from '../src/core/context.ts';
import { type Field, sampleField } from '../src/core/field.ts';
import { cellAt, cellCount } from '../src/core/grid.ts';
import type { Mesh } from '../src/core/mesh.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from '../src/core/units.ts';
import { scale, type Vec3 } from '../src/core/vec.ts';
import { area, volume } from '../src/field/integrate.ts';
import { surface } from '../src/field/surface.ts';
import { heldBack } from '../src/fill/attitudes.ts';
import { type Bounded, less, litres, shareOf } from '../src/fill/bounded.ts';
import { cavityOf } from '../src/fill/cavity.ts';
import { cropped, thinned } from '../src/fill/crop.ts';
import { apparentUp, UPRIGHT } from '../src/fill/level.ts';
import { levelOf, type Profile, profileOf } from '../src/fill/profile.ts';
import { standingOf } from '../src/fill/stand.ts';
import type { Coarse } from '../src/report/coarse.ts';
import { everySecond, summitFrom } from '../src/space/envelope.ts';
import { rollBall } from '../src/space/roll.ts';

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

export interface QuickTank {
  readonly brim_l: Bounded;
  readonly ullage_l: Bounded;
  readonly rated_l: Bounded;
  readonly usable_l: Bounded;
  readonly wall_l: Bounded;
  readonly trapped_l: number;
  readonly stranded_l: number;
  readonly inside_area_dm2: number;
  /** Height over the lowest point at this attitude against litres. */
  readonly dip: readonly { readonly height_mm: number; readonly volume_l: number }[];
  /** Where the level stands at the dialled fill, mm over the lowest point. */
  readonly level_mm: number;
}

export interface QuickResult {
  readonly step: number;
  /** Radius of the largest ball there, when there is no envelope for the dialled one, mm. */
  readonly none?: number;
  readonly envelope_l?: Bounded;
  readonly tank?: QuickTank;
  /** What is to be drawn anew, by name. */
  readonly meshes: Readonly<Record<string, Mesh>>;
}

interface Room {
  readonly free: Field;
  readonly field: Field;
  readonly volume: number;
  readonly area: number;
  readonly mesh: Mesh;
}

interface Inside {
  readonly field: Field;
  readonly volume: number;
  readonly change: number;
  readonly area: number;
  readonly mesh: Mesh;
  readonly vents: readonly Vec3[];
  readonly pickups: readonly Vec3[];
}

const DIP_STEPS = 50;
/** Cells of the search for outlets. */
const SEARCH_CELLS = 40_000;

/**
 * The main job over again on the stored coarse fields, for other dials: the same kernels as the fine run. What a dial does not touch is
 * kept from the turn before.
 */
export class Quick {
  private readonly coarse: Coarse;
  private readonly settings: Settings;
  private room: { key: string; value: Room | number; change: number } | undefined;
  /** Change of the last envelope's volume at twice the step, mm3. */
  private change = 0;
  private inside: { key: string; value: Inside | undefined } | undefined;

  constructor(coarse: Coarse, settings: Settings) {
    this.coarse = coarse;
    this.settings = settings;
  }

  /**
   * Figures and meshes for these dials, in growing parts as they are found: first the envelope (its bounds still without the
   * step's part where that is not known yet), then the step's part, then what a tank in it would hold.
   */
  async *turn(d: Dials, context: Context): AsyncGenerator<QuickResult> {
    const { step } = this.coarse.header.grid;
    const roomKey = JSON.stringify([d.clearance, d.clearances, d.radius]);
    if (this.room?.key !== roomKey) {
      const found = await this.roomOf(d, context);
      if (typeof found !== 'number') yield { step, envelope_l: this.outer(found, this.change), meshes: { envelope: found.mesh } };
      const change = typeof found === 'number' ? 0 : await this.changeOf(found, d.radius, context);
      this.change = change;
      this.room = { key: roomKey, value: found, change };
    }
    const room = this.room.value;
    if (typeof room === 'number') {
      yield { step, none: room, meshes: {} };
      return;
    }
    const envelope_l = this.outer(room, this.room.change);
    yield { step, envelope_l, meshes: { envelope: room.mesh } };
    const insideKey = JSON.stringify([roomKey, d.wall]);
    if (this.inside?.key !== insideKey) this.inside = { key: insideKey, value: await this.insideOf(room, d.wall, context) };
    const inside = this.inside.value;
    if (!inside) return;
    const { tank, meshes } = this.stand(inside, envelope_l, d);
    yield { step, envelope_l, tank, meshes: { envelope: room.mesh, cavity: inside.mesh, ...meshes } };
  }

  private outer(room: Room, change: number): Bounded {
    return litres(room.volume, room.area * this.settings.accuracy + Math.abs(change));
  }

  /** The least of the region and every obstacle's slack, mm. */
  free(d: Pick<Dials, 'clearance' | 'clearances'>): Field {
    const { header, fields } = this.coarse;
    const data = fields[0].slice();
    header.obstacles.forEach((o, n) => {
      const off = o.off + (o.mates ? 0 : (d.clearances[o.name] ?? o.clearance) + d.clearance);
      const f = fields[n + 1];
      for (let c = 0; c < data.length; c++) {
        const v = f[c] - off;
        if (v < data[c]) data[c] = v;
      }
    });
    return { grid: header.grid, data };
  }

  private async roomOf(d: Dials, context: Context): Promise<Room | number> {
    const free = this.free(d);
    const start = cellAt(free.grid, this.coarse.header.start_mm);
    const cell = start < 0 ? -1 : summitFrom(free, start);
    if (cell < 0 || free.data[cell] < d.radius) return cell < 0 ? 0 : Math.max(0, free.data[cell]);
    const field = cropped(await rollBall(free, d.radius, [cell], context));
    return { free, field, volume: volume(field), area: area(field), mesh: surface(field, 0) };
  }

  /** The same at twice the step less this one, mm3. */
  private async changeOf(room: Room, radius: number, context: Context): Promise<number> {
    const rough = everySecond(room.free);
    const near = cellAt(rough.grid, this.coarse.header.start_mm);
    const top = near < 0 ? -1 : summitFrom(rough, near);
    // Where the rough grid has no room left for the ball, all is in doubt.
    return (top < 0 || rough.data[top] < radius ? 0 : volume(await rollBall(rough, radius, [top], context))) - room.volume;
  }

  private async insideOf(room: Room, wall: number, context: Context): Promise<Inside | undefined> {
    const { insideRadius = null, behind = 0 } = this.settings;
    const cavity = await cavityOf(room.field, wall + behind, insideRadius, context);
    const whole = volume(cavity);
    if (!(whole > 0)) return undefined;
    const rough = volume(await cavityOf(everySecond(room.field), wall + behind, insideRadius, context));
    const field = cropped(cavity);
    return {
      field,
      volume: whole,
      change: rough - whole,
      area: area(field),
      mesh: surface(field, 0),
      ...(await this.outletsFor(field, wall + behind, context)),
    };
  }

  /** The fine run's outlets where they still are at the cavity, else proposed for standing upright. */
  private async outletsFor(cavity: Field, wall: number, context: Context): Promise<{ vents: readonly Vec3[]; pickups: readonly Vec3[] }> {
    const within = wall + 10;
    const reached = (points: readonly Vec3[] | undefined): readonly Vec3[] | undefined =>
      points?.length && points.every((p) => sampleField(cavity, p) > -within) ? points : undefined;
    const vents = reached(this.settings.vents);
    const pickups = reached(this.settings.pickups);
    if (vents && pickups) return { vents, pickups };
    const asked = { attitudes: [UPRIGHT], advise: false, within, vents, pickups };
    const found = await standingOf(thinned(cavity, SEARCH_CELLS), asked, context);
    return { vents: found.vents, pickups: found.pickups };
  }

  /** What depends on attitude, ullage and fill. */
  private stand(inside: Inside, outer: Bounded, d: Dials): { tank: QuickTank; meshes: Record<string, Mesh> } {
    const up = apparentUp({ pitch: d.pitch, lean: d.lean });
    const within = d.wall + (this.settings.behind ?? 0) + 10 + 4 * inside.field.grid.step;
    const air = heldBack(inside.field, up, inside.vents, { within });
    const fuel = heldBack(inside.field, scale(up, -1), inside.pickups, { within });
    const { takes, holds } = this.settings.foam ?? { takes: 0, holds: 0 };
    const brim = litres(inside.volume * (1 - takes), inside.area * this.settings.accuracy + Math.abs(inside.change));
    const rated = shareOf(brim, 1 - d.ullage);
    const profile = profileOf(inside.field, up, DIP_STEPS, inside.volume * (1 - takes));
    const level = levelOf(profile, d.fill * rated.value * MM3_PER_LITRE);
    const meshes: Record<string, Mesh> = {};
    const put = (name: string, f: Field): void => {
      const mesh = surface(f, 0);
      if (mesh.indices.length > 0) meshes[name] = mesh;
    };
    put('liquid', below(inside.field, up, level));
    put('trapped air', air.field);
    put('stranded fuel', fuel.field);
    const stranded = Math.min((fuel.volume * (1 - takes)) / MM3_PER_LITRE + holds * rated.value, rated.value);
    return {
      meshes,
      tank: {
        brim_l: brim,
        ullage_l: shareOf(brim, d.ullage),
        rated_l: rated,
        usable_l: less(rated, { value: stranded, low: stranded, high: stranded }),
        wall_l: less(outer, brim),
        trapped_l: air.volume / MM3_PER_LITRE,
        stranded_l: stranded,
        inside_area_dm2: inside.area / MM2_PER_DM2,
        dip: dipOf(profile),
        level_mm: level - profile.levels[0],
      },
    };
  }
}

/** The part of the cavity under a level along `up`. */
function below({ grid, data }: Field, up: Vec3, level: number): Field {
  const out = new Float32Array(cellCount(grid));
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++) {
      const row = level - up[1] * (grid.origin[1] + j * grid.step) - up[2] * (grid.origin[2] + k * grid.step);
      for (let i = 0; i < grid.nx; i++, c++) out[c] = Math.min(data[c], row - up[0] * (grid.origin[0] + i * grid.step));
    }
  return { grid, data: out };
}

const dipOf = (p: Profile): QuickTank['dip'] =>
  Array.from(p.levels, (z, i) => ({ height_mm: z - p.levels[0], volume_l: p.below[i] / MM3_PER_LITRE }));

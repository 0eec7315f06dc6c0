import type { Note } from '../core/fault.ts';
import type { Vec3 } from '../core/vec.ts';
import type { Bounded } from './bounded.ts';
import type { CentreShift, DipChart, DipRow, SenderRow } from './dip.ts';
import type { Fluid } from './fluids.ts';
import type { Spot } from './parts.ts';

export interface AttitudeRow {
  readonly name?: string;
  readonly pitch_deg: number;
  readonly lean_deg: number;
  readonly acceleration_g?: Vec3;
  readonly trapped_l: number;
  readonly stranded_l: number;
  readonly usable_l: number;
}

export interface PlaceRow {
  readonly at_mm: Vec3;
  readonly worst_l: number;
  readonly worst_attitude: { readonly pitch_deg: number; readonly lean_deg: number };
}

/** Everything a report says of a tank; the parts are kept apart: outer = wall + (interspace) + cavity, cavity = (foam) + brim + air. */
export interface TankResult {
  readonly outer_l: Bounded;
  readonly wall_l: Bounded;
  readonly cavity_l: Bounded;
  readonly brim_l: Bounded;
  readonly ullage_l: Bounded;
  /** Everything that is empty at the rated fill: ullage, air that can not leave, room above the filler's mouth. */
  readonly vapour_l: Bounded;
  readonly rated_l: Bounded;
  /** Left behind at the worst attitude, what foam holds back included. */
  readonly stranded_l: Bounded;
  readonly usable_l: Bounded;
  readonly interspace_l?: Bounded;
  readonly foam_l?: Bounded;
  /** Places too thin for a cavity, more than two walls from it: they become wall; the largest are listed. */
  readonly thin_l?: number;
  readonly thin_places?: readonly Spot[];
  /** Parts of the cavity that do not hang together with the largest; they count as wall. */
  readonly cut_off: readonly Spot[];
  /** Three significant figures, as permeation tests ask (40 CFR 1051.515(a)(2)). */
  readonly inside_area_dm2: number;
  /** Of it, below the level at the rated fill, upright. */
  readonly wetted_area_dm2: number;
  readonly dry_mass_kg: number;
  readonly full_mass_kg: number;
  /** Of the full tank at the rated fill, upright. */
  readonly centre_mm: Vec3;
  readonly dry_centre_mm: Vec3;
  readonly fluid: Fluid;
  readonly ullage_percent: number;
  readonly ullage_rule: string;
  /** Warming from 15 C that the ullage covers, K; null: more than the fluid's law reaches. */
  readonly ullage_covers_k: number | null;
  readonly filler_mm: Vec3;
  readonly vent_mm: readonly Vec3[];
  readonly pickup_mm: readonly Vec3[];
  readonly proposed: readonly ('filler' | 'vent' | 'pickup')[];
  /** What runs in by itself at the filling attitude until it stands at the filler's mouth. */
  readonly filling: { readonly pitch_deg: number; readonly lean_deg: number; readonly fill_l: Bounded; readonly trapped_l: number };
  readonly attitudes: readonly AttitudeRow[];
  readonly vent_places: readonly PlaceRow[];
  readonly pickup_places: readonly PlaceRow[];
  readonly second_pickup: { readonly at_mm: readonly [Vec3, Vec3]; readonly frees_l: number } | null;
  readonly balance_line: { readonly at_mm: readonly [Vec3, Vec3]; readonly frees_l: number } | null;
  readonly dip: readonly DipRow[];
  /** The same at the other attitudes. */
  readonly dip_attitudes?: readonly DipChart[];
  /** Litres against the angle of the sender's arm, upright. */
  readonly sender?: readonly SenderRow[];
  /** Where the fuel's centre goes at half the rated fill. */
  readonly half_fill: readonly CentreShift[];
  readonly notes: readonly Note[];
}

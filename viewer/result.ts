import type { Vec3 } from '../src/core/vec.ts';
import type { RouteResult, TubeResult, WayResult, WaysSearch } from '../src/fit/result.ts';
import type { ClosestResult } from '../src/report/closest.ts';
import type { PlacingResult } from '../src/scan/placing.ts';
import type { StowageResult } from '../src/stow/result.ts';

/**
 * What the page reads of result.json; every part but `job` may be missing, because a job may leave it out.
 * Lengths mm, volumes litres, angles degrees.
 */
export interface Bounded {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

export interface ResultFile {
  readonly tool?: { readonly name: string; readonly version: string };
  readonly job: {
    readonly name: string;
    readonly least_radius?: number;
    readonly accuracy?: number;
    readonly tank?:
      | false
      | {
          readonly wall: number;
          readonly inside_radius?: number | null;
          readonly inner?: { readonly gap: number; readonly wall: number } | null;
          readonly foam?: { readonly takes: number; readonly holds: number } | null;
        };
  };
  readonly inputs?: readonly { readonly scan: string; readonly file: string; readonly sha256: string; readonly triangles?: number }[];
  readonly grid?: { readonly step_mm: number; readonly dims: readonly number[]; readonly cells: number };
  readonly envelope?: {
    readonly volume_l: Bounded;
    readonly area_dm2?: number;
    readonly box_mm?: { readonly min: readonly number[]; readonly max: readonly number[] };
    readonly pieces?: number;
    readonly through_holes?: number;
    readonly largest_ball?: { readonly radius_mm: number; readonly centre_mm: Vec3 };
    readonly least_radius_mm?: number;
    readonly by_radius?: readonly { readonly radius_mm: number; readonly volume_l: number }[];
    readonly necks?: readonly {
      readonly at_mm: Vec3;
      readonly diameter_mm: number;
      readonly behind_l: number;
      readonly passed?: boolean;
      readonly between?: readonly string[];
    }[];
  };
  readonly reclaimed?: { readonly volume_l: Bounded };
  readonly tank?: Readonly<Partial<Record<TankVolume, Bounded>>> & {
    readonly inside_area_dm2?: number;
    readonly ullage_percent?: number;
    readonly filler_mm?: Vec3;
    readonly vent_mm?: readonly Vec3[];
    readonly pickup_mm?: readonly Vec3[];

    readonly dry_mass_kg?: number;
    readonly full_mass_kg?: number;
    readonly attitudes?: readonly {
      readonly pitch_deg: number;
      readonly lean_deg: number;
      readonly trapped_l: number;
      readonly stranded_l: number;
      readonly usable_l: number;
    }[];
    readonly dip?: readonly { readonly height_mm: number; readonly volume_l: number }[];
  };
  readonly ways_in?: readonly WayResult[];
  readonly ways_search?: WaysSearch;
  readonly tubes?: readonly TubeResult[];
  readonly routes?: readonly RouteResult[];
  readonly closest?: readonly ClosestResult[];
  /** Holes of the scans that are worth scanning again. */
  readonly holes?: readonly {
    readonly scan: string;
    readonly at_mm: Vec3;
    /** Of the hole's rim. */
    readonly length_mm: number;
    readonly loop: readonly Vec3[];
  }[];
  readonly placings?: readonly PlacingResult[];
  readonly stowage?: StowageResult;
  readonly notes?: readonly { readonly code: string; readonly text: string; readonly where?: string }[];
  readonly cautions?: readonly string[];
}

export type TankVolume = 'outer_l' | 'wall_l' | 'brim_l' | 'ullage_l' | 'rated_l' | 'usable_l';

import type { Vec3 } from '../core/vec.ts';
import type { SizeHint } from './sizes.ts';

/** What the result says of ways in, tubes and routes: plain JSON values; mm, litres, degrees, percent. */

/** Litres with the least and the most that they may truly be. */
export interface Litres {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}

export interface WayResult {
  /** Unit vector along which the body slides out; it goes in the other way. */
  readonly direction: Vec3;
  /** The greatest body that goes this way. */
  readonly volume_l: Litres;
  readonly kept_percent: number;
  /** What stands in the way, the one met first in front. */
  readonly blockers: readonly {
    readonly obstacle: string;
    readonly at_mm: Vec3;
    /** How far the body has slid when it meets it. */
    readonly after_mm: number;
    /** How far the obstacle would have to give way. */
    readonly give_mm: number;
    readonly stops_percent: number;
  }[];
  /** What would be kept with one more part off. */
  readonly without: readonly { readonly obstacle: string; readonly kept_percent: number }[];
}

/** How the search for ways in was done, and what else it found. */
export interface WaysSearch {
  /** Kept from everything while the body slides. */
  readonly clearance_mm: number;
  /** Cell of the grid over all scans. */
  readonly step_mm: number;
  /** Parts that are off while the body goes in. */
  readonly off: readonly string[];
  /** Share kept over the sphere of directions: quick estimates. */
  readonly map: readonly { readonly direction: Vec3; readonly kept_percent: number }[];
  /** The way that the job makes the body of; left out when the body is the whole envelope. */
  readonly used?: { readonly direction: Vec3; readonly volume_l: Litres; readonly kept_percent: number };
  /** A way in two steps that keeps more than every single one. */
  readonly two_step: {
    readonly first_along: Vec3;
    readonly length_mm: number;
    readonly then_along: Vec3;
    readonly volume_l: Litres;
    readonly kept_percent: number;
  } | null;
}

export interface TubeResult {
  /** Name of the scan that it was found in. */
  readonly scan: string;
  readonly diameter_mm: number;
  readonly diameter_error_mm: number;
  readonly nearest_sizes: readonly SizeHint[];
  readonly arc_seen_deg: number;
  /** Centre line. */
  readonly axis: readonly Vec3[];
  /** Of the whole tube as far as it was scanned. */
  readonly length_mm: number;
  /** Its straight pieces, from one end to the other. */
  readonly straights_mm: readonly number[];
  readonly bends: readonly { readonly at_mm: Vec3; readonly radius_mm: number; readonly angle_deg: number }[];
  readonly comes_off: boolean;
  /** The stretches along or through the envelope. */
  readonly bores: readonly BoreResult[];
}

export interface BoreResult {
  readonly bore_mm: number;
  readonly from_mm: Vec3;
  readonly to_mm: Vec3;
  readonly length_mm: number;
  readonly enclosed: boolean;
  /** How far round it is open. */
  readonly open_deg: number;
  readonly cost_l: number;
  /** Thinnest wall of the envelope between it and the next face; null where there is none. */
  readonly web_mm: number | null;
  readonly web_at_mm: Vec3;
}

export interface RouteResult {
  readonly name: string;
  readonly ok: boolean;
  /** Why there is none, in words. */
  readonly why: string | null;
  readonly diameter_mm: number;
  readonly clearance_mm: number;
  /** The narrowest place of the widest way, and the greatest diameter that passes there with the clearance. */
  readonly bottleneck: {
    readonly diameter_mm: number;
    /** By how much it may be off, either way. */
    readonly error_mm: number;
    readonly at_mm: Vec3;
    readonly between: readonly string[];
  } | null;
  readonly length_mm: number;
  readonly bends: readonly { readonly at_mm: Vec3; readonly radius_mm: number; readonly angle_deg: number }[];
  /** Proven: the hose's surface is nowhere nearer to a scan, its ends left out. Null without a route. */
  readonly least_gap_mm: number | null;
  readonly tightest_mm: Vec3 | null;
  readonly tightest_to: string | null;
  /** What its tunnel takes from the envelope, clearance included. */
  readonly cost_l: number;
  /** Centre line. */
  readonly line: readonly Vec3[];
}

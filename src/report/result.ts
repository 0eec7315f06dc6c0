import type { Note } from '../core/fault.ts';
import type { Box3, Vec3 } from '../core/vec.ts';
import type { Bounded } from '../fill/bounded.ts';
import type { TankResult } from '../fill/tank-result.ts';
import type { RouteResult, TubeResult, WayResult, WaysSearch } from '../fit/result.ts';
import type { Job } from '../job/job.ts';
import type { DatumResult } from '../scan/datum.ts';
import type { HoleResult } from '../scan/holes.ts';
import type { LessSure } from '../scan/less-sure.ts';
import type { PlacingResult } from '../scan/placing.ts';
import type { StowageResult } from '../stow/result.ts';
import type { ClosestResult } from './closest.ts';

export type { Bounded } from '../fill/bounded.ts';
export type { TankResult } from '../fill/tank-result.ts';

/** Version of the result's shape; raised when a key changes its meaning or goes. */
export const RESULT_VERSION = 1;

export interface InputResult {
  readonly scan: string;
  readonly file: string;
  readonly sha256: string;
  readonly triangles: number;
  readonly points: number;
  readonly unit: string;
  readonly box_mm: Box3;
}

export interface NeckResult {
  readonly at_mm: Vec3;
  readonly diameter_mm: number;
  readonly behind_l: number;
  /** Whether the envelope's ball passes, so that the room behind it is in the envelope. */
  readonly passed: boolean;
  /** The two obstacles (or the region's border) nearest to it. */
  readonly between: readonly string[];
}

export interface EnvelopeResult {
  readonly volume_l: Bounded;
  readonly area_dm2: number;
  readonly box_mm: Box3;
  readonly centre_mm: Vec3;
  readonly pieces: number;
  readonly through_holes: number;
  readonly largest_ball: { readonly radius_mm: number; readonly centre_mm: Vec3 };
  readonly least_radius_mm: number;
  readonly start_mm: Vec3;
  /** How the start was chosen. */
  readonly start_from: string;
  readonly by_radius: readonly { readonly radius_mm: number; readonly volume_l: number }[];
  readonly necks: readonly NeckResult[];
}

/** The result of `measure`: plain JSON values. Lengths mm, volumes litres, areas dm2, masses kg. */
export interface Result {
  readonly version: typeof RESULT_VERSION;
  readonly tool: { readonly name: string; readonly version: string };
  readonly job: Job;
  readonly inputs: readonly InputResult[];
  /**
   * Only in a result that was written into a folder, and as seen from there: the folder that the job names its scans from, and the job's own file
   * unless it is a changed copy of one.
   */
  readonly source?: { readonly folder: string; readonly job_file?: string };
  readonly grid: {
    readonly step_mm: number;
    readonly dims: readonly [number, number, number];
    readonly cells: number;
    readonly memory_mb: number;
    /** Envelope at twice the step less this one, litres: the part of the bounds that the grid makes. */
    readonly change_at_double_step_l: number;
    /** Cell of the grid on which the skin was rolled, mm; 0 without a skin. */
    readonly skin_step_mm: number;
  };
  /** How far the envelope's surface may be off, the mean over its area, mm; and the obstacles that are less sure than the job's accuracy. */
  readonly accuracy?: { readonly mm: number; readonly less_sure: readonly LessSure[] };
  readonly timings_s: Readonly<Record<string, number>>;
  readonly envelope: EnvelopeResult;
  readonly reclaimed?: { readonly volume_l: Bounded };
  readonly tank?: TankResult;
  readonly stowage?: StowageResult;
  /** Best first. */
  readonly ways_in?: readonly WayResult[];
  readonly ways_search?: WaysSearch;
  /** Those that cost most first. */
  readonly tubes?: readonly TubeResult[];
  readonly routes?: readonly RouteResult[];
  /** The job of the vehicle before the work, when the reclaimed volume comes from one. */
  readonly before?: { readonly job: string; readonly inputs: readonly InputResult[] };
  /** The frame that everything is in, when the job asks for one of its own. */
  readonly datum?: DatumResult;
  /** Where each obstacle comes nearest to the envelope, the tightest first; found when the drawing is made. */
  readonly closest?: readonly ClosestResult[];
  /** Scans whose place was found by the run. */
  readonly placings?: readonly PlacingResult[];
  /** Open borders of the obstacles, those near the envelope first; at most 200. */
  readonly holes?: readonly HoleResult[];
  readonly notes: readonly Note[];
  readonly cautions: readonly string[];
}

/**
 * What must be said beside every figure that someone may act on. The explosion risk of "empty" fuel tanks: HSE INDG314.
 */
export const CAUTIONS: readonly string[] = [
  'The figures are estimates of room. They are not a certified capacity, and no check of strength, leaks, fire safety or road legality.',
  'An "empty" fuel tank can explode: welding, cutting or drilling on one is for specialists, and only when it is proven free of gas.',
  'How much fuel may be carried, and where, is for the local, vehicle and competition rules: leave design, tests and fitting to qualified people.',
];

/** A table of fuel litres as it leaves for a spreadsheet: the cautions as comment lines in front. */
export const withCautions = (csv: string): string => `${CAUTIONS.map((c) => `# ${c}\n`).join('')}${csv}`;

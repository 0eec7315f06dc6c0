import type { Note } from '../core/fault.ts';
import type { Vec3 } from '../core/vec.ts';
import type { PlacedBlock } from './blocks.ts';
import type { ItemResult } from './items.ts';
import type { BallResult, BoxResult, CylinderResult } from './largest.ts';

/** Through what things go in: a point in the opening that the job names, the open end of a way in, or nothing that was named. */
export type StowageOpening =
  | { readonly by: 'point'; readonly at_mm: Vec3 }
  | { readonly by: 'way'; readonly direction: Vec3; readonly clearance_mm: number; readonly off: readonly string[] }
  | { readonly by: 'no way' }
  | { readonly by: 'not asked' };

/** What the result says of stowage; null: nothing fits, left out: not asked. */
export interface StowageResult {
  readonly lining_mm: number;
  /** How everything reaches its place; the largest solids are those of the room itself, whatever the opening. */
  readonly opening: StowageOpening;
  /** Room inside the lining, and how much of it can be reached, litres. */
  readonly room_l: number;
  readonly reached_l: number;
  readonly largest?: {
    readonly ball: BallResult | null;
    readonly cylinder: CylinderResult | null;
    /** Sides along the axes; turned about z; turned any way. */
    readonly box: BoxResult | null;
    readonly box_turned_about_z: BoxResult | null;
    readonly box_turned: BoxResult | null;
  };
  /** Reference blocks of one litre, and how many there cannot be more of. */
  readonly blocks_l?: number;
  readonly blocks_bound_l?: number;
  /** That bound is one for places so far apart, mm; 0: for every place. */
  readonly blocks_bound_on_mm?: number;
  readonly blocks?: readonly PlacedBlock[];
  readonly items?: readonly ItemResult[];
  readonly luggage?: readonly ItemResult[];
  readonly notes: readonly Note[];
}

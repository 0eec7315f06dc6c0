import type { Note } from '../core/fault.ts';
import type { PlacedBlock } from './blocks.ts';
import type { ItemResult } from './items.ts';
import type { BallResult, BoxResult, CylinderResult } from './largest.ts';

/** What the result says of stowage; null: nothing fits, left out: not asked. */
export interface StowageResult {
  readonly lining_mm: number;
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
  readonly blocks?: readonly PlacedBlock[];
  readonly items?: readonly ItemResult[];
  readonly luggage?: readonly ItemResult[];
  readonly notes: readonly Note[];
}

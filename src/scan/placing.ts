import type { Vec3 } from '../core/vec.ts';
import type { Placing } from '../job/schema-place.ts';
import type { Rigid } from './place.ts';

/** How a scan came to stand where it does; lengths mm. Only of scans whose placing was found, not given. */
export interface PlacingResult {
  readonly scan: string;
  readonly by: 'surface' | 'targets' | 'file';
  /** The scan that it was laid onto, or the file of the placing or of the targets that stay. */
  readonly onto: string;
  /** By rows [r, r, r, t]: from the scan file, in mm, to where it stands, before the job's datum. */
  readonly matrix: Placing;
  /** SHA-256 of the scan file that the placing belongs to. */
  readonly sha256: string;
  /** What is left between partners: distances from the surface, or between stickers; null when read from a file. */
  readonly residual_mm: { readonly median: number; readonly p95: number } | null;
  /** Expected error (root mean square) at the worst corner of the region; null when read from a file without one. */
  readonly error_mm: number | null;
  /** Share of the moved scan's area that lies on the other. */
  readonly overlap_percent?: number;
  /** Which way the fit is held least, and by how much: 1/3 is even in all directions, 0 slides. */
  readonly weakest?: { readonly direction: string; readonly strength: number };
  readonly targets?: { readonly matched: number; readonly own: number; readonly fixed: number; readonly scale_error_percent: number };
  readonly doubts: readonly string[];
}

export const rowsOf = ({ rows, shift }: Rigid): Placing => [
  [...rows[0], shift[0]],
  [...rows[1], shift[1]],
  [...rows[2], shift[2]],
];

export const rigidOf = (p: readonly (readonly [number, number, number, number])[]): Rigid => {
  const row = (i: number): Vec3 => [p[i][0], p[i][1], p[i][2]];
  return { rows: [row(0), row(1), row(2)], shift: [p[0][3], p[1][3], p[2][3]] };
};

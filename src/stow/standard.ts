import type { Vec3 } from '../core/vec.ts';

/** The reference block of ISO 3832 and DIN 70020-1, mm: one litre. */
export const BLOCK: Vec3 = [200, 100, 50];

/** Luggage pieces of SAE J1100, mm, with the most that may be counted of each (as listed in arXiv 1008.3773). */
export const LUGGAGE: readonly { readonly size: Vec3; readonly most: number }[] = [
  { size: [229, 483, 610], most: 4 },
  { size: [165, 330, 457], most: 4 },
  { size: [229, 406, 660], most: 2 },
  { size: [216, 457, 533], most: 2 },
  { size: [203, 229, 381], most: 2 },
  { size: [178, 356, 533], most: 2 },
  { size: [1143, 204, 204], most: 2 },
  { size: [152, 114, 325], most: 20 },
];

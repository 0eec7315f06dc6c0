import type { Scan } from '../../samples/scanner.ts';
import { triangleCount } from '../../src/core/mesh.ts';

/** Triangles of the scanned surface, without the loose specks at the end. */
export const solidTriangles = (s: Scan): number => triangleCount(s.mesh) - s.speckTriangles;

/** Corners that the scanned surface uses; specks have their own after them. */
export function surfaceCorners(s: Scan): number {
  let last = 0;
  for (let i = 0; i < 3 * solidTriangles(s); i++) last = Math.max(last, s.mesh.indices[i]);
  return last + 1;
}

/** The place of corner number `v`, mm. */
export const corner = (s: Scan, v: number): [number, number, number] => [
  s.mesh.positions[3 * v],
  s.mesh.positions[3 * v + 1],
  s.mesh.positions[3 * v + 2],
];

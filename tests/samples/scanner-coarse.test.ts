import { createHash } from 'node:crypto';
import { beforeAll, describe, expect, it } from 'vitest';
import { bytesOf } from '../../samples/make.ts';
import { type Scan, scanQuad } from '../../samples/scanner.ts';
import { obstacleDistance, PART_NAMES } from '../../samples/solids.ts';
import { triangleCount } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { corner, surfaceCorners } from './corners.ts';

const hashOf = (scans: readonly Scan[]): string => {
  const h = createHash('sha256');
  for (const s of scans) h.update(bytesOf(s));
  return h.digest('hex');
};

describe('a coarser scan', () => {
  const coarse = { coarseness: 3, seed: 7 };
  let bare: Scan[];
  beforeAll(() => {
    bare = scanQuad(coarse);
  });

  it('comes out the same byte for byte, and differently with another seed', () => {
    const first = hashOf(bare);
    expect(hashOf(scanQuad(coarse))).toBe(first);
    expect(hashOf(scanQuad({ ...coarse, seed: 8 }))).not.toBe(first);
  });

  it('without noise lies on the exact solids to 0.02 mm', () => {
    for (const s of scanQuad({ ...coarse, sigma: 0, specks: 0 })) {
      expect(s.speckTriangles).toBe(0);
      let squares = 0;
      const n = surfaceCorners(s);
      for (let v = 0; v < n; v++) squares += obstacleDistance(s.name, ...corner(s, v)) ** 2;
      expect(Math.sqrt(squares / n), s.name).toBeLessThan(0.02);
    }
  });

  it('of the stock state has the airbox in place of the intake, and stands where it is put', () => {
    const placing = ([x, y, z]: Vec3): Vec3 => [-y + 40, x - 15, z + 5];
    const stock = scanQuad({ ...coarse, state: 'stock', placing });
    expect(stock.map((s) => s.name)).toEqual(PART_NAMES.filter((n) => n !== 'intake'));
    for (const s of stock) {
      const n = surfaceCorners(s);
      for (let v = 0; v < n; v += 50) {
        const [x, y, z] = corner(s, v);
        expect(Math.abs(obstacleDistance(s.name, y + 15, -(x - 40), z - 5))).toBeLessThan(0.8);
      }
    }
    // In the bay the airbox is hidden in part.
    const count = (set: readonly Scan[]): number => triangleCount(set.find((s) => s.name === 'airbox')!.mesh);
    expect(count(stock)).toBeLessThan(0.97 * count(bare));
  });
});

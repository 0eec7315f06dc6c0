import { describe, expect, it } from 'vitest';
import { digestedSource } from '../../cli/files.ts';
import { meshArea, meshBox, triangleCount } from '../../src/core/mesh.ts';
import { readScan } from '../../src/io/read.ts';
import { bunny, bunnyFile, dragon, dragonFile } from './scans.ts';

/** Real scans through the program's own readers, held against readers that are not ours (a plain reading of the file, three's loader). */
describe('real scans', () => {
  it('the bunny, binary STL', async () => {
    const read = await readScan(await digestedSource(bunnyFile()));
    const own = read.parts[0].mesh!;
    const plain = bunny();
    expect(triangleCount(own)).toBe(69451);
    expect(triangleCount(plain)).toBe(69451);
    const size = (m: typeof own): number[] => meshBox(m).max.map((v, a) => v - meshBox(m).min[a]);
    const k = Math.max(...size(plain)) / Math.max(...size(own));
    expect(meshArea(own) * k * k).toBeCloseTo(meshArea(plain), 0);
    size(own).forEach((v, a) => {
      expect(v * k).toBeCloseTo(size(plain)[a], 3);
    });
  });

  it('the dragon, gzipped PLY', async () => {
    const read = await readScan(await digestedSource(dragonFile(1)));
    const own = read.parts[0].mesh!;
    const plain = dragon(1);
    expect(triangleCount(own)).toBe(871414);
    expect(triangleCount(plain)).toBe(871414);
    const extent = (m: typeof own): number => Math.max(...meshBox(m).max.map((v, a) => v - meshBox(m).min[a]));
    const k = extent(plain) / extent(own);
    expect((meshArea(own) * k * k) / meshArea(plain)).toBeCloseTo(1, 5);
  });
});

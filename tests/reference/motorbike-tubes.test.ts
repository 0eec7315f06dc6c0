import { describe, expect, it } from 'vitest';
import { digestedSource } from '../../cli/files.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { add, distance, dot, scale, sub, type Vec3 } from '../../src/core/vec.ts';
import { findTubes, type Tube } from '../../src/fit/tubes.ts';
import { readScan } from '../../src/io/read.ts';
import { locateMotorbike } from './fetch.ts';
import figures from './motorbike-tubes.json' with { type: 'json' };

/** Tubes of a real motorcycle mesh against cuts through the mesh itself (motorbike-tubes.py; its figures are recorded in motorbike-tubes.json). */
const MM_PER_METRE = 1000;

/** How far the centre line passes from a place, mm. */
function off(tube: Tube, p: Vec3): number {
  return tube.axis.reduce((least, b, i) => {
    if (i === 0) return least;
    const a = tube.axis[i - 1];
    const d = sub(b, a);
    const t = Math.max(0, Math.min(1, dot(sub(p, a), d) / dot(d, d)));
    return Math.min(least, distance(p, add(a, scale(d, t))));
  }, Infinity);
}

describe('tubes of the motorcycle', () => {
  it('grips and an exhaust header: diameter and middle as cut from the mesh', async () => {
    const file = await readScan(await digestedSource(locateMotorbike()));
    const tubes = new Map<string, Tube[]>();
    for (const group of ['hbars', 'exhaust']) {
      const mesh = file.parts.find((p) => p.mesh && p.name.split('%')[0] === group)!.mesh!;
      const origin: Vec3 = scale(mesh.origin, MM_PER_METRE);
      // The file's faces point inwards.
      const outwards: Mesh = { origin, positions: mesh.positions.map((v) => v * MM_PER_METRE), indices: mesh.indices.slice().reverse() };
      tubes.set(group, findTubes(outwards, { noise: 0.05, seeds: 1500 }));
    }
    for (const [name, cut] of Object.entries(figures.tubes)) {
      const [x, y, z] = cut.at;
      const found = tubes.get(cut.group)!.filter((t) => off(t, [x, y, z]) < 1.5);
      expect(found.length, name).toBe(1);
      // Corners lie on the tube, cuts between them inside it: see the script.
      expect(found[0].diameter, name).toBeGreaterThan(cut.circle);
      expect(found[0].diameter, name).toBeLessThan(cut.most);
    }
  });
});

import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { flood } from '../../src/field/flood.ts';
import { apparentUp, heights } from '../../src/fill/level.ts';
import { bestPlaces, lossEverywhere } from '../../src/fill/places.ts';
import { box, cylinder, moved, solidField, without } from './shapes.ts';

describe('what every place would hold back', () => {
  it.each([1, 2, 3])('equals one flood for each cell of a random cavern, seed %i', (seed) => {
    const r = random(seed);
    const grid = gridOver({ min: [0, 0, 0], max: [9, 8, 7] }, 1);
    const f = fieldOf(grid, () => (r.next() < 0.65 ? 2 : -2));
    const up = r.direction();
    const loss = lossEverywhere(f, up);
    const top = heights(f, up);
    let most = 0;
    let wrong = 0;
    for (let c = 0; c < loss.length; c++) {
      if (!(f.data[c] > 0)) {
        expect(loss[c]).toBe(Infinity);
        continue;
      }
      const reach = flood(top, [c]).reach.data;
      let want = 0;
      for (let d = 0; d < loss.length; d++) if (f.data[d] > 0 && top.data[d] - 1 > reach[d]) want += 1;
      if (Math.abs(loss[c] - want) > 1e-6) wrong++;
      most = Math.max(most, want);
    }
    expect(wrong).toBe(0);
    expect(most).toBeGreaterThan(10);
  });
});

describe('best places', () => {
  const cavity = solidField(box(400, 300, 200), [200, 150, 100], 10);
  const sides = [-10, 10].flatMap((pitch) => [apparentUp({ pitch, lean: 0 })]);

  it('a vent for a box that pitches both ways stands in the middle of the top; one way, at the high end', () => {
    const [best, second] = bestPlaces(cavity, sides, { count: 2, apart: 50, prefer: [0, 0, 1] });
    expect(Math.abs(best.at[0])).toBeLessThan(15);
    expect(best.at[2]).toBeGreaterThan(85);
    // Closed form: L^2 W tan(t) / 8 at the worst, and no place does better.
    expect(Math.abs(best.worst / ((400 ** 2 * 300 * Math.tan(Math.PI / 18)) / 8) - 1)).toBeLessThan(0.15);
    expect(second.worst).toBeGreaterThanOrEqual(best.worst * 0.99);
    const [one] = bestPlaces(cavity, [sides[1]], { count: 1, apart: 50, prefer: [0, 0, 1] });
    expect(one.at[0]).toBeGreaterThan(180);
    expect(one.worst).toBeLessThan(1e5);
  });

  it('keeps to the places that are allowed and apart', () => {
    const found = bestPlaces(cavity, sides, { count: 5, apart: 60, prefer: [0, 0, 1], allow: (p: Vec3) => p[1] > 100 });
    expect(found.length).toBe(5);
    for (const a of found) {
      expect(a.at[1]).toBeGreaterThan(100);
      for (const b of found)
        if (a !== b) expect(Math.hypot(a.at[0] - b.at[0], a.at[1] - b.at[1], a.at[2] - b.at[2])).toBeGreaterThanOrEqual(60);
    }
  });

  it('a pickup in a saddle can not serve both lobes', () => {
    const saddle = solidField(without(box(300, 400, 200), moved(cylinder(60, 400), [0, 0, -100])), [150, 200, 100], 10);
    const [best] = bestPlaces(saddle, [[0, 0, -1]], { count: 1, apart: 50, prefer: [0, 0, -1] });
    const lobe = 300 * (200 * 60 - (Math.PI * 60 * 60) / 4);
    expect(Math.abs(best.worst / lobe - 1)).toBeLessThan(0.12);
    expect(best.at[2]).toBeLessThan(-85);
  });
});

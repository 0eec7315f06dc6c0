import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { cellAt, gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { flood } from '../../src/field/flood.ts';
import { volume } from '../../src/field/integrate.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { partFrom, rollBall } from '../../src/space/roll.ts';
import { anyTurn, ball, box, either, placed } from '../oracle/solids.ts';

/** Volume swept by a ball of radius r inside a box: the box less 2 r a side, grown by r again (Steiner's formula, exact), mm3. */
function opened(size: Vec3, r: number): number {
  const [a, b, c] = size.map((s) => s - 2 * r);
  return a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r ** 2 + (4 / 3) * Math.PI * r ** 3;
}

const SIZE: Vec3 = [400, 300, 200];

/** The rolled volume over its exact value, less one, for a box put anyhow by the seed. */
async function errorOf(seed: number, r: number, step: number, size: Vec3 = SIZE): Promise<number> {
  const rng = random(seed);
  const turn = seed === 0 ? [1, 0, 0, 0] : anyTurn(rng.normal);
  const shift: Vec3 = [rng.range(-step, step), rng.range(-step, step), rng.range(-step, step)];
  const reach = (seed === 0 ? Math.max(...size) : Math.hypot(...size)) / 2 + 15;
  const grid = gridOver({ min: [-reach, -reach, -reach], max: [reach, reach, reach] }, step);
  const f = fieldOf(grid, placed(box(size), turn, shift));
  const room = await rollBall(f, r, [cellAt(grid, [0, 0, 0])], inlineContext);
  return volume(room) / opened(size, r) - 1;
}

describe('the room swept by a ball in a box of 400 x 300 x 200 mm', () => {
  it.each([
    [0, 10, 6],
    [0, 25, 6],
    [3, 10, 6],
    [4, 25, 6],
  ])('seed %i, radius %i, cells of %i mm: within 0.2 percent of the closed form', async (seed, r, step) => {
    expect(Math.abs(await errorOf(seed, r, step))).toBeLessThan(2e-3);
  });

  it('comes closer with at least the 1.8th power of the cell: a box of 200 x 150 x 100, radius 24, seeds 5 to 8, cells of 12 and 4', async () => {
    const mean = async (step: number): Promise<number> => {
      let sum = 0;
      for (let seed = 5; seed <= 8; seed++) sum += (await errorOf(seed, 24, step, [200, 150, 100])) ** 2;
      return Math.sqrt(sum / 4);
    };
    const order = Math.log((await mean(12)) / (await mean(4))) / Math.log(3);
    expect(order).toBeGreaterThan(1.8);
  });
});

describe('creases that pass exactly through cell centres', () => {
  it.each([8, 10, 25])('box of 400 x 300 x 200 on centres of 4 mm cells, radius %i', async (r) => {
    const grid = { origin: [-208, -160, -108] as const, step: 4, nx: 105, ny: 81, nz: 55 };
    const room = await rollBall(fieldOf(grid, box(SIZE)), r, [cellAt(grid, [0, 0, 0])], inlineContext);
    expect(Math.abs(volume(room) / opened(SIZE, r) - 1)).toBeLessThan(5e-4);
  });
});

describe('what a ball can reach', () => {
  const grid = gridOver({ min: [-91, -41, -41], max: [91, 41, 41] }, 2);
  /** Two balls of radius 30 joined by a pipe of radius 9. */
  const dumbbell = either(ball(30, [-50, 0, 0]), ball(30, [50, 0, 0]), (x, y, z) => Math.min(9 - Math.hypot(y, z), 60 - Math.abs(x)));
  const f = fieldOf(grid, dumbbell);
  const start = [cellAt(grid, [-50, 0, 0])];
  const ballVolume = (4 / 3) * Math.PI * 30 ** 3;

  it('stays on its side of a neck that is too narrow, and passes a wider one', async () => {
    const one = volume(await rollBall(f, 10, start, inlineContext));
    const two = volume(await rollBall(f, 7, start, inlineContext));
    expect(one / ballVolume).toBeGreaterThan(0.99);
    expect(one / ballVolume).toBeLessThan(1.02);
    expect(two / ballVolume).toBeGreaterThan(2);
  });

  it('from anywhere: both sides, whatever the neck', async () => {
    expect(volume(await rollBall(f, 10, 'anywhere', inlineContext)) / ballVolume / 2).toBeCloseTo(1, 2);
  });

  it('is nothing where no ball fits, and never more than the field', async () => {
    const none = await rollBall(f, 31, start, inlineContext);
    expect(volume(none)).toBe(0);
    const room = await rollBall(f, 8, start, inlineContext);
    expect(room.data.every((v, c) => v <= f.data[c])).toBe(true);
  });

  it('hangs together as the flood says, random fields, seeds 1 to 5', () => {
    for (let seed = 1; seed <= 5; seed++) {
      const r = random(seed);
      const g = gridOver({ min: [0, 0, 0], max: [20, 15, 12] }, 1);
      const noise = fieldOf(g, () => r.range(-1, 1));
      const from = noise.data.findIndex((v) => v > 0.2);
      const { reach } = flood(noise, [from], { floor: -0.3 });
      const part = partFrom(noise, -0.3, [from]);
      const wrong = part.data.reduce((n, v, c) => n + (v >= -0.3 === reach.data[c] >= -0.3 ? 0 : 1), 0);
      expect(wrong).toBe(0);
    }
  });
});

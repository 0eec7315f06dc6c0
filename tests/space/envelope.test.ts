import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { cellAt, cellCentre, gridOver } from '../../src/core/grid.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { chooseStart, everySecond, largestBall, necksFrom, reclaimedTask, summitFrom, volumesByRadius } from '../../src/space/envelope.ts';
import { rollBall } from '../../src/space/roll.ts';
import { ball, box, either } from '../oracle/solids.ts';

const grid = gridOver({ min: [-91, -41, -41], max: [91, 41, 41] }, 2);
/** A ball of radius 32 and one of radius 26, joined by a pipe of radius 9. */
const room = either(ball(32, [-48, 0, 0]), ball(26, [50, 0, 0]), (x, y, z) => Math.min(9 - Math.hypot(y, z), 60 - Math.abs(x)));
const free = fieldOf(grid, room);
const small = (4 / 3) * Math.PI * 26 ** 3;

describe('start and largest ball', () => {
  it('a point in the void moves uphill to the middle', () => {
    const top = summitFrom(free, cellAt(grid, [-60, 8, -10]));
    const p = cellCentre(grid, top);
    expect(Math.hypot(p[0] + 48, p[1], p[2])).toBeLessThan(2.5);
  });

  it("the job's point that is not free gives no start", () => {
    expect(chooseStart(free, 8, [0, 30, 0], null).cell).toBe(-1);
    expect(chooseStart(free, 8, [900, 0, 0], null).cell).toBe(-1);
  });

  it('the void of the removed part comes before the largest piece', () => {
    const removed = fieldOf(grid, (x, y, z) => Math.hypot(x - 50, y, z) - 20);
    const there = chooseStart(free, 8, null, removed);
    expect(cellCentre(grid, there.cell)[0]).toBeGreaterThan(40);
    expect(there.how).toContain('removed part');
    const largest = chooseStart(free, 10, null, null);
    expect(cellCentre(grid, largest.cell)[0]).toBeLessThan(-40);
    expect(largest.how).toContain('largest free piece');
  });

  it('the largest ball that is reached: across the pipe with radius 8, on its side with 10', () => {
    const start = cellAt(grid, [50, 0, 0]);
    expect(free.data[largestBall(free, 8, start)]).toBeGreaterThan(31);
    expect(free.data[largestBall(free, 10, start)]).toBeLessThan(26.1);
  });
});

describe('necks', () => {
  it('one neck of twice the pipe, with the smaller ball behind it', async () => {
    const root = largestBall(free, 8, cellAt(grid, [-48, 0, 0]));
    const envelope = await rollBall(free, 8, [root], inlineContext);
    const necks = necksFrom(free, root, envelope, 8);
    expect(necks).toHaveLength(1);
    expect(necks[0].diameter).toBeGreaterThan(18 - 2 * 2);
    expect(necks[0].diameter).toBeLessThanOrEqual(18);
    expect(Math.abs(necks[0].at[0])).toBeLessThan(40);
    expect(necks[0].passed).toBe(true);
    expect(necks[0].behind / small).toBeGreaterThan(0.97);
    expect(necks[0].behind / small).toBeLessThan(1.15);
  });

  it('a neck too narrow for the ball is told with the free room behind it', async () => {
    const root = largestBall(free, 12, cellAt(grid, [-48, 0, 0]));
    const envelope = await rollBall(free, 12, [root], inlineContext);
    const [neck] = necksFrom(free, root, envelope, 12);
    expect(neck.passed).toBe(false);
    expect(neck.behind / small).toBeGreaterThan(0.9);
  });
});

describe('volume by radius and reclaimed volume', () => {
  it('falls with the radius and loses the far ball where the pipe is too narrow', async () => {
    const root = cellAt(grid, [-48, 0, 0]);
    const [four, eight, ten, forty] = await volumesByRadius(free, root, [4, 8, 10, 40], inlineContext);
    expect(four).toBeGreaterThan(eight);
    expect(eight - ten).toBeGreaterThan(0.95 * small);
    expect(forty).toBe(0);
  });

  it('what a removed part held back comes free: a box of which a slab was filled', async () => {
    const g = gridOver({ min: [-70, -50, -40], max: [70, 50, 40] }, 2);
    const whole = fieldOf(g, box([120, 80, 60]));
    // The removed part fills x > 10 (with its clearance): before, only the box from -60 to 10 was free.
    const before = fieldOf(g, (x, y, z) => Math.min(box([120, 80, 60])(x, y, z), 10 - x));
    const envelope = await rollBall(whole, 8, [cellAt(g, [0, 0, 0])], inlineContext);
    const got = await reclaimedTask.run({ envelope, before, radius: 8 });
    const opened = ([a, b, c]: number[], r: number): number =>
      a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3;
    const exact = opened([104, 64, 44], 8) - opened([54, 64, 44], 8);
    expect(got / exact).toBeCloseTo(1, 2);
  });

  it('every second cell: half the samples at twice the step, same places', () => {
    const half = everySecond(free);
    expect(half.grid.step).toBe(4);
    for (const c of [0, 5, half.data.length - 1]) expect(half.data[c]).toBe(free.data[cellAt(grid, cellCentre(half.grid, c))]);
  });
});

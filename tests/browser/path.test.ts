import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Vec3 } from '../../src/core/vec.ts';
import { rowsOf } from '../../src/fit/pose.ts';
import type { PathPose } from '../../src/fit/trial.ts';
import { writeGlb } from '../../src/io/write-glb.ts';
import { Walk } from '../../viewer/path.ts';
import { CENTRE, ellipsoid, RESULT, sceneGlb, shapes } from './folder.ts';
import { type Bench, drawingOf, openBench } from './page.ts';

describe('a walk along poses', () => {
  const quarter: Vec3 = [0, 0, Math.PI / 2];
  const walk = new Walk(
    [
      { shift: [0, 0, 0], turn: [0, 0, 0] },
      { shift: [0, 0, 300], turn: [0, 0, 0] },
      { shift: [0, 0, 300], turn: quarter },
    ],
    100,
  );

  test('is even in how far the outermost points travel', () => {
    expect(walk.length).toBeCloseTo(300 + 50 * Math.PI, 9);
    const half = walk.at(150 / walk.length);
    expect(half.shift[2]).toBeCloseTo(150, 9);
    const turned = walk.at((300 + 25 * Math.PI) / walk.length);
    expect(turned.shift[2]).toBeCloseTo(300, 9);
    expect(turned.turn[2]).toBeCloseTo(Math.PI / 4, 9);
    expect(walk.at(1).turn).toEqual(quarter);
  });

  test('finds where a pose of it stands', () => {
    expect(walk.shareOf({ shift: [0, 0, 200], turn: [0, 0, 0] })).toBeCloseTo(200 / walk.length, 2);
    expect(walk.shareOf({ shift: [0, 0, 300], turn: [0, 0, 1] })).toBeCloseTo(400 / walk.length, 2);
  });
});

const HALVES = [100, 40, 30] as const;

/** Pushed 300 mm up, then turned a quarter about the upright through its middle. */
const place = (shift_mm: Vec3, degrees: number): PathPose => ({
  shift_mm,
  turn_deg: [0, 0, degrees],
  rows: rowsOf({ shift: shift_mm, turn: [0, 0, (degrees * Math.PI) / 180] }, CENTRE),
});
const TURNED = {
  works: true,
  path: [place([0, 0, 0], 0), place([0, 0, 300], 0), place([0, 0, 300], 90)],
  least_slack_mm: 1.234,
  at_least_mm: 1.2,
  tightest: place([0, 0, 300], 0),
  obstacle: 'frame',
  at_mm: [0, 40, 1000],
};
const FIT = { vehicles: [{ body: { centre_mm: CENTRE }, way: { clearance_mm: 2, works: true, tried: [], turned: TURNED } }] };

/** Width and height, mm, and middle height of all that is not paper, seen from ahead: y to the right, z up, 1000 mm high. */
async function seen(page: Page): Promise<{ wide: number; high: number; z: number }> {
  const { data, width, height } = await drawingOf(page);
  const paper = data.subarray(4 * (20 * width + 20), 4 * (20 * width + 20) + 3);
  const box = { x0: width, x1: 0, y0: height, y1: 0 };
  for (let y = 10; y < height - 10; y++)
    for (let x = 10; x < width - 10; x++)
      if ([0, 1, 2].some((c) => Math.abs(data[4 * (y * width + x) + c] - paper[c]) > 8)) {
        box.x0 = Math.min(box.x0, x);
        box.x1 = Math.max(box.x1, x + 1);
        box.y0 = Math.min(box.y0, y);
        box.y1 = Math.max(box.y1, y + 1);
      }
  const mm = 1000 / Math.min(width, height);
  return { wide: mm * (box.x1 - box.x0), high: mm * (box.y1 - box.y0), z: 850 + mm * (height / 2 - (box.y0 + box.y1) / 2) };
}

describe('a body on its way in', () => {
  let bench: Bench;
  beforeAll(async () => {
    bench = await openBench(async (folder) => {
      const { positions, indices } = ellipsoid(CENTRE, HALVES);
      const mesh = { origin: [0, 0, 0] as const, positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
      const ways = {
        ways_in: [{ direction: [0, 0, 1], volume_l: { value: 9, low: 8.9, high: 9.1 }, kept_percent: 90, blockers: [], without: [] }],
      };
      await writeFile(join(folder, 'result.json'), JSON.stringify({ ...RESULT, ...ways }));
      const body = { shape: ellipsoid(CENTRE, [150, 90, 80]), extras: { kind: 'body' } };
      await writeFile(join(folder, 'scene.glb'), await sceneGlb({ ...shapes(), body }));
      await writeFile(join(folder, 'fit.json'), JSON.stringify(FIT));
      await writeFile(join(folder, 'fit-body.glb'), await writeGlb([{ name: 'fitted body', mesh }], {}));
    });
  });
  afterAll(() => bench?.close());

  test('the slider, by keyboard, brings it from the open to its seat; the narrowest moment is marked; it plays', async () => {
    const hidden = ['envelope', 'frame', 'engine%20%26%20box', 'body'].join(',');
    const page = await bench.open(`#hidden=${hidden}&eye=0,0,1000,0,0,850`);
    const slider = page.getByRole('slider', { name: 'Place on the way in' });
    expect(await page.locator('#paths').textContent()).toContain('Narrowest moment: 1.23 mm more than the 2 mm kept, to frame.');
    await slider.focus();
    await page.keyboard.press('End');
    const seat = await seen(page);
    expect(Math.abs(seat.wide - 80)).toBeLessThan(6);
    expect(Math.abs(seat.high - 60)).toBeLessThan(6);
    expect(Math.abs(seat.z - 700)).toBeLessThan(4);
    expect(await slider.getAttribute('aria-valuetext')).toBe('at its seat');
    await page.keyboard.press('Home');
    const open = await seen(page);
    expect(Math.abs(open.wide - 200)).toBeLessThan(6);
    expect(Math.abs(open.z - 1000)).toBeLessThan(4);
    expect(await slider.getAttribute('aria-valuetext')).toBe('0 % of the way in, 300 mm from its seat, turned 90 degrees');
    await page.getByRole('button', { name: 'narrowest moment' }).click();
    expect(await page.locator('.path-mark').isVisible()).toBe(true);
    const share = (50 * Math.PI) / (300 + 50 * Math.PI);
    expect(Math.abs(Number(await slider.inputValue()) / 1000 - share)).toBeLessThan(0.02);
    await slider.fill('990');
    await page.getByRole('button', { name: 'play' }).click();
    await page.waitForFunction(() => document.querySelector<HTMLInputElement>('#paths input[type=range]')?.value === '1000');
    expect(await page.getByRole('button', { name: 'play' }).isVisible()).toBe(true);
    // The other way: what of the envelope slides out, straight up.
    await page.getByRole('radio', { name: 'the body that slides in' }).check();
    await slider.press('End');
    expect(Math.abs((await seen(page)).wide - 180)).toBeLessThan(8);
    await page.getByRole('button', { name: 'put away' }).click();
    expect((await seen(page)).wide).toBeLessThan(0);
    expect(bench.troubles).toEqual([]);
    await page.close();
  });

  test('a fit that cannot be read is said, and the rest is shown', async () => {
    await writeFile(join(bench.folder, 'fit.json'), '{ "vehicles": [');
    const page = await bench.open();
    expect(await page.locator('#paths').textContent()).toContain('fit.json cannot be shown');
    expect(await page.locator('[data-thing="frame"]').count()).toBe(1);
    expect(bench.troubles).toEqual([]);
    await page.close();
  });
});

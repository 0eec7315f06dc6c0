import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { embed } from '../../src/report/embed.ts';
import { BOX, roundedBox, writeBoxFolder } from './box-folder.ts';
import { type Bench, count, drawingOf, openBench } from './page.ts';
import { DIST } from './serve.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench(writeBoxFolder, true);
});
afterAll(() => bench?.close());

const amber = (r: number, g: number, b: number): boolean => r > 100 && g > 0.65 * r && b < 0.35 * r;

async function set(page: Page, dial: string, value: number): Promise<void> {
  const number = page.locator(`[data-dial="${dial}"] input[type="number"]`);
  await number.fill(String(value));
  await number.blur();
  await reckoned(page);
}

const reckoned = (page: Page): Promise<unknown> =>
  page.waitForFunction(
    () => {
      const text = document.getElementById('quick')?.textContent ?? '';
      return /Quick/.test(text) && !/being reckoned/.test(text);
    },
    null,
    { timeout: 60_000 },
  );

const figure = async (page: Page, key: string): Promise<number[]> =>
  ((await page.locator(`[data-figure="${key}"] dd`).textContent()) ?? '').match(/[\d.]+/g)?.map(Number) ?? [];

/** The printed figure is the closed form within its own printed bounds. */
async function expectFigure(page: Page, key: string, want: number): Promise<void> {
  const [value, low, high] = await figure(page, key);
  expect(low, key).toBeLessThanOrEqual(want);
  expect(high, key).toBeGreaterThanOrEqual(want);
  expect(Math.abs(value / want - 1), key).toBeLessThan(0.02);
}

test('each dial changes the figure that it is for, to its closed form; as measured brings the sheet back', async () => {
  const page = await bench.open();
  const before = await page.locator('#rows').textContent();
  const block = (show: string): Promise<boolean> => page.locator(`[data-thing="a block"] input[value="${show}"]`).isChecked();
  const remarks = page.locator('#places .of-fine, [data-thing="a block"] .of-fine');
  await page.locator('[data-thing="a block"] input[value="shown"]').check({ force: true });
  expect(await remarks.evaluateAll((all) => all.filter((e) => e.checkVisibility()).length)).toBe(0);
  await set(page, 'clearance', 30);
  // What only the fine run reckons steps back and says so.
  expect(await block('faint')).toBe(true);
  expect(await remarks.evaluateAll((all) => all.filter((e) => e.checkVisibility()).length)).toBe(2);
  const lower = [400, 300, 170];
  await expectFigure(page, 'envelope', roundedBox(lower, 10));
  await set(page, 'radius', 25);
  await expectFigure(page, 'envelope', roundedBox(lower, 25));
  await set(page, 'wall', 9);
  await expectFigure(page, 'brim_l', roundedBox(lower, 25, 9));
  await set(page, 'ullage', 20);
  await expectFigure(page, 'rated_l', roundedBox(lower, 25, 9) * 0.8);
  expect(await page.locator('#quick').textContent()).toMatch(/Quick figures from 4 mm cells/);
  // Wherever the pickup is, nose up and nose down together strand something: L^2 W tan(t)/4 at least for sharp corners.
  await set(page, 'pitch', 20);
  const [nose] = await figure(page, 'stranded');
  await set(page, 'pitch', -20);
  const [tail] = await figure(page, 'stranded');
  expect(nose + tail).toBeGreaterThan((0.8 * 0.38 ** 2 * 0.28 * Math.tan(Math.PI / 9) * 1000) / 4);
  // Only what was reckoned again stands on the sheet: the removed part's share was not.
  expect(await page.locator('[data-figure="reclaimed"]').count()).toBe(0);
  await page.getByRole('button', { name: 'as measured' }).click();
  expect(await page.locator('#rows').textContent()).toBe(before);
  expect(await page.locator('#quick').isVisible()).toBe(false);
  expect(await block('shown')).toBe(true);
  expect(await remarks.evaluateAll((all) => all.filter((e) => e.checkVisibility()).length)).toBe(0);
  await page.close();
});

test('the liquid is drawn, and less of it when there is less', async () => {
  const page = await bench.open('#eye=90,0,600,30,-11,700');
  await set(page, 'fill', 80);
  const much = count(await drawingOf(page), amber);
  await set(page, 'fill', 30);
  const little = count(await drawingOf(page), amber);
  expect(much).toBeGreaterThan(10_000);
  // Seen from the side, the level's height: 80 against 30 % of it, a box with rounded edges.
  expect(little / much).toBeGreaterThan(0.33);
  expect(little / much).toBeLessThan(0.42);
  expect(await page.locator('[data-thing="liquid"]').count()).toBe(1);
  await page.close();
});

test('a link carries the dials', async () => {
  const page = await bench.open('#dials=clearance%3A30');
  await reckoned(page);
  await expectFigure(page, 'envelope', roundedBox([400, 300, 170], 10));
  expect(await page.locator('[data-dial="clearance"] input[type="number"]').inputValue()).toBe('30');
  await page.close();
});

test('the single file opens from disk with data, drawing and dials inside, and asks for nothing', async () => {
  const names = ['result.json', 'scene.glb', 'coarse.json', 'coarse.bin'];
  const files = new Map(await Promise.all(names.map(async (n) => [n, new Uint8Array(await readFile(join(bench.folder, n)))] as const)));
  const html = embed(await readFile(join(DIST, 'report.html'), 'utf8'), files);
  const path = join(bench.folder, 'report.html');
  // The program of the main job is in the page alone, not in one that holds a result.
  expect(html).not.toContain('data-part="shop-worker"');
  await writeFile(path, html);
  const asked = bench.requests.length;
  const page = await bench.open('#eye=90,0,600,30,-11,700', { url: `file://${path}` });
  await set(page, 'wall', 9);
  await expectFigure(page, 'brim_l', roundedBox(BOX.size, 10, 9));
  expect(count(await drawingOf(page), (r, g, b) => r > 120 && r > 1.6 * g && r > 2 * b)).toBeGreaterThan(3000);
  const own = bench.requests.slice(asked).filter((r) => !r.startsWith(`file://${path}`) && !/^(blob|data):/.test(r));
  expect(own).toEqual([]);
  await page.close();
});

// Last: over all pages above.
test('nothing on the console', () => {
  expect(bench.troubles).toEqual([]);
});

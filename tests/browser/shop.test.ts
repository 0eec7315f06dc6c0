import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { unzipSync } from 'fflate';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { measure } from '../../src/pipeline/measure.ts';
import { roundedBox } from './box-folder.ts';
import { type Bench, count, drawingOf, openBench } from './page.ts';
import { CLEARANCE, JOB, RADIUS, ROOM, STL } from './plates.ts';
import { DIST } from './serve.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench(async () => {});
});
afterAll(() => bench?.close());

const give = (page: Page, files: { name: string; text: string | Uint8Array }[]): Promise<void> =>
  page
    .locator('#shop input[type="file"]')
    .setInputFiles(files.map((f) => ({ name: f.name, mimeType: 'application/octet-stream', buffer: Buffer.from(f.text) })));

async function open(url?: string): Promise<Page> {
  const page = await bench.browser.newPage({ viewport: { width: 1000, height: 620 }, acceptDownloads: true });
  page.on('console', (m) => m.type() === 'error' && bench.troubles.push(m.text()));
  page.on('pageerror', (e) => bench.troubles.push(e.message));
  await page.goto(url ?? bench.url);
  await page.locator('#shop input[type="file"]').waitFor();
  return page;
}

const measured = (page: Page): Promise<unknown> =>
  page.waitForFunction(() => document.documentElement.dataset.measured === 'yes', null, { timeout: 120_000 });

/** What differs between two JSON values, by place: anything but numbers within a part in 10^9 of each other. */
function differences(a: unknown, b: unknown, place = ''): string[] {
  if (typeof a === 'number' && typeof b === 'number' && Math.abs(a - b) <= 1e-9 * Math.max(1, Math.abs(a))) return [];
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return a === b ? [] : [`${place}: ${a}, ${b}`];
  const [left, right] = [new Map(Object.entries(a)), new Map(Object.entries(b))];
  return [...new Set([...left.keys(), ...right.keys()])].flatMap((k) => differences(left.get(k), right.get(k), `${place}/${k}`));
}

test('dropped scan and job: the same envelope as the program gives, to the bit, and the same tank; the folder can be saved', async () => {
  const page = await open();
  await give(page, [
    { name: 'plates.stl', text: STL },
    { name: 'job.yaml', text: JOB },
  ]);
  await page.getByRole('button', { name: 'measure', exact: true }).click();
  await measured(page);
  const [file] = await Promise.all([page.waitForEvent('download'), page.getByRole('button', { name: 'save the result folder' }).click()]);
  const zip = unzipSync(new Uint8Array(await readFile((await file.path()) ?? '')));
  const there = JSON.parse(new TextDecoder().decode(zip['result.json']));
  const source = { ...bytesSource('plates.stl', STL), digest: async () => '' };
  const here = (await measure(parseJob(JOB, 'job.yaml'), { open: async () => source }, inlineContext)).result;
  expect(there.envelope).toEqual(JSON.parse(JSON.stringify(here.envelope)));
  // The dip chart's sums go through powers and roots, whose last digit may differ between two versions of the engine.
  expect(differences(there.tank, JSON.parse(JSON.stringify(here.tank)))).toEqual([]);
  expect(there.inputs[0].sha256).toMatch(/^[0-9a-f]{64}$/);
  // And the closed form of the rounded box.
  const want = roundedBox(
    ROOM.map((v) => v - 2 * CLEARANCE),
    RADIUS,
  );
  expect(Math.abs(there.envelope.volume_l.value / want - 1)).toBeLessThan(0.005);
  expect(Object.keys(zip).sort()).toEqual(['cavity.stl', 'coarse.bin', 'coarse.json', 'drawing.svg', 'envelope.stl', 'result.json']);
  expect(count(await drawingOf(page), (r, g, b) => r > 120 && r > 1.6 * g && r > 2 * b)).toBeGreaterThan(1000);
  await page.close();
});

test('dropped scan alone, in the single file from disk: the short form is enough', async () => {
  const page = await open(`file://${join(DIST, 'report.html')}`);
  await give(page, [{ name: 'plates.stl', text: STL }]);
  await page.getByLabel('Clearance to plates.stl, mm').fill('8');
  await page.getByLabel(/Least radius/).fill(String(RADIUS));
  await page.getByRole('button', { name: 'measure', exact: true }).click();
  await measured(page);
  const [litres] = ((await page.locator('[data-figure="envelope"] dd').textContent()) ?? '').match(/[\d.]+/g)?.map(Number) ?? [];
  const want = roundedBox(
    ROOM.map((v) => v - 16),
    RADIUS,
  );
  expect(Math.abs(litres / want - 1)).toBeLessThan(0.03);
  await page.close();
});

test.each([
  ['a file cut off', [{ name: 'plates.stl', text: STL.slice(0, 3000) }], /plates\.stl[\s\S]*expected/],
  [
    'a job with an unknown key',
    [
      { name: 'plates.stl', text: STL },
      { name: 'job.yaml', text: JOB.replace('least_radius', 'least_radios') },
    ],
    /job\.yaml:\d+:\d+[\s\S]*least_radius/,
  ],
  [
    'a job whose scan is not there',
    [
      { name: 'job.yaml', text: JOB },
      { name: 'other.stl', text: STL },
    ],
    /not dropped/,
  ],
  [
    'a cell too fine for the memory',
    [
      { name: 'plates.stl', text: STL },
      { name: 'job.yaml', text: JOB.replace('step: 4', 'step: 0.05') },
    ],
    /more than the budget[\s\S]*a step of [\d.]+ mm fits/,
  ],
  [
    'no room',
    [
      { name: 'plates.stl', text: STL },
      { name: 'job.yaml', text: JOB.replace(/clearance: \d+/, 'clearance: 58') },
    ],
    /Nothing is free/,
  ],
])('%s is told as the program tells it, and the page stays ready', async (_name, files, says) => {
  const page = await open();
  await give(page, files);
  const go = page.getByRole('button', { name: 'measure', exact: true });
  await go.click();
  await page.waitForFunction(() => !document.querySelector<HTMLButtonElement>('button.go')?.disabled, null, { timeout: 60_000 });
  expect(await page.locator('#shop-says').textContent()).toMatch(says);
  expect(await page.locator('#sheet').isVisible()).toBe(false);
  await page.close();
});

test('stop ends the run at once and keeps nothing', async () => {
  const page = await open();
  await give(page, [
    { name: 'plates.stl', text: STL },
    { name: 'job.yaml', text: JOB.replace('step: 4', 'step: 0.7') },
  ]);
  await page.getByRole('button', { name: 'measure', exact: true }).click();
  await page.getByRole('button', { name: 'stop' }).click();
  expect(await page.locator('#shop-says').textContent()).toBe('Stopped. Nothing was kept.');
  await page.waitForTimeout(500);
  expect(await page.locator('#sheet').isVisible()).toBe(false);
  await page.close();
});

// Last: over all pages above.
test('nothing on the console', () => {
  expect(bench.troubles).toEqual([]);
});

import type { ChildProcess } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { PLATES_JOB, platesStl, ROOM } from '../cli/plates.ts';
import { type Ended, voidgauge } from '../cli/run.ts';
import { roundedBox } from './box-folder.ts';
import { type Bench, openBench, settled } from './page.ts';

let home: string;
let bench: Bench;
let program: ChildProcess;
let url: string;
let ended: Promise<Ended>;
beforeAll(async () => {
  home = await mkdtemp(join(tmpdir(), 'voidgauge-'));
  await mkdir(join(home, 'scans'));
  await writeFile(join(home, 'scans', 'plates.stl'), platesStl());
  await writeFile(join(home, 'job.yaml'), PLATES_JOB);
  const { code, stderr } = await voidgauge(['measure', 'job.yaml', '-o', 'out'], { cwd: home });
  expect(code, stderr).toBe(0);
  bench = await openBench();
  url = await new Promise((told) => {
    ended = voidgauge(['view', 'out', '--port', '0', '--no-open'], {
      cwd: home,
      started: (child) => {
        program = child;
        child.stdout?.on('data', (text: string) => told(text.trim()));
      },
    });
  });
});
afterAll(async () => {
  await bench?.close();
  program?.kill('SIGTERM');
  await rm(home, { recursive: true });
});

const go = (page: Page) => page.getByRole('button', { name: 'fine run with these dials' });

async function clearanceMore(page: Page, mm: number): Promise<void> {
  const number = page.locator('[data-dial="clearance"] input[type="number"]');
  await number.fill(String(mm));
  await number.blur();
}

test('one button measures the job again with the dials; it can be stopped; the new result opens beside the old one', async () => {
  const page = await bench.open('#eye=90,0,600,30,-8,400', { url });
  expect(await go(page).isDisabled()).toBe(true);
  await clearanceMore(page, 4);
  await go(page).click();
  await page.getByRole('button', { name: 'stop', exact: true }).click();
  await page.getByText('Stopped. Nothing was written.').waitFor();
  await go(page).click();
  await page.locator('#again progress').waitFor();
  const link = page.locator('#again-open');
  await link.waitFor({ timeout: 100_000 });
  expect(await page.locator('#again-says').textContent()).toMatch(/Measured into out-2/);
  await link.click();
  await page.waitForURL(/\/again-1\/#/);
  await settled(page);
  // The view came along, the dials stand as measured, and the figure is that of the file: the room less 9 mm on each side.
  expect(page.url()).toMatch(/eye=90,0,600/);
  expect(page.url()).not.toMatch(/dials=/);
  expect(await go(page).isDisabled()).toBe(true);
  const { envelope } = JSON.parse(await readFile(join(home, 'out-2', 'result.json'), 'utf8'));
  const want = roundedBox(
    ROOM.map((v) => v - 18),
    12,
  );
  expect(Math.abs(envelope.volume_l.value / want - 1)).toBeLessThan(0.005);
  const [shown] = ((await page.locator('[data-figure="envelope"] dd').textContent()) ?? '').match(/[\d.]+/g)?.map(Number) ?? [];
  expect(Math.abs(shown - envelope.volume_l.value)).toBeLessThan(0.05);
  expect(bench.troubles).toEqual([]);
  expect(bench.requests.filter((r) => !r.startsWith(url) && !r.startsWith('blob:'))).toEqual([]);
  // A run that is going on does not keep the program from ending.
  await clearanceMore(page, 2);
  await go(page).click();
  await page.locator('#again progress').waitFor();
  program.kill('SIGINT');
  expect((await ended).code).toBe(0);
  expect(existsSync(join(home, 'out-3'))).toBe(false);
  await page.close();
});

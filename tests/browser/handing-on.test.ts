import { existsSync } from 'node:fs';
import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import pixelmatch from 'pixelmatch';
import { PNG } from 'pngjs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { drawingPage } from '../../src/make/drawing.ts';
import { writeBoxFolder } from './box-folder.ts';
import { RESULT, sceneGlb, writeFolder } from './folder.ts';
import { type Bench, differing, drawingOf, openBench, settled } from './page.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench(async (folder) => {
    await writeFolder(folder);
    const body = fieldOf({ origin: [-60, -40, -30], step: 4, nx: 31, ny: 21, nz: 16 }, (x, y, z) =>
      Math.min(50 - Math.abs(x), 30 - Math.abs(y), 20 - Math.abs(z)),
    );
    await writeFile(join(folder, 'drawing.svg'), drawingPage(body, undefined, { paper: 'A4', title: 'Box', facts: [] }));
  });
});
afterAll(() => bench?.close());

describe('places', () => {
  test('a neck is named with its width and what lies behind it; pressing it marks it in the middle of the drawing', async () => {
    const page = await bench.open();
    const neck = page.getByRole('button', { name: /Neck of 3[12] mm.*1\.2 l behind it/ });
    await neck.click();
    const mark = page.locator('.mark.number');
    await settled(page);
    expect(await mark.count()).toBe(1);
    const [m, s] = [await mark.boundingBox(), await page.locator('#stage').boundingBox()];
    expect(Math.abs((m?.x ?? 0) + (m?.width ?? 0) / 2 - (s?.x ?? 0) - (s?.width ?? 0) / 2)).toBeLessThan(2);
    await neck.click();
    await settled(page);
    expect(await mark.count()).toBe(0);
    await page.close();
  });

  test('slack at a point is what the fields say: the middle of the front end lies 100 mm under where the lid lets it', async () => {
    const box = await openBench(writeBoxFolder);
    const page = await box.open('#eye=0,0,600,30.7,-11.3,700.9');
    // The first time the fields are read, the answer comes with the next point.
    await page.locator('#stage').focus();
    await page.keyboard.press('m');
    await page.waitForTimeout(300);
    await page.waitForFunction(() => {
      document.getElementById('stage')?.dispatchEvent(new KeyboardEvent('keydown', { key: 'm' }));
      return /Slack here/.test(document.getElementById('slack')?.textContent ?? '');
    });
    const [, slack] = /Slack here: (\d+) mm to lid/.exec((await page.locator('#slack').textContent()) ?? '') ?? [];
    expect(Math.abs(Number(slack) - 100)).toBeLessThanOrEqual(2);
    await box.close();
  });
});

test('the printed sheet: doubts, every figure with what it means, cautions, the drawing, six views, the curve, hashes', async () => {
  const page = await bench.open('', { dark: true });
  const pdf = await page.pdf({ format: 'A4' });
  expect(pdf.length).toBeGreaterThan(20_000);
  await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
  const text = (await page.locator('#print').textContent()) ?? '';
  const order = ['Doubts and notes', RESULT.notes[0].text, 'Figures', 'Rated volume', 'Cautions', 'Views', 'Neck of', 'a'.repeat(64)];
  const at = order.map((o) => text.indexOf(o));
  expect(at.every((v, i) => v >= 0 && (i === 0 || v > at[i - 1]))).toBe(true);
  // Views and curve have ink on them: neither one colour nor dark paper.
  const inks = await page.evaluate(() =>
    [...document.querySelectorAll<HTMLCanvasElement>('#print canvas')].map((c) => {
      const d = c.getContext('2d')?.getImageData(0, 0, c.width, c.height).data ?? new Uint8ClampedArray();
      let orange = 0;
      let dark = 0;
      for (let i = 0; i < d.length; i += 4) {
        if (d[i + 3] > 0 && d[i] > 120 && d[i] > 1.6 * d[i + 1]) orange++;
        if (d[i + 3] > 0 && d[i] + d[i + 1] + d[i + 2] < 200) dark++;
      }
      return { orange, dark: dark / (d.length / 4) };
    }),
  );
  expect(inks.length).toBe(8);
  for (const ink of inks) {
    expect(ink.orange).toBeGreaterThan(50);
    expect(ink.dark).toBeLessThan(0.3);
  }
  // The drawing page is there as a picture that the browser could read.
  const sheet = page.locator('#print .page img');
  expect(await sheet.evaluate((e: HTMLImageElement) => [e.naturalWidth > 0, e.naturalWidth > e.naturalHeight])).toEqual([true, true]);
  await page.evaluate(() => dispatchEvent(new Event('afterprint')));
  expect(await page.evaluate(() => document.documentElement.dataset.paper)).toBe('dark');
  await page.close();
});

test('a drawing whose corners are 16-bit whole numbers looks the same, cut faces too', async () => {
  const small = await openBench(async (folder) => {
    await writeFolder(folder);
    await writeFile(join(folder, 'scene.glb'), await sceneGlb(undefined, true));
  });
  const hash = '#shown=envelope,cavity,frame,engine%20%26%20box&hidden=removed&eye=90,0,900,0,0,680&cut=y,0,below';
  const [a, b] = await Promise.all([bench.open(hash), small.open(hash)]);
  const [plain, packed] = [await drawingOf(a), await drawingOf(b)];
  expect(differing(plain, packed) / (plain.width * plain.height)).toBeLessThan(0.002);
  await a.close();
  await small.close();
});

/** Pictures of this page as it was looked at and found right. VOIDGAUGE_NEW_PICTURES=1 writes them anew: look at them then. */
const PICTURES = join(import.meta.dirname, 'pictures');
const SHOWN = 'shown=envelope,frame&faint=engine%20%26%20box&hidden=cavity,removed';

test.each([
  ['three-quarter', `#${SHOWN}&eye=40,28,1200,0,0,680`],
  ['left-side-cut', `#shown=envelope,cavity,frame,engine%20%26%20box&hidden=removed&eye=90,0,900,0,0,680&cut=y,0,below`],
  ['from-above', `#${SHOWN}&eye=180,90,1100,0,0,680`],
  ['from-behind-level-cut', `#shown=cavity,frame&faint=removed,envelope,engine%20%26%20box&eye=180,20,900,0,0,680&cut=z,700,below`],
  ['right-side-dark', `#${SHOWN}&eye=-90,10,1000,0,0,680`],
])('looks as it was found right: %s', async (name, hash) => {
  const page = await bench.open(hash, { width: 700, height: 520, dark: name.endsWith('dark') });
  const now = await drawingOf(page);
  await page.close();
  const path = join(PICTURES, `${name}.png`);
  if (process.env.VOIDGAUGE_NEW_PICTURES === '1') {
    await mkdir(PICTURES, { recursive: true });
    await writeFile(path, PNG.sync.write(now, { deflateLevel: 9 }));
  }
  expect(existsSync(path), `no picture ${path}`).toBe(true);
  const then = PNG.sync.read(await readFile(path));
  expect([now.width, now.height]).toEqual([then.width, then.height]);
  // Other versions of the browser shade and smooth a few pixels otherwise.
  const off = pixelmatch(now.data, then.data, undefined, now.width, now.height, { threshold: 0.15 });
  expect(off / (now.width * now.height)).toBeLessThan(0.01);
});

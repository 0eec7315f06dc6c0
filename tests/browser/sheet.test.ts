import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Page } from 'playwright-core';
import type { PNG } from 'pngjs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { HALF, RESULT } from './folder.ts';
import { type Bench, count, differing, drawingOf, openBench, settled } from './page.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench(undefined, true);
});
afterAll(() => bench?.close());

const ENVELOPE_ALONE = '#shown=envelope&hidden=frame,engine%20%26%20box,cavity,removed&eye=90,0,600,0,0,700';
const orange = (r: number, g: number, b: number): boolean => r > 120 && r > 1.6 * g && r > 2 * b;
const grey = (r: number, g: number, b: number): boolean => Math.abs(r - g) < 12 && Math.abs(g - b) < 12 && r > 75 && r < 190;

const state = (page: Page, thing: string, word: string) => page.locator(`[data-thing="${thing}"] input[value="${word}"]`);

describe('figures', () => {
  test('every figure on the sheet is the one in the result, and its printed bounds hold the bounds there', async () => {
    const page = await bench.open();
    const figure = async (key: string): Promise<number[]> =>
      ((await page.locator(`[data-figure="${key}"] dd`).textContent()) ?? '').match(/[\d.]+/g)?.map(Number) ?? [];
    const bounded = {
      envelope: RESULT.envelope.volume_l,
      reclaimed: RESULT.reclaimed.volume_l,
      rated_l: RESULT.tank.rated_l,
      usable_l: RESULT.tank.usable_l,
      brim_l: RESULT.tank.brim_l,
      ullage_l: RESULT.tank.ullage_l,
      outer_l: RESULT.tank.outer_l,
      wall_l: RESULT.tank.wall_l,
    };
    for (const [key, want] of Object.entries(bounded)) {
      const [value, low, high] = await figure(key);
      const half = want.high - want.value;
      expect(Math.abs(value - want.value), key).toBeLessThanOrEqual(half);
      expect(low, key).toBeLessThanOrEqual(want.low + 1e-9);
      expect(high, key).toBeGreaterThanOrEqual(want.high - 1e-9);
      expect(high - low, key).toBeLessThan(4 * half);
    }
    expect(await figure('ball')).toEqual([220]);
    expect(await figure('inside')).toEqual([21.6]);
    expect(await page.locator('#job').textContent()).toBe(RESULT.job.name);
    for (const note of RESULT.notes) expect(await page.locator(`[data-note="${note.code}"]`).textContent()).toContain(note.text);
    await page.close();
  });

  test('with litres of fuel the caution is in sight without scrolling, on a laptop and on a panel', async () => {
    for (const [width, height] of [
      [1280, 720],
      [3840, 2160],
    ]) {
      const page = await bench.open(ENVELOPE_ALONE, { width, height });
      const box = await page.locator('#cautions').boundingBox();
      expect(await page.locator('#cautions').textContent()).toMatch(/Not a certified capacity.*Qualified people/s);
      expect(box && box.y > 0 && box.y + box.height <= height && box.height > 30).toBe(true);
      await page.close();
    }
  });

  test('a phone held upright scrolls down only, never sideways', async () => {
    const page = await bench.open('', { width: 390, height: 844 });
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);
    expect(await page.evaluate(() => document.documentElement.scrollHeight)).toBeGreaterThan(844);
    await page.close();
  });
});

describe('drawing', () => {
  test('hidden takes a thing off the drawing, faint lets what is behind show, shown brings it back', async () => {
    const page = await bench.open();
    const shown = await drawingOf(page);
    await state(page, 'envelope', 'hidden').check({ force: true });
    const hidden = await drawingOf(page);
    await state(page, 'envelope', 'faint').check({ force: true });
    const faint = await drawingOf(page);
    await state(page, 'envelope', 'shown').check({ force: true });
    const again = await drawingOf(page);
    expect(count(shown, orange)).toBeGreaterThan(3000);
    expect(count(hidden, orange)).toBe(0);
    expect(differing(faint, hidden)).toBeGreaterThan(3000);
    expect(count(faint, orange)).toBeLessThan(count(shown, orange) / 2);
    expect(differing(again, shown)).toBe(0);
    await page.close();
  });

  test('"alone" leaves one thing, and pressed again brings the others back as they were', async () => {
    const page = await bench.open();
    const before = await drawingOf(page);
    const only = page.getByRole('button', { name: 'Envelope alone' });
    await only.click();
    const alone = await drawingOf(page);
    expect(count(alone, grey)).toBe(0);
    expect(count(alone, orange)).toBeGreaterThan(count(before, orange));
    await only.click();
    expect(differing(await drawingOf(page), before)).toBe(0);
    await page.close();
  });

  test('the cut face of a closed thing is filled: area of the ellipse that the plane meets', async () => {
    // Closed form: an ellipsoid with half axes a, b, c cut at y has the section ellipse a k, c k with k = sqrt(1 - (y/b)^2).
    for (const y of [0, 60]) {
      const page = await bench.open(`${ENVELOPE_ALONE}&cut=y,${y},below`);
      const picture = await drawingOf(page);
      const { scale, area } = faceOf(picture);
      const k = Math.sqrt(1 - (y / HALF[1]) ** 2) * scale;
      const [a, c] = [HALF[0] * k, HALF[2] * k];
      // The outline hides a rim of 1.1 pixels, and softens the next one; perimeter of an ellipse after Ramanujan.
      const rim = 2.2 * Math.PI * (3 * (a + c) - Math.sqrt((3 * a + c) * (a + 3 * c)));
      expect(area).toBeLessThan(Math.PI * a * c * 1.003);
      expect(area).toBeGreaterThan(Math.PI * a * c - rim);
      await page.close();
    }
  });

  test('an open scan is not filled, only outlined; a closed one is filled in its own colour', async () => {
    const look = 'eye=0,0,900,0,0,650&cut=x,60,below';
    // Ground of the cut face: 22 % of the scan's colour on the paper.
    const ground = (hex: readonly number[]) => (r: number, g: number, b: number) =>
      [r, g, b].every((v, i) => Math.abs(v - [0xf6, 0xf3, 0xea][i] - 0.22 * (hex[i] - [0xf6, 0xf3, 0xea][i])) < 3);
    const page = await bench.open(`#shown=frame,engine%20%26%20box&hidden=envelope,cavity,removed&${look}`);
    const picture = await drawingOf(page);
    expect(count(picture, ground([0x8d, 0x91, 0x96]))).toBe(0);
    expect(count(picture, ground([0xa9, 0xa4, 0x98]))).toBeGreaterThan(3000);
    expect(count(picture, (r, g, b) => r + g + b < 180)).toBeGreaterThan(500);
    await page.close();
  });

  test('the slider moves the cut, the other side can be kept, and no cut is the whole again', async () => {
    const page = await bench.open(ENVELOPE_ALONE.replace('eye=90,0', 'eye=40,28'));
    const whole = await drawingOf(page);
    await page.locator('#cut input[value="crossways"]').check({ force: true });
    const first = await drawingOf(page);
    await page.locator('#cut input[type="range"]').fill('120');
    const second = await drawingOf(page);
    await page.getByRole('button', { name: 'other side' }).click();
    const other = await drawingOf(page);
    for (const [a, b] of [
      [whole, first],
      [first, second],
      [second, other],
    ])
      expect(differing(a, b)).toBeGreaterThan(1000);
    expect(await page.locator('#cutsays').textContent()).toBe('crossways, 120 mm ahead');
    await page.locator('#cut input[value="no cut"]').check({ force: true });
    expect(differing(await drawingOf(page), whole)).toBe(0);
    await page.close();
  });

  test('bright and dark paper change the drawing with the page', async () => {
    const page = await bench.open(ENVELOPE_ALONE);
    const corner = async (): Promise<number> => at(await drawingOf(page), 4, 4)[0];
    expect(await corner()).toBeGreaterThan(230);
    await page.locator('input[name="paper"][value="dark"]').check({ force: true });
    expect(await corner()).toBeLessThan(40);
    await page.close();
    const dark = await bench.open(ENVELOPE_ALONE, { dark: true });
    expect(at(await drawingOf(dark), 4, 4)[0]).toBeLessThan(40);
    await dark.close();
  });

  test('a link reopens the same view to the pixel', async () => {
    const page = await bench.open();
    await page.getByRole('button', { name: 'from behind' }).click();
    await page.locator('#cut input[value="level"]').check({ force: true });
    await state(page, 'engine & box', 'faint').check({ force: true });
    const picture = await drawingOf(page);
    await page.waitForFunction(() => location.hash.includes('cut=z') && location.hash.includes('faint='));
    const hash = await page.evaluate(() => location.hash);
    await page.close();
    const again = await bench.open(hash);
    expect(await again.locator('#seen').textContent()).toBe('from behind');
    expect(differing(await drawingOf(again), picture)).toBeLessThan(picture.width * picture.height * 0.002);
    await again.close();
  });

  test('measures between two points: the distance on the cut face is the distance on the screen by the scale', async () => {
    const page = await bench.open(`${ENVELOPE_ALONE}&cut=y,0,below`);
    const picture = await drawingOf(page);
    const scale = Math.min(picture.width, picture.height) / 600;
    const [x, y] = [Math.round(picture.width / 2), Math.round(picture.height / 2)];
    await page.locator('#stage canvas').click({ position: { x: x - 60, y: y - 20 } });
    await page.locator('#stage canvas').click({ position: { x: x + 60, y: y + 30 } });
    const says = (await page.locator('#measured').textContent()) ?? '';
    const [length, along, across, up] = (says.match(/\d+\.\d/g) ?? []).map(Number);
    // A pixel of the screen is about a mm here; both ends may be off by half of one.
    expect(Math.abs(length - 130 / scale)).toBeLessThan(1.5);
    expect(Math.abs(along - 120 / scale)).toBeLessThan(1.5);
    expect(across).toBe(0);
    expect(Math.abs(up - 50 / scale)).toBeLessThan(1.5);
    await page.close();
  });

  test('saves a picture: a PNG at least as large as the drawing, with the thing on it', async () => {
    const page = await bench.open(ENVELOPE_ALONE);
    const [file] = await Promise.all([page.waitForEvent('download'), page.getByRole('button', { name: 'save picture' }).click()]);
    const { PNG } = await import('pngjs');
    const picture = PNG.sync.read(readFileSync((await file.path()) ?? ''));
    const size = await page.locator('#stage').boundingBox();
    expect(picture.width).toBeGreaterThanOrEqual(Math.floor(size?.width ?? 1e9));
    expect(count(picture, orange)).toBeGreaterThan(5000);
    await page.close();
  });
});

describe('access', () => {
  test('by keyboard alone: to a thing, through its states, to the drawing, a view, a turn, a measured point', async () => {
    const page = await bench.open();
    const focused = (): Promise<string> =>
      page.evaluate(() => {
        const e = document.activeElement;
        return (
          e?.id || `${e?.closest('[data-thing]')?.getAttribute('data-thing')}:${e instanceof HTMLInputElement ? e.value : e?.textContent}`
        );
      });
    const tabTo = async (want: string): Promise<void> => {
      for (let i = 0; i < 60; i++) {
        await page.keyboard.press('Tab');
        if ((await focused()) === want) return;
      }
      throw new Error(`the tab key never reached ${want}`);
    };
    await tabTo('stage');
    await page.keyboard.press('2');
    expect(await page.locator('#seen').textContent()).toBe('left side');
    await page.keyboard.press('ArrowUp');
    expect(await page.locator('#seen').textContent()).toBe('left side, 10° above');
    await page.keyboard.press('3');
    expect(await page.locator('#seen').textContent()).toBe('right side');
    await page.keyboard.press('m');
    expect(await page.locator('#measured').textContent()).toMatch(/^A on /);
    await tabTo('envelope:shown');
    await page.keyboard.press('ArrowRight');
    expect(await state(page, 'envelope', 'faint').isChecked()).toBe(true);
    await page.keyboard.press('ArrowRight');
    expect(await focused()).toBe('envelope:hidden');
    expect(count(await drawingOf(page), orange)).toBe(0);
    await page.close();
  });

  test.each([
    ['bright', {}],
    ['dark', { dark: true }],
    ['on a phone', { width: 390, height: 844 }],
  ])('axe-core finds nothing serious, %s', async (_name, options) => {
    const page = await bench.open('', options);
    await page.evaluate(readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8'));
    const found: { id: string; impact: string; nodes: string[] }[] = await page.evaluate(`
      axe.run().then((r) => r.violations.map((v) => ({ id: v.id, impact: v.impact, nodes: v.nodes.map((n) => n.html) })))`);
    expect(found.filter((v) => v.impact === 'serious' || v.impact === 'critical')).toEqual([]);
    await page.close();
  });
});

test('on a phone: no scrolling sideways, two fingers bring nearer, and one that scrolls the page leaves the view alone', async () => {
  const context = await bench.browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
  const page = await context.newPage();
  await page.goto(`${bench.url}${ENVELOPE_ALONE}`);
  await settled(page);
  expect(await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)).toBe(0);
  const box = await page.locator('#stage canvas').boundingBox();
  const [x, y] = [(box?.x ?? 0) + (box?.width ?? 0) / 2, (box?.y ?? 0) + (box?.height ?? 0) / 2];
  const send = await context.newCDPSession(page);
  const drag = async (from: [number, number][], to: [number, number][]): Promise<void> => {
    for (let i = 0; i <= 6; i++) {
      const touchPoints = from.map(([a, b], id) => ({ x: a + ((to[id][0] - a) * i) / 6, y: b + ((to[id][1] - b) * i) / 6, id }));
      await send.send('Input.dispatchTouchEvent', { type: i === 0 ? 'touchStart' : 'touchMove', touchPoints });
    }
    await send.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
    await settled(page);
  };
  const wide = async (): Promise<number> => count(await drawingOf(page), orange);
  const before = await wide();
  await drag(
    [
      [x - 40, y],
      [x + 40, y],
    ],
    [
      [x - 70, y],
      [x + 70, y],
    ],
  );
  // 140 pixels between the fingers where there were 80: seen from the side the area grows by the square of that, as far as it stays in sight.
  expect((await wide()) / before).toBeGreaterThan(1.8);
  const seen = await page.locator('#seen').textContent();
  await drag([[x, y + 80]], [[x, y - 120]]);
  expect(await page.evaluate(() => scrollY)).toBeGreaterThan(50);
  expect(await page.locator('#seen').textContent()).toBe(seen);
  await context.close();
});

test('a result that is cut off, or is none, is told in a sentence and breaks nothing', async () => {
  const { writeFile } = await import('node:fs/promises');
  for (const [text, says] of [
    ['{"job": {"na', /result\.json is cut off or is no JSON/],
    ['{"size": 3}', /holds no job/],
  ] as const) {
    const bad = await openBench(async (folder) => writeFile(`${folder}/result.json`, text));
    const page = await bad.browser.newPage();
    const errors: string[] = [];
    page.on('pageerror', (e) => errors.push(e.message));
    await page.goto(bad.url);
    await page.waitForFunction(() => document.documentElement.dataset.ready === 'failed');
    expect(await page.locator('#busy').textContent()).toMatch(says);
    expect(errors).toEqual([]);
    await bad.close();
  }
});

// Last: over all pages above.
test('under the strictest policy nothing on the console, no request to anywhere else', async () => {
  const page = await bench.open();
  await settled(page);
  // The policy was in force: what it forbids did not run.
  const ran = await page.evaluate(() => {
    const e = document.createElement('script');
    e.textContent = 'document.documentElement.dataset.ran = "yes"';
    document.head.append(e);
    return document.documentElement.dataset.ran;
  });
  expect(ran).toBeUndefined();
  expect(bench.troubles.filter((t) => /inline script/.test(t)).length).toBe(1);
  bench.troubles.pop();
  expect(bench.troubles).toEqual([]);
  expect(bench.requests.length).toBeGreaterThan(20);
  expect(bench.requests.filter((r) => !r.startsWith(bench.url) && !r.startsWith('blob:'))).toEqual([]);
});

function at(p: PNG, x: number, y: number): number[] {
  const i = (Math.round(y) * p.width + Math.round(x)) * 4;
  return [...p.data.subarray(i, i + 3)];
}

/** Pixels of the cut face: its line colour, its ground, and what lies between the two; and the scale in pixels a mm. */
function faceOf(picture: PNG): { scale: number; area: number } {
  const line = [0xd9, 0x54, 0x1a];
  const ground = [0xf6, 0xf3, 0xea].map((p, i) => p + 0.22 * (line[i] - p));
  const area = count(picture, (...rgb) => {
    const t = Math.min(1, Math.max(0, (rgb[2] - ground[2]) / (line[2] - ground[2])));
    return rgb.every((v, i) => Math.abs(v - ground[i] - t * (line[i] - ground[i])) < 5);
  });
  return { scale: Math.min(picture.width, picture.height) / 600, area };
}

import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { PNG } from 'pngjs';
import { writeFolder } from './folder.ts';
import { launchBrowser } from './launch.ts';
import { serve } from './serve.ts';

export interface Bench {
  readonly folder: string;
  readonly url: string;
  readonly browser: Browser;
  /** What the console said, and every address asked for, over all pages opened here. */
  readonly troubles: string[];
  readonly requests: string[];
  open(hash?: string, options?: OpenOptions): Promise<Page>;
  close(): Promise<void>;
}

export interface OpenOptions {
  readonly width?: number;
  readonly height?: number;
  readonly dark?: boolean;
  /** Instead of the served page. */
  readonly url?: string;
}

/** A browser, a server and a result folder for one test file; `strict` for the strictest policy. */
export async function openBench(write: (folder: string) => Promise<void> = writeFolder, strict = false): Promise<Bench> {
  const folder = await mkdtemp(join(tmpdir(), 'voidgauge-page-'));
  await write(folder);
  const server = await serve(folder, strict);
  const browser = await launchBrowser();
  const troubles: string[] = [];
  const requests: string[] = [];
  return {
    folder,
    url: server.url,
    browser,
    troubles,
    requests,
    open: async (hash = '', options = {}) => {
      const { width = 1000, height = 620, dark = false } = options;
      const page = await browser.newPage({ viewport: { width, height }, colorScheme: dark ? 'dark' : 'light' });
      page.on('console', (m) => {
        if (m.type() === 'error' || m.type() === 'warning') troubles.push(m.text());
      });
      page.on('pageerror', (e) => troubles.push(e.message));
      page.on('request', (r) => requests.push(r.url()));
      await page.goto((options.url ?? server.url) + hash);
      await settled(page);
      return page;
    },
    close: async () => {
      await browser.close();
      await server.close();
      await rm(folder, { recursive: true });
    },
  };
}

/** Waits until the page has drawn, and its last picture is the fine one. */
export async function settled(page: Page): Promise<void> {
  await page.waitForFunction(() => document.documentElement.dataset.ready, null, { timeout: 60_000 });
  await page.waitForFunction(() => document.getElementById('stage')?.dataset.rest === 'yes', null, { timeout: 60_000 });
}

/** The drawing as it is on the screen, without what is written over it. */
export async function drawingOf(page: Page): Promise<PNG> {
  await settled(page);
  const writing = (visibility: string): Promise<void> =>
    page.evaluate((v) => {
      for (const e of document.querySelectorAll<HTMLElement>('#titleblock, #scalebar, #tags')) e.style.visibility = v;
    }, visibility);
  await writing('hidden');
  const picture = PNG.sync.read(await page.locator('#stage canvas').screenshot());
  await writing('');
  return picture;
}

/** How many pixels `is` holds for. */
export function count(picture: PNG, is: (r: number, g: number, b: number) => boolean): number {
  let n = 0;
  for (let i = 0; i < picture.data.length; i += 4) if (is(picture.data[i], picture.data[i + 1], picture.data[i + 2])) n++;
  return n;
}

/** How many pixels differ at all. */
export function differing(a: PNG, b: PNG): number {
  let n = 0;
  for (let i = 0; i < a.data.length; i += 4)
    if (Math.abs(a.data[i] - b.data[i]) + Math.abs(a.data[i + 1] - b.data[i + 1]) + Math.abs(a.data[i + 2] - b.data[i + 2]) > 6) n++;
  return n;
}

import { existsSync } from 'node:fs';
import { type Browser, chromium } from 'playwright-core';

const PLACES = [
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
];

/** Chromium, drawing in software so that pictures do not depend on a graphics chip. Fails, never skips, without a browser. */
export async function launchBrowser(): Promise<Browser> {
  const asked = process.env.CHROME_PATH;
  const executablePath = asked ?? PLACES.find((p) => existsSync(p));
  if (!executablePath || !existsSync(executablePath))
    throw new Error(
      `No browser for the page's tests${asked ? ` at CHROME_PATH=${asked}` : ''}. Install Chromium (Debian: apt-get install chromium) or set CHROME_PATH to a Chrome or Chromium program.`,
    );
  return chromium.launch({
    executablePath,
    args: [
      '--headless',
      '--no-sandbox',
      '--use-angle=swiftshader',
      '--enable-unsafe-swiftshader',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
}

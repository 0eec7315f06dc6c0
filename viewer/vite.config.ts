import { createHash } from 'node:crypto';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { gzipSync } from 'node:zlib';
import { build, createLogger, defineConfig, type InlineConfig, type Plugin } from 'vite';
import { viteSingleFile } from 'vite-plugin-singlefile';

/**
 * One page, built twice. dist/viewer/index.html with its script, worker and style beside it, for `voidgauge view`; and
 * dist/viewer/report.html, one file with everything inside, into which embed.ts puts the data.
 */
const root = import.meta.dirname;
const out = resolve(root, '../dist/viewer');

/** Names the one script and style of the single file by their hashes, so that the page runs nothing else. */
const lockScripts: Plugin = {
  name: 'lock-scripts',
  async closeBundle() {
    const icon = `data:image/svg+xml,${encodeURIComponent(readFileSync(resolve(root, 'icon.svg'), 'utf8'))}`;
    const html = readFileSync(resolve(out, 'single/index.html'), 'utf8').replace(
      /(<link rel="icon" href=")[^"]*/,
      (_, start) => start + icon,
    );
    const hashes = (tag: string): string =>
      [...html.matchAll(new RegExp(`<${tag}[^>]*>([\\s\\S]*?)</${tag}>`, 'g'))]
        .map((m) => `'sha256-${createHash('sha256').update(m[1]).digest('base64')}'`)
        .join(' ');
    const policy = [
      "default-src 'none'",
      `script-src ${hashes('script')}`,
      `style-src ${hashes('style')}`,
      'img-src data: blob:',
      'worker-src blob:',
      "base-uri 'none'",
      "form-action 'none'",
    ].join('; ');
    // A function as replacement: minified code holds `$` patterns.
    const locked = html.replace(
      /<meta charset="utf-8"\s*\/?>/,
      (m) => `${m}\n<meta http-equiv="Content-Security-Policy" content="${policy}">`,
    );
    if (locked === html) throw new Error('the page lacks the charset line that the policy follows');
    // The main job's program, for the page alone; embed.ts takes it out where there is a result.
    const shop = gzipSync(await shopWorker(), { level: 9 }).toString('base64');
    const block = `<script type="text/plain" data-part="shop-worker">${shop}</script>\n`;
    writeFileSync(
      resolve(out, 'report.html'),
      locked.replace('</body>', (end) => block + end),
    );
    rmSync(resolve(out, 'single'), { recursive: true });
  },
};

/** The worker of the main job as one script. */
async function shopWorker(): Promise<string> {
  const made = await build({
    ...configFor(true),
    configFile: false,
    plugins: [],
    build: {
      write: false,
      target: 'es2022',
      modulePreload: false,
      rolldownOptions: {
        input: resolve(root, 'shop-worker.ts'),
        output: { format: 'iife', codeSplitting: false },
        checks: { pluginTimings: false },
      },
    },
  });
  const [chunk] = [made].flat().flatMap((m) => ('output' in m ? m.output : []));
  if (chunk?.type !== 'chunk') throw new Error('the worker of the main job was not built');
  return chunk.code;
}

/** After the plain page, the single file. */
const alsoSingle: Plugin = {
  name: 'also-single',
  async closeBundle() {
    await build({ ...configFor(true), configFile: false });
  },
};

/** Warnings that are known and harmless: libraries that also run in Node, tasks that a worker finds by name, and code that asks where it lies only in Node. */
const KNOWN = /externalized for browser compatibility|INEFFECTIVE_DYNAMIC_IMPORT|EMPTY_IMPORT_META/;
const logger = createLogger('warn');
const { warn } = logger;
logger.warn = (text, options) => {
  if (!KNOWN.test(text)) warn(text, options);
};

function configFor(single: boolean): InlineConfig {
  return {
    root,
    customLogger: logger,
    logLevel: 'warn',
    base: './',
    publicDir: false,
    resolve: {
      alias: {
        '#spawn': resolve(root, single ? 'spawn-inside.ts' : 'spawn.ts'),
        '#pool': resolve(root, single ? 'pool-inside.ts' : 'pool.ts'),
        draco3dgltf: resolve(root, 'no-draco.ts'),
        highs: resolve(root, 'no-highs.ts'),
      },
    },
    define: { VOIDGAUGE_VERSION: JSON.stringify(JSON.parse(readFileSync(resolve(root, '../package.json'), 'utf8')).version) },
    plugins: single ? [viteSingleFile({ removeViteModuleLoader: true }), lockScripts] : [alsoSingle],
    build: {
      outDir: single ? resolve(out, 'single') : out,
      emptyOutDir: true,
      target: 'es2022',
      modulePreload: false,
      assetsInlineLimit: single ? 100_000_000 : 0,
      chunkSizeWarningLimit: 1500,
      rolldownOptions: { checks: { pluginTimings: false } },
    },
    worker: {
      format: single ? 'iife' : 'es',
      rolldownOptions: { checks: { pluginTimings: false }, ...(single ? { output: { codeSplitting: false } } : {}) },
    },
  };
}

export default defineConfig(configFor(false));

import { readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { Command } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { embed } from '../../src/report/embed.ts';
import { checkOutFile, checkResults, writeWhole } from '../files.ts';
import { PACKAGE_FOLDER } from '../version.ts';

interface Options {
  output?: string;
  force?: boolean;
}

export function addReport(program: Command): void {
  program
    .command('report')
    .argument('<out>', 'folder with the results of a measure run')
    .description('write the results as one page that opens anywhere, with nothing installed; print it for the sheet')
    .option('-o, --output <file>', 'where to write it (default: report.html in the folder)')
    .option('-f, --force', 'write over an existing file')
    .action(run);
}

/** What the page reads; all but the first may be missing. */
const FILES = ['result.json', 'scene.glb', 'coarse.json', 'coarse.bin', 'drawing.svg', 'fit.json', 'fit-body.glb'];

async function run(out: string, options: Options): Promise<void> {
  await checkResults(out);
  const path = options.output ?? join(out, 'report.html');
  await checkOutFile(path, options.force === true);
  const page = join(PACKAGE_FOLDER, 'dist', 'viewer', 'report.html');
  const html = await readFile(page, 'utf8').catch(() => {
    throw new Fault({ code: 'page-not-built', what: 'The page is not built yet.', where: page, hint: 'npm run build', exit: 1 });
  });
  const files = new Map<string, Uint8Array>();
  for (const name of FILES) {
    const from = join(out, name);
    if (await stat(from).catch(() => undefined)) files.set(name, new Uint8Array(await readFile(from)));
  }
  const whole = embed(html, files);
  await writeWhole(path, whole, options.force === true);
  process.stderr.write(
    `${path} is written, ${(whole.length / 1e6).toFixed(1)} MB. It opens in any browser, from disk, and prints as a sheet.\n`,
  );
}

import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { stat } from 'node:fs/promises';
import { join } from 'node:path';
import { type Command, InvalidArgumentError } from 'commander';
import { Fault } from '../../src/core/fault.ts';
import { checkResults } from '../files.ts';
import { print } from '../report.ts';
import { type Folders, serveFolders } from '../server.ts';
import { PACKAGE_FOLDER } from '../version.ts';

/** Tried first, so that links to a view stay good; any free one when it is taken. */
const USUAL_PORT = 7410;

interface Options {
  port?: number;
  scans?: string;
  open: boolean;
}

export function addView(program: Command): void {
  program
    .command('view')
    .argument('<out>', 'folder with the results of a measure run')
    .description('show results in the browser, from this machine to this machine only')
    .option('-p, --port <number>', `port on 127.0.0.1 (default: ${USUAL_PORT}, or a free one)`, portNumber)
    .option('--scans <folder>', "the job's folder, for a fine run from the page (default: where the measure run found it)")
    .option('--no-open', 'do not start the browser, only print the address')
    .action(run);
}

function portNumber(text: string): number {
  const port = Number(text);
  if (!/^\d+$/.test(text) || port > 65535) throw new InvalidArgumentError('A port is a whole number from 0 (any free one) to 65535.');
  return port;
}

async function run(out: string, options: Options): Promise<void> {
  const page = join(PACKAGE_FOLDER, 'dist', 'viewer');
  await checkResults(out);
  if (!(await stat(join(page, 'index.html')).catch(() => undefined)))
    throw new Fault({ code: 'page-not-built', what: 'The page is not built yet.', where: page, hint: 'npm run build', exit: 1 });
  const { server, port } = await listen({ page, data: out, scans: options.scans }, options.port);
  const address = `http://127.0.0.1:${port}/`;
  await print(`${address}\n`);
  process.stderr.write('Ctrl-C ends it.\n');
  if (options.open && process.stdout.isTTY) openBrowser(address);
  for (const signal of ['SIGINT', 'SIGTERM'] as const)
    process.once(signal, () => {
      server.close();
      server.closeAllConnections();
    });
  await once(server, 'close');
}

async function listen(folders: Folders, asked: number | undefined): ReturnType<typeof serveFolders> {
  try {
    return await serveFolders(folders, asked ?? USUAL_PORT);
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? error.code : '';
    if (code === 'EADDRINUSE' && asked === undefined) return serveFolders(folders, 0);
    if (code === 'EADDRINUSE')
      throw new Fault({
        code: 'port-taken',
        what: `Port ${asked} is taken by another program.`,
        hint: 'leave --port out for a free one',
        exit: 1,
      });
    if (code === 'EACCES')
      throw new Fault({
        code: 'port-refused',
        what: `Port ${asked} may not be used.`,
        hint: 'ports below 1024 belong to the system',
        exit: 1,
      });
    throw error;
  }
}

/** A browser that cannot be started is no fault: the address stands on the screen. */
function openBrowser(address: string): void {
  const [command, ...before] = { darwin: ['open'], win32: ['cmd', '/c', 'start', ''] }[process.platform as string] ?? ['xdg-open'];
  const child = spawn(command, [...before, address], { stdio: 'ignore', detached: true });
  child.on('error', () => {});
  child.unref();
}

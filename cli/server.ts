import { constants } from 'node:fs';
import { access, readdir, realpath } from 'node:fs/promises';
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import { resolve, sep } from 'node:path';
import sirv from 'sirv';

/** Where the server looks for what it shows. */
export interface Folders {
  /** The built page. */
  readonly page: string;
  /** The results, served read-only under /data/, which itself answers with the list of their names. */
  readonly data: string;
}

/**
 * What a page from here may do: load from this server alone, compile WebAssembly, show pictures that it made itself. The two
 * Cross-Origin headers let its workers share memory.
 */
const HEADERS: Readonly<Record<string, string>> = {
  'Content-Security-Policy':
    "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self' 'unsafe-inline'; connect-src 'self'; img-src 'self' data: blob:; worker-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
  'Cross-Origin-Opener-Policy': 'same-origin',
  'Cross-Origin-Embedder-Policy': 'require-corp',
  'Cross-Origin-Resource-Policy': 'same-origin',
  'X-Content-Type-Options': 'nosniff',
  'Referrer-Policy': 'no-referrer',
};

/**
 * A server for one result folder, for this machine only: it listens on 127.0.0.1, answers only to its own names (so that a page from
 * elsewhere cannot reach it under a name that it made point here), only reads, and never leaves its two folders.
 */
export async function serveFolders(folders: Folders, port: number): Promise<{ server: Server; port: number }> {
  const data = await realpath(folders.data);
  // Looked up at each request: the results may be made anew while the page is open.
  const files = { page: sirv(folders.page, { dev: true }), data: sirv(data, { dev: true, extensions: [] }) };
  let names: string[] = [];
  const server = createServer((request, response) => {
    answer(request, response).catch(() => end(response, 500));
  });

  async function answer(request: IncomingMessage, response: ServerResponse): Promise<void> {
    for (const [name, value] of Object.entries(HEADERS)) response.setHeader(name, value);
    if (!names.includes(request.headers.host ?? '')) return end(response, 421);
    if (request.method !== 'GET' && request.method !== 'HEAD') {
      response.setHeader('Allow', 'GET, HEAD');
      return end(response, 405);
    }
    const path = pathOf(request.url ?? '/');
    if (path === undefined) return end(response, 400);
    if (path === '/data/') return sendNames(response, data);
    const isData = path.startsWith('/data/');
    const root = isData ? data : folders.page;
    const wanted = isData ? path.slice('/data'.length) : path;
    if (!(await mayRead(root, wanted))) return end(response, 404);
    request.url = encodeURI(wanted);
    files[isData ? 'data' : 'page'](request, response, () => end(response, 404));
  }

  await new Promise<void>((done, failed) => {
    server.once('error', failed);
    server.listen(port, '127.0.0.1', () => {
      server.off('error', failed);
      done();
    });
  });
  const address = server.address();
  const taken = typeof address === 'object' && address ? address.port : port;
  names = ['127.0.0.1', 'localhost'].map((host) => `${host}:${taken}`);
  return { server, port: taken };
}

/** The decoded path of a request without its query, or undefined when it is none or tries to climb. */
function pathOf(url: string): string | undefined {
  try {
    const path = decodeURIComponent(url.replace(/[?#].*$/s, ''));
    return path.startsWith('/') && !/[\0\\%?#]/.test(path) && !path.split('/').some((p) => p.startsWith('.')) ? path : undefined;
  } catch {
    return undefined;
  }
}

/** Whether the file is there, readable, and really inside `root`: links out of it do not count. */
async function mayRead(root: string, path: string): Promise<boolean> {
  try {
    const real = await realpath(resolve(root, `.${path === '/' ? '/index.html' : path}`));
    await access(real, constants.R_OK);
    return real.startsWith((await realpath(root)) + sep);
  } catch {
    return false;
  }
}

/** The list of result files, JSON: the page asks only for what is there. */
async function sendNames(response: ServerResponse, root: string): Promise<void> {
  const found = await readdir(root, { withFileTypes: true });
  const names = found.filter((f) => f.isFile() && !f.name.startsWith('.')).map((f) => f.name);
  response.setHeader('Content-Type', 'application/json');
  response.setHeader('Cache-Control', 'no-store');
  response.end(JSON.stringify(names.sort()));
}

function end(response: ServerResponse, status: number): void {
  if (!response.headersSent) response.statusCode = status;
  response.end();
}

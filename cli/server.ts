import { constants } from 'node:fs';
import { access, readdir, realpath } from 'node:fs/promises';
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import { resolve, sep } from 'node:path';
import sirv from 'sirv';
import { Fault } from '../src/core/fault.ts';
import { Again } from './again.ts';

/** Where the server looks for what it shows. */
export interface Folders {
  /** The built page. */
  readonly page: string;
  /** The results, served read-only under /data/, which itself answers with the list of their names. */
  readonly data: string;
  /** Where the job's scans are, when it is not where the results say. */
  readonly scans?: string;
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

/** Largest order that is read, bytes. */
const MOST_ASKED = 20_000;

/**
 * A server for a result folder, for this machine only: it listens on 127.0.0.1, answers only to its own names (so that a page from
 * elsewhere cannot reach it under a name that it made point here), never leaves its folders, and only reads, but for the one order that its own
 * page may give with the token it was handed: to measure again into a new folder.
 */
export async function serveFolders(folders: Folders, port: number): Promise<{ server: Server; port: number }> {
  const first = await realpath(folders.data);
  const again = new Again(first, folders.scans);
  // Looked up at each request: the results may be made anew while the page is open.
  const page = sirv(folders.page, { dev: true });
  const readers = new Map<string, ReturnType<typeof sirv>>();
  let names: string[] = [];
  const server = createServer((request, response) => {
    answer(request, response).catch(() => end(response, 500));
  });

  async function answer(request: IncomingMessage, response: ServerResponse): Promise<void> {
    for (const [name, value] of Object.entries(HEADERS)) response.setHeader(name, value);
    if (!names.includes(request.headers.host ?? '')) return end(response, 421);
    const asked = pathOf(request.url ?? '/');
    if (asked === undefined) return end(response, 400);
    const [, way = '', path] = /^(?:\/(again-\d+)(?=\/))?(\/.*)$/s.exec(asked) ?? [];
    if (path === '/run' && again.folders.has(way)) return order(request, response, { again, way, names });
    if (request.method !== 'GET' && request.method !== 'HEAD') {
      response.setHeader('Allow', 'GET, HEAD');
      return end(response, 405);
    }
    const data = again.folders.get(way);
    if (path === undefined || data === undefined) return end(response, 404);
    if (path === '/data/') return sendNames(response, data);
    const isData = path.startsWith('/data/');
    const wanted = isData ? path.slice('/data'.length) : path;
    if (!(await mayRead(isData ? data : folders.page, wanted))) return end(response, 404);
    request.url = encodeURI(wanted);
    const read = isData ? (readers.get(data) ?? sirv(data, { dev: true, extensions: [] })) : page;
    if (isData) readers.set(data, read);
    read(request, response, () => end(response, 404));
  }

  // A thread at work would keep the program from ending.
  server.on('close', () => void again.stop());
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

/**
 * Runs: GET tells how far one is and hands out the token, POST starts one, DELETE stops it. Orders must come from this server's own page: a page from
 * elsewhere can neither read the token nor set the header that carries it, and its browser names it in Origin.
 */
async function order(
  request: IncomingMessage,
  response: ServerResponse,
  { again, way, names }: { again: Again; way: string; names: readonly string[] },
): Promise<void> {
  const { method = '', headers } = request;
  if (method === 'GET') return sendJson(response, 200, await again.answer(way));
  if (method !== 'POST' && method !== 'DELETE') {
    response.setHeader('Allow', 'GET, POST, DELETE');
    return end(response, 405);
  }
  const own = names.some((name) => headers.origin === `http://${name}`) && (headers['sec-fetch-site'] ?? 'same-origin') === 'same-origin';
  if (!own || !again.knows(headers['x-voidgauge-token'])) return refuse(request, response, 403);
  if (method === 'POST') {
    if (headers['content-type'] !== 'application/json') return refuse(request, response, 415);
    const text = await bodyOf(request, MOST_ASKED);
    if (text === undefined) return refuse(request, response, 413);
    try {
      await again.start(way, text);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return sendJson(response, error.code === 'again-busy' ? 409 : 400, { says: error.toText() });
    }
  } else await again.stop();
  sendJson(response, 202, await again.answer(way));
}

/** The text of a request, or undefined when it is longer than `most` bytes. */
async function bodyOf(request: IncomingMessage, most: number): Promise<string | undefined> {
  const pieces: Buffer[] = [];
  let size = 0;
  for await (const piece of request.iterator({ destroyOnReturn: false })) {
    size += piece.length;
    if (size > most) return undefined;
    pieces.push(piece);
  }
  return Buffer.concat(pieces).toString('utf8');
}

/** What was sent with it is not read on. */
function refuse(request: IncomingMessage, response: ServerResponse, status: number): void {
  response.setHeader('Connection', 'close');
  response.on('finish', () => request.destroy());
  end(response, status);
}

function sendJson(response: ServerResponse, status: number, value: unknown): void {
  response.statusCode = status;
  response.setHeader('Content-Type', 'application/json');
  response.setHeader('Cache-Control', 'no-store');
  response.end(JSON.stringify(value));
}

/** The list of result files, JSON: the page asks only for what is there. */
async function sendNames(response: ServerResponse, root: string): Promise<void> {
  const found = await readdir(root, { withFileTypes: true });
  const names = found.filter((f) => f.isFile() && !f.name.startsWith('.')).map((f) => f.name);
  sendJson(response, 200, names.sort());
}

function end(response: ServerResponse, status: number): void {
  if (!response.headersSent) response.statusCode = status;
  response.end();
}

import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { type IncomingHttpHeaders, request, type Server } from 'node:http';
import { connect } from 'node:net';
import { networkInterfaces, tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { serveFolders } from '../../cli/server.ts';

let folder: string;
let server: Server;
let port: number;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  for (const name of ['page', 'out', 'outside']) mkdirSync(join(folder, name));
  writeFileSync(join(folder, 'page', 'index.html'), '<!doctype html><title>page</title>');
  writeFileSync(join(folder, 'page', 'main.js'), 'export {};');
  writeFileSync(join(folder, 'out', 'result.json'), '{"a":1}');
  writeFileSync(join(folder, 'out', 'a scan.glb'), 'glTF');
  writeFileSync(join(folder, 'out', '.hidden'), 'secret');
  writeFileSync(join(folder, 'outside', 'secret.txt'), 'secret');
  writeFileSync(join(folder, 'outside.txt'), 'secret');
  symlinkSync(join(folder, 'outside', 'secret.txt'), join(folder, 'out', 'link.txt'));
  ({ server, port } = await serveFolders({ page: join(folder, 'page'), data: join(folder, 'out') }, 0));
});
afterAll(() => {
  server.close();
  server.closeAllConnections();
  rmSync(folder, { recursive: true, force: true });
});

interface Answer {
  status: number;
  headers: IncomingHttpHeaders;
  body: string;
}

/** The path goes out as it is written: no client in between straightens it. */
function ask(path: string, options: { method?: string; host?: string } = {}): Promise<Answer> {
  return new Promise((done, failed) => {
    const headers = { host: options.host ?? `127.0.0.1:${port}` };
    const sent = request({ host: '127.0.0.1', port, path, method: options.method ?? 'GET', headers, agent: false }, (response) => {
      let body = '';
      response.setEncoding('utf8');
      response.on('data', (piece: string) => {
        body += piece;
      });
      response.on('end', () => done({ status: response.statusCode ?? 0, headers: response.headers, body }));
    });
    sent.on('error', failed);
    sent.end();
  });
}

describe('the server', () => {
  it('shows the page and the results', async () => {
    expect((await ask('/')).body).toContain('<title>page</title>');
    expect((await ask('/?view=left')).status).toBe(200);
    expect((await ask('/main.js')).headers['content-type']).toContain('javascript');
    const result = await ask('/data/result.json');
    expect([result.status, result.body]).toEqual([200, '{"a":1}']);
    expect((await ask('/data/a%20scan.glb')).body).toBe('glTF');
    expect(JSON.parse((await ask('/data/')).body)).toEqual(['a scan.glb', 'result.json']);
    expect((await ask('/data/result.json', { method: 'HEAD' })).body).toBe('');
  });

  it('sends every page with its protections', async () => {
    for (const path of ['/', '/data/result.json', '/nothing']) {
      const { headers } = await ask(path);
      expect(headers['x-content-type-options']).toBe('nosniff');
      expect(headers['cross-origin-opener-policy']).toBe('same-origin');
      expect(headers['cross-origin-embedder-policy']).toBe('require-corp');
      expect(headers['content-security-policy']).toMatch(/^default-src 'self';/);
      expect(headers['content-security-policy']).not.toMatch(/unsafe-eval'(?<!wasm-unsafe-eval')|\*|https?:/);
    }
  });

  it.each([
    '/data/../outside.txt',
    '/data/../../etc/passwd',
    '/data/%2e%2e/outside.txt',
    '/data/..%2foutside.txt',
    '/data/%2e%2e%2foutside.txt',
    '/data/..%5coutside.txt',
    '/data/%252e%252e/outside.txt',
    '/../outside.txt',
    '//../outside.txt',
    '/data//../../outside.txt',
    '/data/link.txt',
    '/data/.hidden',
    '/data/result.json%00.txt',
    '/data/%zz',
    '/data',
    '/nothing',
  ])('gives nothing for %s', async (path) => {
    const { status, body } = await ask(path);
    expect(status).toBeGreaterThanOrEqual(400);
    expect(status).toBeLessThan(500);
    expect(body).not.toContain('secret');
  });

  it('answers to its own names only', async () => {
    for (const host of ['evil.example', `evil.example:${port}`, '127.0.0.1', `localhost:${port + 1}`, 'localhost'])
      expect((await ask('/', { host })).status, host).toBeGreaterThanOrEqual(400);
    expect((await ask('/', { host: `localhost:${port}` })).status).toBe(200);
  });

  it('answers to no name at all with nothing', async () => {
    const body = await new Promise<string>((done) => {
      let text = '';
      const socket = connect(port, '127.0.0.1', () => socket.end('GET /data/result.json HTTP/1.0\r\n\r\n'));
      socket.on('data', (piece) => {
        text += piece;
      });
      socket.on('close', () => done(text));
    });
    expect(body).toMatch(/^HTTP\/1\.1 421 /);
    expect(body).not.toContain('"a":1');
  });

  it('only reads', async () => {
    for (const method of ['POST', 'PUT', 'DELETE', 'OPTIONS']) expect((await ask('/data/result.json', { method })).status).toBe(405);
  });

  it('cannot be reached from outside the machine', async () => {
    expect((server.address() as { address: string }).address).toBe('127.0.0.1');
    const outer = Object.values(networkInterfaces())
      .flat()
      .filter((n) => n?.family === 'IPv4' && !n.internal);
    for (const n of outer)
      await new Promise<void>((done, failed) => {
        const socket = connect(port, n!.address, () => failed(new Error(`reached at ${n!.address}`)));
        socket.on('error', () => done());
      });
  });

  it('survives requests that are none', async () => {
    await new Promise<void>((done) => {
      const socket = connect(port, '127.0.0.1', () => socket.end('GET nonsense HTTP/1.1\r\nHost: x\r\n\r\n\0\0'));
      socket.on('close', () => done());
      socket.on('error', () => {});
      socket.resume();
    });
    expect((await ask('/')).status).toBe(200);
  });
});

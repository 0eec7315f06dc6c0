import { readdirSync, readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import sirv from 'sirv';

export const DIST = join(import.meta.dirname, '../../dist/viewer');

/** The strictest policy the page must live with. */
export const POLICY =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/** Serves the built page at / and a result folder under data/, 127.0.0.1 only. */
export async function serve(folder: string): Promise<{ url: string; close(): Promise<void> }> {
  const page = sirv(DIST, { dev: true });
  const server = createServer((req, res) => {
    const path = decodeURIComponent(new URL(req.url ?? '/', 'http://x').pathname);
    res.setHeader('Content-Security-Policy', POLICY);
    res.setHeader('Cross-Origin-Opener-Policy', 'same-origin');
    res.setHeader('Cross-Origin-Embedder-Policy', 'require-corp');
    if (path === '/data/') {
      res.setHeader('Content-Type', 'application/json');
      res.end(JSON.stringify(readdirSync(folder)));
    } else if (path.startsWith('/data/')) {
      const name = path.slice(6);
      if (!readdirSync(folder).includes(name)) res.writeHead(404).end();
      else res.end(readFileSync(join(folder, name)));
    } else
      page(req, res, () => {
        res.writeHead(404).end();
      });
  });
  await new Promise<void>((done) => server.listen(0, '127.0.0.1', done));
  const { port } = server.address() as AddressInfo;
  return {
    url: `http://127.0.0.1:${port}/`,
    close: () => new Promise((done) => server.close(() => done())),
  };
}

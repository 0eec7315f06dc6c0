import { join } from 'node:path';
import { serveFolders } from '../../cli/server.ts';

export const DIST = join(import.meta.dirname, '../../dist/viewer');

/** The strictest policy: the page must live with it as well as with the server's own. */
const POLICY =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/** The project's own server, on a free port; `strict` puts the strictest policy in place of its own. */
export async function serve(folder: string, strict = false): Promise<{ url: string; close(): Promise<void> }> {
  const { server, port } = await serveFolders({ page: DIST, data: folder }, 0);
  if (strict)
    server.prependListener('request', (_request, response) => {
      const set = response.setHeader.bind(response);
      response.setHeader = (name, value) => set(name, name === 'Content-Security-Policy' ? POLICY : value);
    });
  return {
    url: `http://127.0.0.1:${port}/`,
    close: () =>
      new Promise((done) => {
        server.close(() => done());
        server.closeAllConnections();
      }),
  };
}

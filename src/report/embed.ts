import { gzipSync } from 'fflate';

/** What a page that shows a result has no use for: the program of the main job, see vite.config.ts. */
const SHOP_WORKER = /<script type="text\/plain" data-part="shop-worker">[^<]*<\/script>\n?/;

/**
 * Puts files into the single-file page (dist/viewer/report.html as built): each a block of text that no browser runs, gzip
 * in base64, which data.ts reads back; the program of the main job goes out. Names must be plain file names. Pure: the same bytes for the same input.
 */
export function embed(page: string, files: ReadonlyMap<string, Uint8Array>): string {
  const blocks = [...files].map(([name, bytes]) => {
    if (!/^[\w.-]+$/.test(name)) throw new Error(`"${name}" is no plain file name`);
    return `<script type="text/plain" data-file="${name}">${toBase64(gzipSync(bytes, { level: 9, mtime: 0 }))}</script>\n`;
  });
  const bare = page.replace(SHOP_WORKER, '');
  const at = bare.lastIndexOf('</body>');
  if (at < 0) throw new Error('the page has no body to put data into');
  return bare.slice(0, at) + blocks.join('') + bare.slice(at);
}

const DIGITS = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/';

/** Base64 (RFC 4648) without the platform's help, in pieces so that no string grows by single letters. */
function toBase64(bytes: Uint8Array): string {
  const parts: string[] = [];
  for (let from = 0; from < bytes.length; from += 3 * 4096) {
    const codes: string[] = [];
    for (let i = from; i < Math.min(bytes.length, from + 3 * 4096); i += 3) {
      const n = (bytes[i] << 16) | ((bytes[i + 1] ?? 0) << 8) | (bytes[i + 2] ?? 0);
      codes.push(
        DIGITS[n >> 18] +
          DIGITS[(n >> 12) & 63] +
          (i + 1 < bytes.length ? DIGITS[(n >> 6) & 63] : '=') +
          (i + 2 < bytes.length ? DIGITS[n & 63] : '='),
      );
    }
    parts.push(codes.join(''));
  }
  return parts.join('');
}

import { Gunzip } from 'fflate';
import { Fault } from '../core/fault.ts';
import { joinBytes } from './bytes.ts';
import type { ByteSource } from './source.ts';

/** A file that unpacks to more than this is no scan. */
const MOST_UNPACKED = 16 * 2 ** 30;
/** Packed bytes taken at a time; deflate makes at most 1032 times as many of them. */
const PIECE = 1 << 16;

export const isGzip = (head: Uint8Array): boolean => head.length >= 3 && head[0] === 0x1f && head[1] === 0x8b && head[2] === 8;

/**
 * The file inside a .gz, unpacked as it is read. Each member's length and CRC-32 are checked (RFC 1952), since the unpacker does not.
 */
export function gunzipped(source: ByteSource, packed: AsyncIterable<Uint8Array>): ByteSource {
  const chunks = () => unpack(source.name, packed);
  return {
    name: source.name,
    chunks,
    bytes: async () => {
      const pieces: Uint8Array[] = [];
      for await (const piece of chunks()) pieces.push(piece);
      return joinBytes(pieces);
    },
    ...(source.sibling ? { sibling: (relative: string) => source.sibling!(relative) } : {}),
  };
}

/** The unpacked bytes of a gzip file, in pieces; takes `size` packed bytes at a time. */
export async function* unpack(name: string, packed: AsyncIterable<Uint8Array>, size = PIECE): AsyncGenerator<Uint8Array> {
  const out: Uint8Array[] = [];
  let crc = 0;
  let length = 0;
  let total = 0;
  /** The last bytes seen, enough to hold a trailer and the header after it, and where the next byte lies in the file. */
  let tail: Uint8Array = new Uint8Array(0);
  let position = 0;
  const bad = (got: string, expected: string): Fault =>
    new Fault({
      code: 'gzip-damaged',
      what: 'The gzip file is damaged or cut off.',
      got,
      expected,
      hint: 'Copy or pack the file again.',
      where: name,
    });
  const gunzip = new Gunzip((piece) => {
    crc = crc32(piece, crc);
    length += piece.length;
    total += piece.length;
    if (piece.length > 0) out.push(piece);
  });
  const checkMember = (end: Uint8Array): void => {
    const view = new DataView(end.buffer, end.byteOffset, end.byteLength);
    if (end.length < 8) throw bad('the end of the file', 'eight bytes of check sum and length');
    if (view.getUint32(4, true) !== length % 2 ** 32)
      throw bad(`${length} bytes`, `${view.getUint32(4, true)} bytes, as the file says of itself`);
    if (view.getUint32(0, true) !== crc) throw bad('bytes whose check sum differs', 'the check sum that the file holds');
    crc = 0;
    length = 0;
  };
  let seen: Uint8Array = new Uint8Array(0);
  let seenAt = 0;
  // A new member begins at `offset`: the eight bytes before it close the last one.
  gunzip.onmember = (offset) => checkMember(seen.subarray(Math.max(0, offset - 8 - seenAt), Math.max(0, offset - seenAt)));
  const feed = (piece: Uint8Array, last: boolean): void => {
    seen = joinBytes([tail, piece]);
    seenAt = position - tail.length;
    position += piece.length;
    try {
      gunzip.push(piece, last);
    } catch (e) {
      if (e instanceof Fault) throw e;
      throw bad(e instanceof Error ? e.message : String(e), 'whole deflate blocks');
    }
    tail = seen.slice(Math.max(0, seen.length - 1024));
    if (total > MOST_UNPACKED) throw bad(`more than ${MOST_UNPACKED} bytes`, 'a scan');
  };
  for await (const piece of regrouped(packed, size)) {
    feed(piece, false);
    yield* out.splice(0);
  }
  feed(new Uint8Array(0), true);
  checkMember(tail.subarray(Math.max(0, tail.length - 8)));
  yield* out.splice(0);
}

/** The same bytes in pieces of `size` (the last may be shorter): each push costs the unpacker some 32 KB of copying. */
async function* regrouped(packed: AsyncIterable<Uint8Array>, size: number): AsyncGenerator<Uint8Array> {
  let held: Uint8Array[] = [];
  let length = 0;
  for await (const chunk of packed)
    for (let at = 0; at < chunk.length; ) {
      const part = chunk.subarray(at, at + size - length);
      held.push(part);
      length += part.length;
      at += part.length;
      if (length < size) continue;
      yield held.length === 1 ? part : joinBytes(held);
      held = [];
      length = 0;
    }
  if (length > 0) yield joinBytes(held);
}

const CRC_TABLES = makeTables();

/** Eight tables for eight bytes a step. */
function makeTables(): Int32Array {
  const t = new Int32Array(8 * 256);
  for (let n = 0; n < 256; n++) {
    let c = n;
    for (let k = 0; k < 8; k++) c = c & 1 ? (c >>> 1) ^ 0xedb88320 : c >>> 1;
    t[n] = c;
  }
  for (let k = 1; k < 8; k++) for (let n = 0; n < 256; n++) t[256 * k + n] = (t[256 * (k - 1) + n] >>> 8) ^ t[t[256 * (k - 1) + n] & 255];
  return t;
}

/** CRC-32 of RFC 1952 (ISO 3309), continued from `crc`. */
export function crc32(bytes: Uint8Array, crc = 0): number {
  const t = CRC_TABLES;
  let c = ~crc;
  let i = 0;
  for (const end = bytes.length - 7; i < end; i += 8) {
    c ^= bytes[i] | (bytes[i + 1] << 8) | (bytes[i + 2] << 16) | (bytes[i + 3] << 24);
    c =
      t[1792 + (c & 255)] ^
      t[1536 + ((c >>> 8) & 255)] ^
      t[1280 + ((c >>> 16) & 255)] ^
      t[1024 + (c >>> 24)] ^
      t[768 + bytes[i + 4]] ^
      t[512 + bytes[i + 5]] ^
      t[256 + bytes[i + 6]] ^
      t[bytes[i + 7]];
  }
  for (; i < bytes.length; i++) c = (c >>> 8) ^ t[(c ^ bytes[i]) & 255];
  return ~c >>> 0;
}

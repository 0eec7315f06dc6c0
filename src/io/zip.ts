import { inflateSync } from 'fflate';
import { Fault } from '../core/fault.ts';
import { crc32 } from './gzip.ts';

export interface ZipEntry {
  /** Path within the archive, with forward slashes. */
  readonly name: string;
  /** Bytes when unpacked, as the archive says. */
  readonly size: number;
  /** Unpacks; checks length and CRC-32. */
  unpack(): Uint8Array;
}

/** All entries of an archive together may unpack to this much. */
const MOST_UNPACKED = 2 ** 31;
const MOST_ENTRIES = 65535;
/** Deflate reaches 1032 : 1 and no more. */
const MOST_RATIO = 1040;

export const isZip = (head: Uint8Array): boolean => head[0] === 0x50 && head[1] === 0x4b && head[2] === 3 && head[3] === 4;

/**
 * The files of a ZIP archive by its central directory (PKWARE APPNOTE 6.3; stored and deflated entries, ZIP64 sizes). Sizes are
 * added up and capped before anything is unpacked. Folders are left out.
 */
export function openZip(name: string, bytes: Uint8Array): ZipEntry[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  const bad = (got: string, expected: string): Fault =>
    new Fault({
      code: 'zip-damaged',
      what: 'The archive is damaged or cut off.',
      got,
      expected,
      hint: 'Copy or pack the file again.',
      where: name,
    });
  let end = bytes.length - 22;
  for (const least = Math.max(0, end - 65535); end >= least && view.getUint32(end, true) !== 0x06054b50; ) end--;
  if (end < 0 || view.getUint32(end, true) !== 0x06054b50) throw bad('no directory', 'a directory at the end of the archive');
  const entries: ZipEntry[] = [];
  let total = 0;
  let at = view.getUint32(end + 16, true);
  const n = view.getUint16(end + 10, true);
  if (at === 0xffffffff || n === MOST_ENTRIES) throw bad('a directory of more than 4 GB or 65,534 files', 'a smaller archive');
  for (let i = 0; i < n; i++) {
    if (at + 46 > bytes.length || view.getUint32(at, true) !== 0x02014b50) throw bad(`${i} entries in the directory`, `${n} entries`);
    const entry = directoryEntry(view, bytes, at);
    at += 46 + view.getUint16(at + 28, true) + view.getUint16(at + 30, true) + view.getUint16(at + 32, true);
    total += entry.size;
    if (total > MOST_UNPACKED) throw bad(`more than ${MOST_UNPACKED / 2 ** 30} GB when unpacked`, 'scans');
    if (!entry.name.endsWith('/'))
      entries.push({ name: entry.name, size: entry.size, unpack: () => unpackEntry(bytes, view, { ...entry, bad }) });
  }
  return entries;
}

interface Raw {
  readonly name: string;
  readonly method: number;
  readonly crc: number;
  readonly packed: number;
  readonly size: number;
  readonly at: number;
  readonly encrypted: boolean;
}

function directoryEntry(view: DataView, bytes: Uint8Array, p: number): Raw {
  const nameLength = view.getUint16(p + 28, true);
  const extraEnd = Math.min(bytes.length, p + 46 + nameLength + view.getUint16(p + 30, true));
  const sizes = [view.getUint32(p + 24, true), view.getUint32(p + 20, true), view.getUint32(p + 42, true)];
  for (let e = p + 46 + nameLength; e + 4 <= extraEnd; e += 4 + view.getUint16(e + 2, true)) {
    if (view.getUint16(e, true) !== 1) continue;
    let q = e + 4;
    for (let k = 0; k < 3; k++)
      if (sizes[k] === 0xffffffff && q + 8 <= extraEnd) {
        sizes[k] = Number(view.getBigUint64(q, true));
        q += 8;
      }
  }
  return {
    name: new TextDecoder().decode(bytes.subarray(p + 46, p + 46 + nameLength)).replace(/\\/g, '/'),
    encrypted: (view.getUint16(p + 8, true) & 1) !== 0,
    method: view.getUint16(p + 10, true),
    crc: view.getUint32(p + 16, true),
    size: sizes[0],
    packed: sizes[1],
    at: sizes[2],
  };
}

function unpackEntry(bytes: Uint8Array, view: DataView, entry: Raw & { bad: (got: string, expected: string) => Fault }): Uint8Array {
  const { name, method, crc, packed, size, at, encrypted, bad } = entry;
  const shown = name.slice(-60);
  if (encrypted) throw bad(`${shown} locked with a password`, 'an archive without password');
  if (at + 30 > bytes.length || view.getUint32(at, true) !== 0x04034b50)
    throw bad(`nothing at byte ${at} for ${shown}`, 'the start of a file');
  const from = at + 30 + view.getUint16(at + 26, true) + view.getUint16(at + 28, true);
  if (from + packed > bytes.length) throw bad(`${shown} reaches beyond the end`, `an end by byte ${bytes.length}`);
  const data = bytes.subarray(from, from + packed);
  if (method !== 0 && method !== 8) throw bad(`${shown} packed by method ${method}`, 'stored or deflated files');
  if (size > (method === 0 ? packed : MOST_RATIO * packed + 64)) throw bad(`${shown}: ${size} bytes from ${packed}`, 'a true length');
  let out = data;
  if (method === 8)
    try {
      // One byte more than promised, so that a false promise shows.
      out = inflateSync(data, { out: new Uint8Array(size + 1) });
    } catch (e) {
      throw bad(`${shown}: ${e instanceof Error ? e.message : String(e)}`, 'whole deflate blocks');
    }
  if (out.length !== size) throw bad(`${shown}: another length when unpacked`, `${size} bytes`);
  if (crc32(out) !== crc) throw bad(`${shown}: bytes whose check sum differs`, 'the check sum that the archive holds');
  return out;
}

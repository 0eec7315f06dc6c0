import { Fault } from '../core/fault.ts';
import { gunzipped, isGzip } from './gzip.ts';
import { Input } from './input.ts';
import { OBJ_WORDS, readObj } from './obj.ts';
import { isPcd, readPcd } from './pcd.ts';
import { readPly } from './ply.ts';
import type { ScanFile } from './scan-file.ts';
import { type ByteSource, extensionOf } from './source.ts';
import { isBinaryStl, isTextStl, readBinaryStl, readTextStl } from './stl.ts';
import { isXyz, readXyz } from './xyz.ts';
import { isZip } from './zip.ts';

export type { ScanFile } from './scan-file.ts';
export type { ByteSource } from './source.ts';

/** Bytes looked at to tell the format. */
const HEAD = 4096;
const FORMATS = 'STL, PLY, OBJ, GLB, glTF, 3MF, PCD, rows of x y z, or one of them in gzip or ZIP';
/** Names of files with rows of points. */
const ROWS = ['xyz', 'csv', 'asc', 'txt', 'pts'];

/** Formats that are known but not for scans, by their first bytes. */
const OTHERS: readonly (readonly [string, string])[] = [
  ['ISO-10303-21', 'a STEP file: a drawn solid, not a scan. Export a mesh of it'],
  ['Kaydara FBX', 'an FBX file'],
  ['<?xml', 'an XML file'],
  ['%PDF', 'a PDF'],
  ['LASF', 'a LAS survey file. Export its points as PLY'],
  ['ASTM-E57', 'an E57 survey file. Export its points as PLY'],
  ['\x89PNG', 'a picture'],
  ['\xff\xd8\xff', 'a picture'],
  ['voidgauge:', 'a job file, not a scan'],
];

/**
 * Reads one scan file. The content says what it is; the name helps only where content leaves it open.
 * Coordinates stay in the file's unit. Anything that does not fit is a Fault naming the file and the place in it.
 */
export async function readScan(source: ByteSource): Promise<ScanFile> {
  const input = await Input.open(source);
  await input.need(HEAD);
  const head = input.bytes.subarray(input.at, input.at + HEAD);
  if (head.length === 0)
    throw input.fault('scan-empty', 'The file is empty.', {
      got: '0 bytes',
      expected: 'a scan',
      hint: 'Copy or export the file again.',
      at: null,
    });
  if (isGzip(head)) {
    const inner = await readScan(gunzipped(source, remaining(input)));
    return { ...inner, format: `${inner.format} in gzip` };
  }
  return await (readerOf(source, input, head) ?? unknown(input, head))();
}

type Reader = () => Promise<ScanFile>;

function readerOf(source: ByteSource, input: Input, head: Uint8Array): Reader | undefined {
  const extension = extensionOf(input.name);
  if (isZip(head)) return () => archive(source, input);
  if (starts(head, 'glTF')) return () => gltf(source, input);
  if (starts(head, 'ply\n') || starts(head, 'ply\r')) return () => readPly(input);
  if (isBinaryStl(head, input.size)) return () => readBinaryStl(input);
  if (isTextStl(head)) return () => readTextStl(input);
  const text = new TextDecoder().decode(head);
  if (isPcd(text)) return () => readPcd(input);
  if (!isText(head)) return extension === 'stl' ? () => readBinaryStl(input) : undefined;
  skipMark(input, head);
  const words = firstWords(text, head.length === HEAD);
  if (words[0]?.startsWith('{')) return () => gltf(source, input);
  if (words.length > 0 && words.every((w) => OBJ_WORDS.has(w) || w === '\\')) return () => readObj(input);
  if (extension === 'obj') return () => readObj(input);
  if (OTHERS.some(([word]) => starts(head, word))) return undefined;
  return ROWS.includes(extension) || isXyz(text) ? () => readXyz(input) : undefined;
}

async function archive(source: ByteSource, input: Input): Promise<ScanFile> {
  const { readArchive } = await import('./archive.ts');
  return readArchive(source.name, await input.rest(), readScan);
}

async function gltf(source: ByteSource, input: Input): Promise<ScanFile> {
  // Loaded when a file needs it: the library is larger than all other readers together.
  const { readGltf } = await import('./gltf.ts');
  return readGltf(source, await input.rest());
}

/** The unread bytes of an input, for a source within. */
async function* remaining(input: Input): AsyncGenerator<Uint8Array> {
  while (await input.need(1)) {
    const piece = input.bytes.subarray(input.at);
    input.at = input.bytes.length;
    yield piece;
  }
}

const starts = (head: Uint8Array, word: string): boolean => {
  for (let i = 0; i < word.length; i++) if (head[i] !== word.charCodeAt(i)) return false;
  return true;
};

/** True when no byte is a control character other than tab, line ends, form feed. */
const isText = (head: Uint8Array): boolean => head.every((b) => b >= 32 || b === 9 || b === 10 || b === 12 || b === 13);

/** Passes over the byte-order mark of UTF-8. */
function skipMark(input: Input, head: Uint8Array): void {
  if (head[0] === 0xef && head[1] === 0xbb && head[2] === 0xbf) input.at += 3;
}

/** First word of each of the first lines, without comments; a last line that may be cut is left out. */
function firstWords(text: string, cut: boolean): string[] {
  const lines = text.split(/\r\n|\r|\n/);
  const whole = cut && lines.length > 1 ? lines.slice(0, -1) : lines;
  const plain = whole.map((l) => l.trim()).filter((l) => l !== '' && !l.startsWith('#'));
  return plain.map((l) => l.split(/\s/)[0]);
}

function unknown(input: Input, head: Uint8Array): Reader {
  const known = OTHERS.find(([word]) => starts(head, word));
  const shown = Array.from(head.subarray(0, 16), (b) => (b >= 32 && b < 127 ? String.fromCharCode(b) : '.')).join('');
  const wide = (head[0] === 0xff && head[1] === 0xfe) || (head[0] === 0xfe && head[1] === 0xff);
  throw new Fault({
    code: 'scan-format',
    what: 'The file is not a scan in a format that can be read.',
    got: known ? known[1] : wide ? 'text in UTF-16' : `bytes that begin with "${shown}"`,
    expected: FORMATS,
    hint: wide ? 'Save the text as UTF-8.' : 'Export the scan again as binary PLY or STL.',
    where: input.name,
  });
}

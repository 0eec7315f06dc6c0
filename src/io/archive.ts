import { Fault, type Note } from '../core/fault.ts';
import type { LengthUnit } from '../core/units.ts';
import { uniqueName } from './build.ts';
import type { ScanFile, ScanPart } from './scan-file.ts';
import { type ByteSource, bytesSource, extensionOf, stemOf } from './source.ts';
import { isThreeMf, readThreeMf } from './threemf.ts';
import { openZip, type ZipEntry } from './zip.ts';

/** Files that go with scans and hold none. */
const BESIDE = ['mtl', 'png', 'jpg', 'jpeg', 'bmp', 'tif', 'tiff', 'bin', 'pdf', 'md', 'html', 'json', 'xml', 'log', 'ini', 'db'];

/**
 * A ZIP archive: a 3MF package, or scans packed together. Each scan in it is read by `read`; with more than one, parts are called
 * "file/part". Files that are no scans are listed in a note; a scan that is damaged is a fault of the whole.
 */
export async function readArchive(name: string, bytes: Uint8Array, read: (source: ByteSource) => Promise<ScanFile>): Promise<ScanFile> {
  const entries = openZip(name, bytes);
  if (isThreeMf(entries)) return readThreeMf(name, entries);
  const scans: { entry: ZipEntry; file: ScanFile }[] = [];
  const left: string[] = [];
  for (const entry of entries) {
    const base = entry.name.replace(/^.*\//, '');
    if (entry.name.startsWith('__MACOSX/') || base.startsWith('.')) continue;
    const file = BESIDE.includes(extensionOf(base)) ? undefined : await readEntry(name, entry, entries, read);
    if (file) scans.push({ entry, file });
    else left.push(entry.name.slice(-60));
  }
  if (scans.length === 0)
    throw new Fault({
      code: 'zip-no-scan',
      what: 'The archive holds no scan.',
      got: left.slice(0, 10).join(', ') || 'no files',
      expected: 'at least one scan file',
      where: name,
    });
  const notes: Note[] = scans.flatMap((s) => s.file.notes);
  if (left.length > 0)
    notes.push({
      code: 'zip-left',
      text: `${left.length === 1 ? '1 file of the archive is no scan and was' : `${left.length} files of the archive are not scans and were`} not read: ${left.slice(0, 20).join(', ')}.`,
      where: name,
    });
  const format = [...new Set(scans.map((s) => s.file.format))].join(', ');
  return { format: `ZIP of ${format}`, unit: commonUnit(name, scans), parts: namedParts(scans), notes };
}

/** One file of the archive; undefined when it is in no format of scans. Archives within archives are not opened. */
async function readEntry(
  archive: string,
  entry: ZipEntry,
  entries: readonly ZipEntry[],
  read: (source: ByteSource) => Promise<ScanFile>,
): Promise<ScanFile | undefined> {
  const bytes = entry.unpack();
  const folder = entry.name.replace(/[^/]*$/, '');
  const isPackage = extensionOf(entry.name) === '3mf';
  if (bytes[0] === 0x50 && bytes[1] === 0x4b) return isPackage ? readPackage(`${archive}:${entry.name}`, bytes) : undefined;
  const sibling = async (relative: string): Promise<Uint8Array> => {
    const found = entries.find((e) => e.name === resolvePath(folder, relative));
    if (!found) throw new Error(`no ${relative.slice(0, 80)} in the archive`);
    return found.unpack();
  };
  try {
    return await read({ ...bytesSource(`${archive}:${entry.name}`, bytes), sibling });
  } catch (e) {
    if (e instanceof Fault && (e.code === 'scan-format' || e.code === 'xyz-rows')) return undefined;
    throw e;
  }
}

function readPackage(name: string, bytes: Uint8Array): ScanFile | undefined {
  const entries = openZip(name, bytes);
  return isThreeMf(entries) ? readThreeMf(name, entries) : undefined;
}

/** "a/b/" and "../c.bin" make "a/c.bin". */
function resolvePath(folder: string, relative: string): string {
  const out: string[] = [];
  for (const step of `${folder}${relative}`.split('/')) {
    if (step === '..') out.pop();
    else if (step !== '.' && step !== '') out.push(step);
  }
  return out.join('/');
}

function commonUnit(name: string, scans: readonly { entry: ZipEntry; file: ScanFile }[]): LengthUnit | null {
  const units = new Set(scans.map((s) => s.file.unit));
  if (units.size <= 1) return scans[0].file.unit;
  throw new Fault({
    code: 'zip-units',
    what: 'The scans of the archive do not have one unit.',
    got: scans
      .slice(0, 10)
      .map((s) => `${s.entry.name.slice(-40)}: ${s.file.unit ?? 'not said'}`)
      .join(', '),
    expected: 'one unit for all',
    hint: 'Take the files out and name each in the job with its unit.',
    where: name,
  });
}

function namedParts(scans: readonly { entry: ZipEntry; file: ScanFile }[]): ScanPart[] {
  const taken = new Map<string, number>();
  return scans.flatMap(({ entry, file }) =>
    file.parts.map((p) => {
      const stem = stemOf(entry.name);
      const plain = scans.length === 1 || (file.parts.length === 1 && p.name === stem);
      return { ...p, name: uniqueName(plain ? p.name : `${stem}/${p.name}`, taken) };
    }),
  );
}

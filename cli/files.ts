import { createHash } from 'node:crypto';
import { createReadStream, existsSync, rmSync } from 'node:fs';
import { access, constants, mkdir, open, readdir, readFile, rename, rm, stat, writeFile } from 'node:fs/promises';
import { basename, dirname, isAbsolute, join, relative, resolve, sep } from 'node:path';
import { Fault, nearestWord } from '../src/core/fault.ts';
import type { ByteSource } from '../src/io/source.ts';

/**
 * Files as the program meets them: every failure of the disk is a Fault in plain words, and what is written appears whole or not at all.
 */

const codeOf = (error: unknown): string => (error instanceof Error && 'code' in error ? String(error.code) : '');

/** Unfinished files and folders of this process; removed when it ends early. */
const unfinished = new Set<string>();

/** Removes what is unfinished, at once; for the end of the process. */
export function removeUnfinished(): void {
  for (const path of unfinished) rmSync(path, { recursive: true, force: true });
  unfinished.clear();
}

/** A file to read must be there, be a file and be readable; else a Fault that names the nearest file beside it. */
export async function checkReadable(path: string, kind: string): Promise<number> {
  try {
    const found = await stat(path);
    if (found.isDirectory())
      throw new Fault({ code: 'file-is-folder', what: `This is a folder, not ${kind}.`, where: path, expected: kind });
    await access(path, constants.R_OK);
    return found.size;
  } catch (error) {
    if (error instanceof Fault) throw error;
    if (codeOf(error) === 'EACCES')
      throw new Fault({ code: 'file-unreadable', what: 'The file may not be read.', where: path, hint: 'check its permissions' });
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) throw await missing(path, kind);
    throw new Fault({ code: 'file-unreadable', what: `The file cannot be read (${codeOf(error) || String(error)}).`, where: path });
  }
}

async function missing(path: string, kind: string): Promise<Fault> {
  const beside = await readdir(dirname(path)).catch(() => undefined);
  const near = beside && nearestWord(basename(path), beside);
  const hint = !beside ? `there is no folder ${dirname(path)}` : near ? `did you mean ${join(dirname(path), near)}?` : undefined;
  return new Fault({ code: 'file-missing', what: 'There is no such file.', where: path, expected: kind, hint });
}

/** Text of a file, UTF-8 or a Fault. */
export async function readText(path: string, kind: string): Promise<string> {
  await checkReadable(path, kind);
  const bytes = await readFile(path);
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    throw new Fault({
      code: 'file-not-text',
      what: `This is not ${kind}: it holds bytes that are no text.`,
      where: path,
      expected: `${kind}, UTF-8 text`,
    });
  }
}

/** A scan on disk, read piece by piece. Files that it names are only looked for in its own folder and below. */
export async function fileSource(path: string): Promise<ByteSource> {
  const size = await checkReadable(path, 'a scan');
  return {
    name: path,
    size,
    bytes: () => readFile(path),
    chunks: () => createReadStream(path, { highWaterMark: 1 << 20 }),
    sibling: async (name) => {
      const folder = resolve(dirname(path));
      const wanted = resolve(folder, name);
      if (!wanted.startsWith(folder.endsWith(sep) ? folder : folder + sep))
        throw new Fault({
          code: 'file-outside',
          what: `The scan asks for a file outside its own folder: ${name}`,
          where: path,
          expected: 'a file beside the scan or below it',
        });
      await checkReadable(wanted, `a file that ${basename(path)} needs`);
      return readFile(wanted);
    },
  };
}

const NOT_WRITABLE = 'This place may not be written to; nothing was written.';
const ELSEWHERE = 'write elsewhere with -o';

/** A scan on disk that also tells the SHA-256 of its bytes (hex), taken while they are read. */
export async function digestedSource(path: string): Promise<ByteSource & { digest(): Promise<string> }> {
  const source = await fileSource(path);
  let done: string | undefined;
  const chunks = async function* (): AsyncGenerator<Uint8Array> {
    const hash = createHash('sha256');
    for await (const piece of createReadStream(path, { highWaterMark: 1 << 20 })) {
      hash.update(piece);
      yield piece;
    }
    done = hash.digest('hex');
  };
  // A reader that stopped early leaves the rest to be read for the digest alone.
  const finish = async (): Promise<string> => {
    for await (const _ of chunks());
    return done ?? '';
  };
  return { ...source, chunks, digest: async () => done ?? finish() };
}

/** A failure to write, in plain words. */
export function writeFault(error: unknown, path: string): Fault {
  if (error instanceof Fault) return error;
  const code = codeOf(error);
  const of = (name: string, what: string, hint?: string): Fault => new Fault({ code: name, what, where: path, hint, exit: 1 });
  if (code === 'ENOSPC' || code === 'EDQUOT')
    return of('disk-full', 'The disk is full; nothing was written.', 'make room, or write elsewhere with -o');
  if (['EACCES', 'EPERM', 'EROFS'].includes(code)) return of('not-writable', NOT_WRITABLE, ELSEWHERE);
  if (code === 'ENOENT' || code === 'ENOTDIR')
    return existsSync(dirname(path)) ? of('not-writable', NOT_WRITABLE, ELSEWHERE) : noFolder(path);
  if (code === 'EISDIR' || code === 'ENOTEMPTY' || code === 'EEXIST')
    return of('in-the-way', 'Something else of this name is in the way.', 'write elsewhere with -o');
  return of('not-written', `Writing failed (${code || String(error)}).`);
}

const besideName = (path: string): string => join(dirname(path), `.${basename(path)}.${process.pid}.tmp`);

/** Writes one file whole: beside its place first, flushed, then renamed. An existing file is a Fault unless `force`. */
export async function writeWhole(path: string, data: string | Uint8Array, force: boolean): Promise<void> {
  if (!force) await refuseExisting(path);
  const temporary = besideName(path);
  unfinished.add(temporary);
  try {
    await writeFlushed(temporary, data);
    await rename(temporary, path);
  } catch (error) {
    await rm(temporary, { force: true });
    throw writeFault(error, path);
  } finally {
    unfinished.delete(temporary);
  }
}

async function writeFlushed(path: string, data: string | Uint8Array): Promise<void> {
  const file = await open(path, 'wx');
  try {
    await writeFile(file, data);
    await file.sync();
  } finally {
    await file.close();
  }
}

/** Asked before any work: is there room for a new file at `path`? */
export async function checkOutFile(path: string, force: boolean): Promise<void> {
  if (!force) await refuseExisting(path);
  const folder = await stat(dirname(path)).catch(() => undefined);
  if (!folder?.isDirectory()) throw noFolder(path);
}

async function refuseExisting(path: string): Promise<void> {
  const found = await stat(path).catch(() => undefined);
  if (found?.isDirectory())
    throw new Fault({ code: 'in-the-way', what: 'There is a folder of this name.', where: path, expected: 'a file to write' });
  if (found)
    throw new Fault({
      code: 'exists',
      what: 'The file is already there and is left as it is.',
      where: path,
      hint: 'choose another name, or --force to write over it',
    });
}

const noFolder = (path: string): Fault =>
  new Fault({
    code: 'no-folder',
    what: 'The folder to write into is not there.',
    where: path,
    hint: `make ${dirname(path)} first`,
    exit: 1,
  });

/**
 * Asked before any work: may results go into the folder `out`? It may be absent or empty, or with `force` hold earlier results. That it
 * can be written to is tried.
 */
export async function checkOutFolder(out: string, force: boolean): Promise<void> {
  const found = await stat(out).catch(() => undefined);
  if (found && !found.isDirectory())
    throw new Fault({ code: 'in-the-way', what: 'There is a file of this name.', where: out, expected: 'a folder for the results' });
  const held = found ? await readdir(out).catch((error) => Promise.reject(writeFault(error, out))) : [];
  if (held.length > 0 && !force)
    throw new Fault({
      code: 'out-not-empty',
      what: held.includes('result.json') ? 'The folder already holds results; they are left as they are.' : 'The folder is not empty.',
      got: `${held.length} file${held.length > 1 ? 's' : ''}, such as ${held.includes('result.json') ? 'result.json' : held[0]}`,
      expected: 'a new or empty folder',
      where: out,
      hint: 'choose another folder, or --force to write over earlier results',
    });
  const trial = found ? join(out, `.${process.pid}.tmp`) : besideName(out);
  try {
    await mkdir(trial);
    await rm(trial, { recursive: true });
  } catch (error) {
    throw writeFault(error, out);
  }
}

/**
 * Puts files into the folder `out`: all are written to a folder beside it first, then moved in, so that a failure leaves `out` as it
 * was. Files of other names in it stay, but for those in `stale`: results of an earlier run that this one does not have.
 */
export async function writeFolder(
  out: string,
  files: ReadonlyMap<string, string | Uint8Array>,
  stale: readonly string[] = [],
): Promise<void> {
  const place = resolve(out);
  const stage = besideName(place);
  unfinished.add(stage);
  try {
    await rm(stage, { recursive: true, force: true });
    await mkdir(stage);
    for (const [name, data] of files) await writeFlushed(join(stage, name), data);
    if (await stat(place).catch(() => undefined)) await moveInto(place, stage, [...files.keys()], stale);
    else await rename(stage, place);
  } catch (error) {
    throw writeFault(error, out);
  } finally {
    await rm(stage, { recursive: true, force: true });
    unfinished.delete(stage);
  }
}

async function moveInto(place: string, stage: string, names: readonly string[], stale: readonly string[]): Promise<void> {
  for (const name of names) await rename(join(stage, name), join(place, name));
  for (const name of stale) if (!names.includes(name)) await rm(join(place, name), { force: true });
}

/** `path` as a job in the folder `from` names it, with forward slashes: relative, unless it was given in full and lies elsewhere. */
export function nameFrom(from: string, path: string): string {
  const short = relative(resolve(from), resolve(path));
  return (isAbsolute(path) && short.startsWith('..') ? path : short).split(sep).join('/');
}

/** Asked before results are shown: is `out` a folder that a measure run wrote? */
export async function checkResults(out: string): Promise<void> {
  const found = await stat(out).catch(() => undefined);
  if (found?.isDirectory() && !(await stat(join(out, 'result.json')).catch(() => undefined)))
    throw new Fault({
      code: 'no-results',
      what: 'This folder holds no results.',
      where: out,
      expected: 'a folder with result.json',
      hint: 'voidgauge measure JOB -o OUT makes one',
    });
  if (found && !found.isDirectory())
    throw new Fault({
      code: 'no-results',
      what: 'This is a file.',
      where: out,
      expected: 'the folder that voidgauge measure wrote with -o',
    });
  if (!found) await checkReadable(out, 'a folder of results');
}

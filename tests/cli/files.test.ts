import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { checkOutFile, checkOutFolder, fileSource, nameFrom, readText, writeFault, writeFolder, writeWhole } from '../../cli/files.ts';
import { Fault } from '../../src/core/fault.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'voidgauge-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const faultOf = async (work: Promise<unknown>): Promise<Fault> => {
  const error = await work.then(
    () => undefined,
    (e: unknown) => e,
  );
  if (error instanceof Fault) return error;
  throw new Error(`no fault: ${String(error)}`);
};

describe('reading', () => {
  it('names the nearest file when one is missing', async () => {
    writeFileSync(join(folder, 'frame.ply'), 'x');
    const fault = await faultOf(fileSource(join(folder, 'fram.ply')));
    expect([fault.code, fault.detail.hint]).toEqual(['file-missing', `did you mean ${join(folder, 'frame.ply')}?`]);
    expect((await faultOf(fileSource(join(folder, 'no', 'x.ply')))).detail.hint).toBe(`there is no folder ${join(folder, 'no')}`);
  });

  it('refuses a folder, and bytes where text is wanted', async () => {
    expect((await faultOf(fileSource(folder))).code).toBe('file-is-folder');
    writeFileSync(join(folder, 'j.yaml'), Uint8Array.of(0x76, 0xff, 0xfe));
    expect((await faultOf(readText(join(folder, 'j.yaml'), 'a job file'))).code).toBe('file-not-text');
  });

  it('gives the bytes whole, in pieces, and those of files beside it, but of none outside', async () => {
    mkdirSync(join(folder, 'in'));
    mkdirSync(join(folder, 'inside'));
    writeFileSync(join(folder, 'in', 'a.gltf'), 'abc');
    writeFileSync(join(folder, 'in', 'b.bin'), 'bytes');
    writeFileSync(join(folder, 'inside', 'c.bin'), 'other');
    const source = await fileSource(join(folder, 'in', 'a.gltf'));
    expect(source.size).toBe(3);
    expect(Buffer.from(await source.bytes()).toString()).toBe('abc');
    const pieces: Uint8Array[] = [];
    for await (const piece of source.chunks!()) pieces.push(piece);
    expect(Buffer.concat(pieces).toString()).toBe('abc');
    expect(Buffer.from(await source.sibling!('b.bin')).toString()).toBe('bytes');
    for (const name of ['../inside/c.bin', '/etc/hostname', '..']) expect((await faultOf(source.sibling!(name))).code).toBe('file-outside');
    expect((await faultOf(source.sibling!('none.bin'))).code).toBe('file-missing');
  });
});

describe('writing a file', () => {
  it('leaves an existing one as it is unless forced, and nothing beside it', async () => {
    const path = join(folder, 'job.yaml');
    await writeWhole(path, 'one', false);
    expect((await faultOf(writeWhole(path, 'two', false))).code).toBe('exists');
    expect(readFileSync(path, 'utf8')).toBe('one');
    await writeWhole(path, 'two', true);
    expect(readFileSync(path, 'utf8')).toBe('two');
    expect(readdirSync(folder)).toEqual(['job.yaml']);
  });

  it('says what is in the way before any work', async () => {
    expect((await faultOf(checkOutFile(folder, false))).code).toBe('in-the-way');
    expect((await faultOf(checkOutFile(join(folder, 'no', 'job.yaml'), false))).code).toBe('no-folder');
    await checkOutFile(join(folder, 'job.yaml'), false);
  });

  it('leaves the old file whole when the new one cannot be put there', async () => {
    mkdirSync(join(folder, 'job.yaml'));
    writeFileSync(join(folder, 'job.yaml', 'keep'), '');
    expect((await faultOf(writeWhole(join(folder, 'job.yaml'), 'x', true))).exit).toBe(1);
    expect(readdirSync(folder)).toEqual(['job.yaml']);
  });
});

describe('writing a folder of results', () => {
  const files = new Map<string, string | Uint8Array>([
    ['result.json', '{}'],
    ['envelope.stl', Uint8Array.of(1, 2, 3)],
  ]);

  it('makes it whole', async () => {
    const out = join(folder, 'out');
    await checkOutFolder(out, false);
    expect(existsSync(out)).toBe(false);
    await writeFolder(out, files);
    expect(readdirSync(out).sort()).toEqual(['envelope.stl', 'result.json']);
    expect(readdirSync(folder)).toEqual(['out']);
  });

  it('refuses one that holds anything, and with force leaves other files alone', async () => {
    const out = join(folder, 'out');
    mkdirSync(out);
    await checkOutFolder(out, false);
    writeFileSync(join(out, 'mine.txt'), 'mine');
    expect((await faultOf(checkOutFolder(out, false))).code).toBe('out-not-empty');
    await checkOutFolder(out, true);
    await writeFolder(out, files);
    expect(readdirSync(out).sort()).toEqual(['envelope.stl', 'mine.txt', 'result.json']);
    expect((await faultOf(checkOutFolder(out, false))).detail.what).toContain('already holds results');
    expect((await faultOf(checkOutFolder(join(out, 'mine.txt'), false))).code).toBe('in-the-way');
    expect(readdirSync(folder)).toEqual(['out']);
  });

  it('leaves the folder as it was when a file fails', async () => {
    const out = join(folder, 'out');
    mkdirSync(out);
    writeFileSync(join(out, 'result.json'), 'old');
    expect((await faultOf(writeFolder(out, new Map([...files, ['no/such/folder.stl', 'x']])))).exit).toBe(1);
    expect(readFileSync(join(out, 'result.json'), 'utf8')).toBe('old');
    expect(readdirSync(out)).toEqual(['result.json']);
    expect(readdirSync(folder)).toEqual(['out']);
  });

  it('says beforehand that the parent folder is missing', async () => {
    expect((await faultOf(checkOutFolder(join(folder, 'no', 'out'), false))).code).toBe('no-folder');
  });
});

describe('failures of the disk', () => {
  const failure = (code: string): Error => Object.assign(new Error(code), { code });
  it.each([
    ['ENOSPC', 'disk-full'],
    ['EDQUOT', 'disk-full'],
    ['EACCES', 'not-writable'],
    ['EROFS', 'not-writable'],
    ['EIO', 'not-written'],
  ])('%s is %s, exit code 1', (code, name) => {
    const fault = writeFault(failure(code), 'out');
    expect([fault.code, fault.exit, fault.detail.where]).toEqual([name, 1, 'out']);
  });

  it('are told from a full disk of the system', async () => {
    // Linux's /dev/full refuses every byte for want of room: the real error of a full disk.
    if (!existsSync('/dev/full')) return expect(process.platform).not.toBe('linux');
    symlinkSync('/dev/full', join(folder, 'full'));
    const { writeFile } = await import('node:fs/promises');
    const error = await writeFile(join(folder, 'full'), 'x').catch((e: unknown) => e);
    expect(writeFault(error, 'full').code).toBe('disk-full');
  });

  it('are told for a folder that may not be written to', async () => {
    // Root may write anywhere, except where the kernel itself keeps no files.
    const closed = process.getuid?.() === 0 ? '/proc' : folder;
    chmodSync(folder, 0o555);
    expect((await faultOf(checkOutFolder(join(closed, 'out'), false))).code).toBe('not-writable');
    expect((await faultOf(writeWhole(join(closed, 'job.yaml'), 'x', false))).code).toBe('not-writable');
    chmodSync(folder, 0o755);
  });
});

describe('names of scans in a job', () => {
  it('are relative to it, unless given in full and elsewhere', () => {
    expect(nameFrom('/a/b', '/a/b/c.ply')).toBe('c.ply');
    expect(nameFrom('/a/b', '/a/c.ply')).toBe('/a/c.ply');
    expect(nameFrom('jobs', 'scans/c.ply')).toBe('../scans/c.ply');
    expect(nameFrom('.', 'scans/c.ply')).toBe('scans/c.ply');
  });
});

import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { meshVolume } from '../../src/core/mesh.ts';
import { readScan } from '../../src/io/read.ts';
import { bytesSource } from '../../src/io/source.ts';
import { jobSchema, parseJob } from '../../src/job/job.ts';
import { boxesStl, voidgauge } from './run.ts';

let cwd: string;
beforeAll(() => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  mkdirSync(join(cwd, 'scans'));
  writeFileSync(join(cwd, 'scans', 'frame.stl'), boxesStl([0, 0, 0, 1.8, 0.7, 0.05], [0, 0, 0.8, 1.8, 0.7, 0.85]));
  writeFileSync(join(cwd, 'scans', 'airbox.stl'), boxesStl([0.5, 0.2, 0.3, 0.9, 0.5, 0.5]));
  writeFileSync(join(cwd, 'scans', 'cut.stl'), boxesStl([0, 0, 0, 1, 1, 1]).subarray(0, 300));
});
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

it('the scans of these tests are closed boxes, faces outwards', async () => {
  const { parts } = await readScan(bytesSource('box.stl', boxesStl([0, 0, 0, 2, 3, 4])));
  expect(meshVolume(parts[0].mesh!)).toBeCloseTo(24, 6);
});

describe('voidgauge', () => {
  it('shows its help without a command, and fails', async () => {
    const { code, stdout, stderr } = await voidgauge([], { cwd });
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toContain('Usage: voidgauge');
  });

  it('refuses a command that it does not have, and suggests one', async () => {
    const { code, stdout, stderr } = await voidgauge(['shema'], { cwd });
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toContain('Did you mean schema?');
  });

  it('prints its version, that of the package', async () => {
    const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as { version: string };
    expect(await voidgauge(['--version'], { cwd })).toMatchObject({ code: 0, stdout: `${version}\n`, stderr: '' });
  });

  it('completes its commands for the shell', async () => {
    expect((await voidgauge(['complete', '--', 'sch'], { cwd })).stdout).toContain('schema');
  });
});

describe('schema', () => {
  it('prints JSON alone, from source too', async () => {
    const { code, stdout, stderr } = await voidgauge(['schema'], { cwd, source: true });
    expect([code, stderr]).toEqual([0, '']);
    expect(JSON.parse(stdout)).toEqual(JSON.parse(JSON.stringify(jobSchema())));
  });
});

describe('new', () => {
  it('writes a job that parses, with guessed unit and roles', async () => {
    const { code, stdout, stderr } = await voidgauge(['new', 'scans/frame.stl', 'scans/airbox.stl', '-o', 'job.yaml'], { cwd });
    expect([code, stdout]).toEqual([0, '']);
    expect(stderr).toContain('job.yaml is written');
    const job = parseJob(readFileSync(join(cwd, 'job.yaml'), 'utf8'), 'job.yaml');
    expect([job.units, job.scans['frame'].file, job.scans['airbox'].role]).toEqual(['m', 'scans/frame.stl', 'removed']);
    expect(readdirSync(cwd).sort()).toEqual(['job.yaml', 'scans']);
  });

  it('does not write over a job unless told to', async () => {
    writeFileSync(join(cwd, 'mine.yaml'), 'mine');
    const { code, stderr } = await voidgauge(['new', 'scans/frame.stl', '-o', 'mine.yaml'], { cwd });
    expect(code).toBe(2);
    expect(stderr).toContain('mine.yaml: The file is already there');
    expect(readFileSync(join(cwd, 'mine.yaml'), 'utf8')).toBe('mine');
    expect((await voidgauge(['new', 'scans/frame.stl', '-o', 'mine.yaml', '--force'], { cwd })).code).toBe(0);
    expect(readFileSync(join(cwd, 'mine.yaml'), 'utf8')).toContain('voidgauge: 1');
    rmSync(join(cwd, 'mine.yaml'));
  });

  it('prints the job alone on stdout without -o', async () => {
    const { code, stdout, stderr } = await voidgauge(['new', 'scans/frame.stl'], { cwd });
    expect(code).toBe(0);
    expect(parseJob(stdout, 'j.yaml').scans['frame'].role).toBe('obstacle');
    expect(stderr).toBe('reading frame.stl\n');
  });

  it.each([
    ['no scan at all', ['new'], "missing required argument 'scan'"],
    ['a scan that is not there', ['new', 'scans/fram.stl'], `did you mean ${join('scans', 'frame.stl')}?`],
    ['a folder', ['new', 'scans'], 'This is a folder'],
    ['a cut scan', ['new', 'scans/cut.stl'], 'scans/cut.stl'],
    ['an option that it does not have', ['new', 'scans/frame.stl', '--ouput', 'x'], 'Did you mean --output?'],
  ])('refuses %s', async (_, args, text) => {
    const { code, stdout, stderr } = await voidgauge(args, { cwd });
    expect([code, stdout]).toEqual([2, '']);
    expect(stderr).toContain(text);
    expect(stderr).not.toMatch(/\n\s+at /);
  });

  it('says where it cannot write, before reading anything', async () => {
    const { code, stderr } = await voidgauge(['new', 'scans/frame.stl', '-o', 'no/job.yaml'], { cwd });
    expect([code, stderr.split('\n')[0]]).toEqual([1, 'no/job.yaml: The folder to write into is not there.']);
  });

  it('is quiet when its reader has seen enough', async () => {
    const { stderr } = await voidgauge(['new', 'scans/frame.stl'], { cwd, started: (child) => child.stdout?.destroy() });
    expect(stderr).toBe('reading frame.stl\n');
  });
});

describe('view', () => {
  it('refuses what is no folder of results', async () => {
    for (const [out, text] of [
      ['nothing', 'There is no such file'],
      ['scans', 'This folder holds no results'],
      ['scans/frame.stl', 'This is a file'],
    ]) {
      const { code, stderr } = await voidgauge(['view', out], { cwd });
      expect([code, stderr.includes(text)], stderr).toEqual([2, true]);
    }
  });

  it('serves the page and the results until it is stopped', async () => {
    const out = join(cwd, 'out');
    mkdirSync(out);
    writeFileSync(join(out, 'result.json'), '{"version":1}');
    const seen: Record<string, unknown> = {};
    const { code, stderr, stdout } = await voidgauge(['view', 'out', '--port', '0', '--no-open'], {
      cwd,
      started: (child) =>
        child.stdout?.once('data', async (text: string) => {
          const address = text.trim();
          seen['address'] = address;
          seen['page'] = (await fetch(address)).headers.get('content-type');
          seen['result'] = await (await fetch(`${address}data/result.json`)).json();
          child.kill('SIGINT');
        }),
    });
    expect(code, stderr).toBe(0);
    expect(stdout).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/\n$/);
    expect(seen).toMatchObject({ page: 'text/html;charset=utf-8', result: { version: 1 } });
    expect(existsSync(join(out, 'result.json'))).toBe(true);
  });
});

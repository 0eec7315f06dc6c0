import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { STAGES } from '../../cli/stages.ts';
import { meshVolume } from '../../src/core/mesh.ts';
import { readScan } from '../../src/io/read.ts';
import { bytesSource } from '../../src/io/source.ts';
import type { Result } from '../../src/report/result.ts';
import { boxesStl, type Ended, voidgauge } from './run.ts';

/** A room 200 x 150 x 100 mm over a floor that takes 5 mm clearance: a box of 200 x 150 x 95 is free. */
const ROOM = `voidgauge: 1
name: room
step: 4
scans: { floor: { file: floor.stl, clearance: 5 } }
region: { skin: false, box: { min: [0, 0, 0], max: [200, 150, 100] } }
least_radius: 10
tank: { wall: 4, ullage: 5 %, fluid: petrol }
`;

/** Volume, mm3, that a ball of radius r reaches in a box: the box less 2 r, dilated again (Steiner's formula). */
function rolled(size: readonly number[], r: number): number {
  const [a, b, c] = size.map((s) => s - 2 * r);
  return a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r ** 2 + (4 / 3) * Math.PI * r ** 3;
}

let cwd: string;
beforeAll(() => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  const floor = boxesStl([-400, -400, -50, 600, 600, 0]);
  writeFileSync(join(cwd, 'floor.stl'), floor);
  writeFileSync(join(cwd, 'far.stl'), boxesStl([9000, 0, 0, 9100, 100, 100]));
  const part = boxesStl([60, 40, 20, 140, 110, 80]);
  writeFileSync(join(cwd, 'part.stl'), part);
  writeFileSync(join(cwd, 'inside-out.stl'), flipped(part));
  writeFileSync(join(cwd, 'tiny.stl'), boxesStl([0, 0, 0, 2, 1, 0.8]));
  writeFileSync(join(cwd, 'huge.stl'), boxesStl([0, 0, 0, 2e6, 1e6, 8e5]));
  writeFileSync(join(cwd, 'nan.stl'), withNan(part));
  writeFileSync(join(cwd, 'job.yaml'), ROOM);
});
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

/** The same triangles the other way round. */
function flipped(stl: Uint8Array): Uint8Array {
  const out = stl.slice();
  for (let at = 84; at < stl.length; at += 50) {
    out.set(stl.subarray(at + 24, at + 36), at + 36);
    out.set(stl.subarray(at + 36, at + 48), at + 24);
  }
  return out;
}

function withNan(stl: Uint8Array): Uint8Array {
  const out = stl.slice();
  new DataView(out.buffer).setFloat32(84 + 12, Number.NaN, true);
  return out;
}

const job = (name: string, text: string): string => {
  writeFileSync(join(cwd, name), text);
  return name;
};
const measure = (args: readonly string[], started?: Parameters<typeof voidgauge>[1]['started']): Promise<Ended> =>
  voidgauge(['measure', ...args], { cwd, started });

describe('a room of known volume', () => {
  let ended: Ended;
  let result: Result;
  const stl: Uint8Array[] = [];
  beforeAll(async () => {
    ended = await measure(['job.yaml', '-o', 'out', '--workers', '1']);
    result = JSON.parse(readFileSync(join(cwd, 'out', 'result.json'), 'utf8')) as Result;
  });

  it('comes out within its own bounds, and those within 6 %', () => {
    expect(ended.code, ended.stderr).toBe(0);
    const truth = rolled([200, 150, 95], 10) / 1e6;
    const { value, low, high } = result.envelope.volume_l;
    expect(low).toBeLessThanOrEqual(truth);
    expect(high).toBeGreaterThanOrEqual(truth);
    expect((high - low) / value).toBeLessThan(0.06);
    expect(Math.abs(value / truth - 1)).toBeLessThan(0.005);
  });

  it('is printed as a table on stdout, progress and the rest on stderr', () => {
    expect(ended.stdout).toMatch(/^room\n/);
    expect(ended.stdout).toMatch(/Envelope +2\.\d+ +2\.\d+ +2\.\d+\n/);
    for (const line of ended.stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
    expect(ended.stderr).toContain('reading scans\n');
    expect(ended.stderr).toContain('Written to out');
    for (const control of ['\u001b', '\r']) expect(ended.stderr + ended.stdout).not.toContain(control);
  });

  it('leaves its files and nothing else', async () => {
    expect(readdirSync(join(cwd, 'out')).sort()).toEqual([
      'cavity.stl',
      'coarse.bin',
      'coarse.json',
      'dip.csv',
      'drawing.svg',
      'envelope.glb',
      'envelope.stl',
      'result.json',
      'scene.glb',
    ]);
    expect(readdirSync(cwd).filter((name) => name.includes('tmp'))).toEqual([]);
    const envelope = (await readScan(bytesSource('e.stl', readFileSync(join(cwd, 'out', 'envelope.stl'))))).parts[0].mesh!;
    expect(meshVolume(envelope) / 1e6).toBeCloseTo(result.envelope.volume_l.value, 2);
    const scene = await readScan(bytesSource('scene.glb', readFileSync(join(cwd, 'out', 'scene.glb'))));
    expect(scene.parts.map((p) => p.name).sort()).toEqual(['cavity', 'envelope', 'floor']);
    expect(scene.unit).toBe('m');
    const drawn = scene.parts.find((p) => p.name === 'envelope')!.mesh!;
    expect(meshVolume(drawn) * 1e3).toBeCloseTo(result.envelope.volume_l.value, 2);
  });

  it('names its inputs by their SHA-256, and the stages that the progress bar knows', () => {
    expect(result.inputs[0].sha256).toBe(
      createHash('sha256')
        .update(readFileSync(join(cwd, 'floor.stl')))
        .digest('hex'),
    );
    const known = STAGES.map(([name]) => name);
    // Some run beside each other, so their order may change.
    expect(known).toEqual(expect.arrayContaining(Object.keys(result.timings_s)));
    expect(Object.keys(result.timings_s).length).toBeGreaterThan(5);
  });

  it('is the same to the byte with two and three workers', async () => {
    for (const workers of ['1', '2', '3']) {
      expect((await measure(['job.yaml', '-o', `out${workers}`, '--workers', workers])).code).toBe(0);
      stl.push(readFileSync(join(cwd, `out${workers}`, 'envelope.stl')));
    }
    expect(Buffer.compare(stl[0], stl[1])).toBe(0);
    expect(Buffer.compare(stl[0], stl[2])).toBe(0);
  });

  it('is not measured over earlier results unless told to', async () => {
    mkdirSync(join(cwd, 'kept'));
    for (const name of ['result.json', 'cavity.stl', 'mine.txt']) writeFileSync(join(cwd, 'kept', name), 'old');
    const refused = await measure(['job.yaml', '-o', 'kept']);
    expect([refused.code, refused.stdout]).toEqual([2, '']);
    expect(refused.stderr).toContain('kept: The folder already holds results');
    expect(readFileSync(join(cwd, 'kept', 'result.json'), 'utf8')).toBe('old');
    const noTank = job('no-tank.yaml', ROOM.replace(/tank:.*/, 'tank: false'));
    expect((await measure([noTank, '-o', 'kept', '--force'])).code).toBe(0);
    // The cavity of the earlier run would not belong to the new result.
    expect(readdirSync(join(cwd, 'kept')).sort()).toEqual([
      'coarse.bin',
      'coarse.json',
      'drawing.svg',
      'envelope.glb',
      'envelope.stl',
      'mine.txt',
      'result.json',
      'scene.glb',
    ]);
  });
});

describe('--json', () => {
  it('prints the JSON alone on stdout', async () => {
    const { code, stdout, stderr } = await measure(['job.yaml', '--json', '--quick']);
    expect(code, stderr).toBe(0);
    const result = JSON.parse(stdout) as Result;
    expect(result.grid.step_mm).toBe(8);
    expect(stderr).toContain('Nothing was written to disk');
  });

  it('takes another step', async () => {
    expect((JSON.parse((await measure(['job.yaml', '--json', '--step', '0.5 cm'])).stdout) as Result).grid.step_mm).toBe(5);
  });

  it('prints nothing on stdout when there is a fault', async () => {
    const { code, stdout } = await measure([job('bad.yaml', `${ROOM}stepp: 3\n`), '--json']);
    expect([code, stdout]).toEqual([2, '']);
  });
});

describe('bad input', () => {
  const scans = (text: string): string => ROOM.replace(/scans:.*/, `scans: ${text}`);
  it.each<[string, string, number, RegExp[]]>([
    ['no scans', scans('{}'), 2, [/bad\.yaml:4:8: The job names no scans/]],
    [
      'a key that there is not',
      `${ROOM}least_radios: 3\n`,
      2,
      [/bad\.yaml:8:1: There is no key "least_radios"/, /did you mean "least_radius"\?/],
    ],
    ['a scan that is not there', scans('{ floor: flor.stl }'), 2, [/flor\.stl: There is no such file/, /did you mean floor\.stl\?/]],
    ['a scan with a coordinate that is no number', scans('{ floor: nan.stl }'), 2, [/nan\.stl/, /NaN|not a number/i]],
    ['a group that there is not', scans('{ floor: { file: floor.stl, groups: [engine] } }'), 2, [/engine/]],
    ['all scans outside the region', scans('{ floor: far.stl }'), 2, [/region/]],
    ['a start point inside an obstacle', ROOM.replace('region:', 'start: [100, 75, 2]\nregion:'), 2, [/floor/, /\d mm/]],
    ['nothing free at this radius', ROOM.replace('least_radius: 10', 'least_radius: 60'), 3, [/largest ball|radius/, /4[67](\.\d)? mm/]],
    ['nothing free at this clearance', scans('{ floor: { file: floor.stl, clearance: 120 } }'), 3, [/clearance/, /\d mm/]],
    ['a machine of 2 mm', scans('{ floor: tiny.stl }').replace(/region:.*/, 'region: { skin: 1 }'), 2, [/units?/i, /mm/]],
    ['a machine of 2 km', scans('{ floor: huge.stl }').replace(/region:.*/, ''), 2, [/units?/i, /km|m\b/]],
    ['memory over the budget', ROOM.replace('step: 4', 'step: 0.1\nmemory: 200 MB'), 2, [/memory/i, /step/]],
    [
      'a removed part that is inside out',
      scans('{ floor: floor.stl, part: { file: inside-out.stl, role: removed } }'),
      2,
      [/inside out|inwards/i, /part/],
    ],
  ])('%s', async (_, text, code, words) => {
    const ended = await measure([job('bad.yaml', text), '-o', 'never']);
    expect([ended.code, ended.stdout], ended.stderr).toEqual([code, '']);
    for (const word of words) expect(ended.stderr).toMatch(word);
    expect(ended.stderr).not.toMatch(/\n\s+at /);
    expect(readdirSync(cwd)).not.toContain('never');
  });

  it.each([
    ['no job', [], "missing required argument 'job'"],
    ['a job that is not there', ['jbo.yaml'], 'did you mean job.yaml?'],
    ['a scan for a job', ['floor.stl'], 'no text'],
    ['a step of nothing', ['job.yaml', '--step', '0'], 'A step is a length'],
    ['no workers', ['job.yaml', '--workers', '0'], 'from 1 to 256'],
    ['a folder that is a file', ['job.yaml', '-o', 'floor.stl'], 'There is a file of this name'],
  ])('%s', async (_, args, text) => {
    const ended = await measure(args);
    expect([ended.code, ended.stdout]).toEqual([2, '']);
    expect(ended.stderr).toContain(text);
  });

  it('a folder that cannot be made is told before any work, exit code 1', async () => {
    const ended = await measure(['job.yaml', '-o', 'no/such/out']);
    expect([ended.code, ended.stderr]).toEqual([
      1,
      'no/such/out: The folder to write into is not there.\n  try       make no/such first\n',
    ]);
  });
});

describe('Ctrl-C', () => {
  it.each([
    ['SIGINT', 130],
    ['SIGTERM', 143],
  ] as const)('%s ends a run at once, with nothing left of it', async (signal, code) => {
    const slow = job('slow.yaml', ROOM.replace('step: 4', 'step: 0.7'));
    const before = readdirSync(cwd).sort();
    const ended = await measure([slow, '-o', 'stopped'], (child) => {
      // Not at the start, but once the threads are at work.
      child.stderr?.on('data', (text: string) => {
        if (/region|clearances/.test(text)) child.kill(signal);
      });
    });
    expect([ended.code, ended.signal, ended.stdout], ended.stderr).toEqual([code, null, '']);
    expect(ended.stderr).toContain('stopped; nothing was written');
    expect(readdirSync(cwd).sort()).toEqual(before);
  });
});

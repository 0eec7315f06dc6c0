import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Result } from '../../src/report/result.ts';
import { boxesStl, voidgauge } from './run.ts';

/**
 * A room of 300 x 180 x 150 mm under a roof that leaves x < 160 open above. Straight up, with 2 mm kept while it slides, everything at x < 158
 * comes out and nothing else does.
 */
const UNDER_ROOF = `voidgauge: 1
name: under a roof
step: 5
scans: { roof: { file: roof.stl, clearance: 1 } }
region: { skin: false, box: { min: [0, 0, 0], max: [300, 180, 150] } }
least_radius: 10
tank: { wall: 4, ullage: 5 %, fluid: petrol }
ways_in: { use: [0, 0, 1], clearance: 2, directions: 20, bodies: 1 }
stowage:
  largest: false
  seconds: 1
  items:
    - { name: cube, size: [100, 100, 100], count: 2 }
    - { name: stick, size: [200, 50, 50] }
    - { name: slab, size: [400, 50, 50] }
`;

let cwd: string;
beforeAll(() => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  writeFileSync(join(cwd, 'roof.stl'), boxesStl([160, -10, 151, 320, 190, 165]));
  writeFileSync(join(cwd, 'job.yaml'), UNDER_ROOF);
});
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const read = (out: string): Result => JSON.parse(readFileSync(join(cwd, out, 'result.json'), 'utf8')) as Result;

/** Volume, mm3, that a ball of radius r reaches in a box: the box less 2 r, dilated again (Steiner's formula). */
function rolled(size: readonly number[], r: number): number {
  const [a, b, c] = size.map((s) => s - 2 * r);
  return a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r ** 2 + (4 / 3) * Math.PI * r ** 3;
}

describe('a body that goes one way in', () => {
  let result: Result;
  let table: string;
  beforeAll(async () => {
    const ended = await voidgauge(['measure', 'job.yaml', '-o', 'out', '--workers', '1'], { cwd });
    expect(ended.code, ended.stderr).toBe(0);
    table = ended.stdout;
    result = read('out');
  });

  it('is what the tank is made of, and is written out', () => {
    // Straight up the grid over all scans (10 mm) tells the roof's edge to half a cell: 5 of 158 mm.
    const truth = rolled([158, 180, 150], 10) / 1e6;
    const { outer_l: outer } = result.tank ?? { outer_l: { value: 0 } };
    expect(Math.abs(outer.value / truth - 1)).toBeLessThan(5 / 158);
    expect(result.envelope.volume_l.value).toBeGreaterThan(1.8 * truth);
    expect(result.ways_search?.used?.kept_percent).toBeCloseTo((100 * outer.value) / result.envelope.volume_l.value, 3);
    expect(result.notes.map((n) => n.code)).toContain('body-of-way');
    expect(readdirSync(join(cwd, 'out'))).toContain('body.stl');
  });

  it('takes only items that reach their places through its opening, and says which do not', () => {
    const { opening, items = [], blocks = [], notes } = result.stowage!;
    expect(opening).toMatchObject({ by: 'way', direction: [0, 0, 1], clearance_mm: 2, off: [] });
    expect(items.map((i) => [i.name, i.fits, i.stands, i.reached])).toEqual([
      ['cube', 1, true, true],
      ['stick', 0, true, false],
      ['slab', 0, false, false],
    ]);
    for (const p of [...items.flatMap((i) => i.places), ...blocks]) expect(p.at_mm[0] + p.size_mm[0]).toBeLessThan(162);
    // 200 mm long, they go in no way round.
    expect(blocks).toEqual([]);
    expect(notes.filter((n) => n.code === 'stow-unreached').map((n) => n.where)).toEqual(['stick']);
    expect(items[0].places.map((p) => p.turn)).toEqual([1]);
    expect(table).toMatch(/put in by the way up, 2 mm kept while it slides: 4\.\d+ of 8\.\d+ l are\n? *reached/);
    expect(table).toMatch(/stick +0 of 1 \(room for it, but out of reach\)/);
    expect(table).toMatch(/slab +0 of 1 \(too large for the room\)/);
  });

  it('with the roof off takes all that the room holds', async () => {
    const job = UNDER_ROOF.replace('clearance: 1 }', 'clearance: 1, comes_off: true }').replace('use: [0, 0, 1]', 'use: best');
    writeFileSync(join(cwd, 'off.yaml'), job);
    const ended = await voidgauge(['measure', 'off.yaml', '--json', '--workers', '1'], { cwd });
    expect(ended.code, ended.stderr).toBe(0);
    const { stowage } = JSON.parse(ended.stdout) as Result;
    expect(stowage?.items?.map((i) => i.fits)).toEqual([2, 1, 0]);
    expect(stowage?.opening).toMatchObject({ by: 'way', off: ['roof'] });
    expect(stowage?.blocks_l).toBeGreaterThanOrEqual(4);
  });

  it('an opening that the job names goes before the way; without either the result says that it was not looked at', async () => {
    const named = UNDER_ROOF.replace('use: [0, 0, 1], ', '').replace(
      '  seconds: 1',
      '  seconds: 1\n  blocks: false\n  opening: [80, 90, 140]',
    );
    const bare = named.replace(/ways_in.*\n/, '').replace(/ {2}opening.*\n/, '');
    for (const [name, text] of Object.entries({ named, bare })) {
      writeFileSync(join(cwd, `${name}.yaml`), text);
      const ended = await voidgauge(['measure', `${name}.yaml`, '--json', '--workers', '1'], { cwd });
      expect(ended.code, ended.stderr).toBe(0);
      const { stowage } = JSON.parse(ended.stdout) as Result;
      expect(stowage?.opening).toEqual(name === 'named' ? { by: 'point', at_mm: [80, 90, 140] } : { by: 'not asked' });
      // Straight moves inside the room go under the roof too.
      expect(stowage?.items?.map((i) => i.fits)).toEqual([2, 1, 0]);
      expect(stowage?.notes.some((n) => n.code === 'stow-opening')).toBe(name === 'bare');
    }
  });
});

describe('Ctrl-C while stowage is searched for', () => {
  /** Five cubes are too many for the room, so the search goes on until it is told to end. */
  const LONG = UNDER_ROOF.replace(/ways_in.*\n/, '')
    .replace('seconds: 1', 'seconds: 3000\n  blocks: false')
    .replace('count: 2', 'count: 5');
  const interrupted = (out: string, times: number) =>
    voidgauge(['measure', 'long.yaml', '-o', out], {
      cwd,
      started: (child) => {
        let left = times;
        child.stderr?.on('data', (text: string) => {
          // Once when the search is at work, again when the first has been heard.
          const heard = /Ctrl-C now ends the search|The search ends with its best so far/.test(text);
          if (heard && left-- > 0) child.kill('SIGINT');
        });
      },
    });

  it('once: the best so far is written, and said to be that', async () => {
    writeFileSync(join(cwd, 'long.yaml'), LONG);
    const ended = await interrupted('best', 1);
    expect([ended.code, ended.signal], ended.stderr).toEqual([0, null]);
    expect(ended.stderr).toContain('The search ends with its best so far');
    const { stowage, tank } = read('best');
    expect(stowage?.items?.[0].fits).toBeGreaterThan(0);
    expect(stowage?.items?.[0].fits).toBeLessThan(5);
    expect(stowage?.notes.map((n) => n.code)).toContain('stow-stopped');
    expect(tank?.rated_l.value).toBeGreaterThan(1);
    expect(ended.stdout).toContain('ended by hand');
  });

  it('twice: the run ends, nothing is written', async () => {
    // Small cells: after the search there is still a second's work, in which the second one comes.
    writeFileSync(join(cwd, 'long.yaml'), LONG.replace('step: 5', 'step: 2').replace(/tank.*/, 'tank: false'));
    const ended = await interrupted('none', 2);
    expect(ended.code, ended.stderr).toBe(130);
    expect(ended.stderr).toContain('stopped; nothing was written');
    expect(existsSync(join(cwd, 'none'))).toBe(false);
  });
});

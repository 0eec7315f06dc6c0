import { appendFileSync, existsSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { boxesStl, voidgauge } from './run.ts';

/**
 * A room of 200 x 160 x 120 mm between slabs, clearance 5, open at the top (+z) behind a rim that leaves an opening of 120 x 160: what goes in from
 * above is as wide as the rim leaves, 2 mm kept to either side while it goes in.
 */
const JOB = `voidgauge: 1
name: room
step: 5
scans:
  floor: { file: floor.stl, clearance: 5 }
  walls: { file: walls.stl, clearance: 5 }
  rim: { file: rim.stl, clearance: 5 }
region: { skin: false, box: { min: [0, 0, 0], max: [200, 160, 115] } }
start: [100, 80, 60]
least_radius: 10
tank: false
ways_in: { clearance: 2, directions: 6 }
make: { of: body, faces: 600, formats: [stl], mould: { pull: z, machine: [300, 300, 200], stock: 0, prices: { currency: EUR, foam_sheet: 10 } } }
`;
const BOXES: Readonly<Record<string, Uint8Array>> = {
  'floor.stl': boxesStl([-20, -20, -20, 220, 180, 0]),
  'walls.stl': boxesStl([-20, -20, 0, 0, 180, 120], [200, -20, 0, 220, 180, 120], [0, -20, 0, 200, 0, 120], [0, 160, 0, 200, 180, 120]),
  'rim.stl': boxesStl([-20, -20, 120, 40, 180, 140], [160, -20, 120, 220, 180, 140]),
};

let cwd: string;
const run = (...args: string[]) => voidgauge([...args, '--workers', '1'], { cwd });
const read = (...path: string[]) => JSON.parse(readFileSync(join(cwd, ...path), 'utf8'));
beforeAll(async () => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  for (const [name, bytes] of Object.entries(BOXES)) writeFileSync(join(cwd, name), bytes);
  writeFileSync(join(cwd, 'room.yaml'), JOB);
  const { code, stderr } = await run('measure', 'room.yaml', '-o', 'out');
  expect([code, stderr]).toEqual([0, expect.stringContaining('Written to out')]);
}, 120_000);
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

describe('make from a folder of results', () => {
  it('makes what the job says into workshop, at the step of the results: the body that goes in from above', async () => {
    const { code, stdout, stderr } = await run('make', 'out');
    expect([code, stderr]).toEqual([0, expect.stringContaining('Written to out/workshop')]);
    expect(readdirSync(join(cwd, 'out', 'workshop')).sort()).toEqual([
      'foam-layers.csv',
      'manifest.json',
      'seed.certificate.json',
      'seed.stl',
    ]);
    const { seeds, mould, step_mm: step, notes } = read('out', 'workshop', 'manifest.json');
    expect(step).toBe(5);
    // 116 x 150 x 110 mm, edges of 10 mm (Steiner); 5 mm cells and 600 faces take 4 % at most.
    const [a, b, c, r] = [96, 130, 90, 10];
    const whole = a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3;
    expect(seeds[0]).toMatchObject({ of: 'body', pass: true });
    expect((seeds[0].volume_l * 1e6) / whole).toBeGreaterThan(0.96);
    expect((seeds[0].volume_l * 1e6) / whole).toBeLessThan(1.005);
    expect(notes.map((n: { code: string }) => n.code)).toContain('make-body');
    // Walls stand upright but for what cells of 5 mm leave of them.
    expect(mould.pull.two_part_percent).toBeLessThan(4);
    expect(mould.pull_block.fits).toBe(true);
    expect(mould.foam.layers.length).toBe(3);
    expect(mould.costs).toEqual([{ what: 'sheets of foam', count: 1, price: 10, sum: 10 }]);
    expect(stdout).toMatch(/least block, stock included/);
    expect(stdout).toMatch(/10\.00 EUR/);
    for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
  });

  it('flags make only what they name; STEP has a flag of its own', async () => {
    const { code, stdout } = await run('make', 'out', '--step-file', '--sections', '--print', '-o', 'picked', '--json');
    expect(code).toBe(0);
    const manifest = JSON.parse(stdout);
    expect(manifest.files.map((f: { file: string }) => f.file).sort()).toEqual([
      'sections-in-place.dxf',
      'sections.dxf',
      'sections.svg',
      'seed.certificate.json',
      'seed.step',
      'stand-in.3mf',
      'stations.csv',
    ]);
    expect(manifest.print.parts.length).toBe(1);
  });

  it('says which scans are not those that were measured, and that the job file has been edited', async () => {
    appendFileSync(join(cwd, 'room.yaml'), 'accuracy: 0.5\n');
    const edited = await run('make', 'out', '--mould', '-o', 'edited');
    expect([edited.code, edited.stderr]).toEqual([0, expect.stringContaining('The job file has changed')]);
    writeFileSync(join(cwd, 'rim.stl'), boxesStl([-20, -20, 120, 30, 180, 140]));
    renameSync(join(cwd, 'floor.stl'), join(cwd, 'ground.stl'));
    const { code, stderr } = await run('make', 'out', '-o', 'again');
    expect(code).toBe(2);
    expect(stderr).toContain('rim (rim.stl) is another file now');
    expect(stderr).toContain('floor (floor.stl) is no longer there');
    expect(stderr).not.toContain('walls (');
    expect(existsSync(join(cwd, 'again'))).toBe(false);
  });

  it('refuses a folder without results, results of another kind, and a job without a place to write to', async () => {
    writeFileSync(join(cwd, 'out', 'result.json'), '{ "version": 99 }');
    expect((await run('make', 'out', '-o', 'x')).stderr).toContain('version 99');
    writeFileSync(join(cwd, 'out', 'result.json'), '{');
    expect((await run('make', 'out', '-o', 'x')).stderr).toContain('no JSON');
    expect((await run('make', '.', '-o', 'x')).stderr).toContain('holds no results');
    const bare = await run('make', 'room.yaml');
    expect([bare.code, bare.stderr]).toEqual([2, expect.stringContaining('-o FOLDER')]);
  });
});

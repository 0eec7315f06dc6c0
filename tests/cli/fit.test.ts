import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Vec3 } from '../../src/core/vec.ts';
import { rotationOf } from '../../src/fit/pose.ts';
import { boxesStl, type Ended, voidgauge } from './run.ts';

/** Walls 100 mm apart; a body of 90 mm, 3 mm off the middle. */
const JOB = `voidgauge: 1
name: slot
step: 4
scans: { walls: { file: walls.stl, clearance: 4 } }
region: { skin: false, box: { min: [-100, -60, -60], max: [100, 60, 60] } }
ways_in: { clearance: 0.5, directions: 26 }
`;

const rad = (degrees: number): number => (degrees * Math.PI) / 180;

let cwd: string;
beforeAll(() => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  writeFileSync(join(cwd, 'walls.stl'), boxesStl([-200, -200, -100, 200, -50, 100], [-200, 50, -100, 200, 200, 100]));
  writeFileSync(join(cwd, 'body.stl'), boxesStl([-60, -42, -40, 60, 48, 40]));
  writeFileSync(join(cwd, 'good.stl'), boxesStl([-60, -45, -40, 60, 45, 40]));
  writeFileSync(join(cwd, 'open.stl'), boxesStl([-60, -45, -40, 60, 45, 40]).subarray(0, 84));
  writeFileSync(join(cwd, 'job.yaml'), JOB);
  writeFileSync(join(cwd, 'sister.yaml'), JOB.replace('slot', 'sister').replace('clearance: 4', 'clearance: 6'));
});
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const run = (...args: string[]): Promise<Ended> => voidgauge([...args, '--workers', '1'], { cwd });

describe('voidgauge fit', () => {
  it('says what is too near, where it would sit better, and how it goes in; exit code 3', async () => {
    const ended = await run('fit', 'job.yaml', 'body.stl', '--against', 'sister.yaml');
    expect(ended.code, ended.stderr).toBe(3);
    expect(ended.stdout).toMatch(/walls\s+\d\.\d\d\s+4\s+-2\.0\d/);
    expect(ended.stdout).toMatch(/Shifted by \[-?0\.00, -3\.0\d, -?0\.00\] mm/);
    expect(ended.stdout).toContain('found');
    // The table of the sisters: 2 mm and 4 mm too near as placed, 1 mm to spare and 1 mm too near in the middle.
    expect(ended.stdout).toMatch(/slot\s+-2\.0\d\s+(1\.00|0\.99)\s+yes/);
    expect(ended.stdout).toMatch(/sister\s+-4\.0\d\s+-1\.0\d\s+yes/);
    expect(Math.max(...ended.stdout.split('\n').map((l) => l.length))).toBeLessThanOrEqual(80);
  });

  it('a body in the middle fits: exit code 0, and JSON alone on stdout', async () => {
    const ended = await run('fit', 'job.yaml', 'good.stl', '--json');
    expect(ended.code, ended.stderr).toBe(0);
    const { vehicles, cautions } = JSON.parse(ended.stdout);
    expect(vehicles[0].as_placed.pass).toBe(true);
    expect(vehicles[0].as_placed.least_slack_mm).toBeCloseTo(1, 3);
    expect(vehicles[0].moved).toBeNull();
    expect(vehicles[0].way.works).toBe(true);
    expect(cautions.length).toBeGreaterThan(0);
  });

  it('a body that no straight way leads out: turns are tried when the job asks, and none found is not called impossible', async () => {
    writeFileSync(
      join(cwd, 'corner.stl'),
      boxesStl(
        [-120, -60, 15, 180, 230, 45],
        [-120, -60, -45, 180, 230, -15],
        [-120, -60, -15, 180, -30, 15],
        [-120, -30, -15, -90, 30, 15],
        [150, -30, -15, 180, 230, 15],
        [-120, 30, -15, 90, 230, 15],
      ),
    );
    // Longer than the corner lets round at any tilt, sqrt(8 * 60^2 + 30^2) = 172 mm: what is said must not depend on the machine's speed.
    writeFileSync(join(cwd, 'bar.stl'), boxesStl([-80, -5, -5, 140, 5, 5]));
    const job = JOB.replace('walls.stl', 'corner.stl');
    writeFileSync(join(cwd, 'straight.yaml'), job);
    writeFileSync(join(cwd, 'turning.yaml'), `${job}fit: { turn_in: 1 }\n`);
    expect((await run('fit', 'straight.yaml', 'bar.stl')).stdout).toContain('Only straight ways were tried');
    const turning = await run('fit', 'turning.yaml', 'bar.stl');
    expect(turning.code, turning.stderr).toBe(0);
    expect(turning.stdout.replace(/\s+/g, ' ')).toMatch(
      /No way with turns was found in 1 s \(\d+ moves? tried\), which does not mean that there is none\./,
    );
    expect(Math.max(...turning.stdout.split('\n').map((l) => l.length))).toBeLessThanOrEqual(80);
  });

  it('a bar longer than the opening of its pocket comes out by turning: the path as a table, held against a slow look', async () => {
    // 140 x 50 x 80 mm inside, closed all round but for 100 mm of the top; the bar is 110 long.
    const walls = [
      [-90, -40, -60, 90, 40, -40],
      [-90, -40, -60, -70, 40, 50],
      [70, -40, -60, 90, 40, 50],
      [-90, -40, -60, 90, -25, 50],
      [-90, 25, -60, 90, 40, 50],
      [-90, -40, 40, -50, 40, 50],
      [50, -40, 40, 90, 40, 50],
    ] as const;
    writeFileSync(join(cwd, 'pocket.stl'), boxesStl(...walls));
    writeFileSync(join(cwd, 'short.stl'), boxesStl([-55, -5, -5, 55, 5, 5]));
    writeFileSync(join(cwd, 'short.yaml'), `${JOB.replace('walls.stl', 'pocket.stl')}fit: { turn_in: 600 }\n`);
    // Beside the results of a measure run, which stay; but not over an earlier fit.
    mkdirSync(join(cwd, 'out'));
    writeFileSync(join(cwd, 'out', 'result.json'), '{}');
    const ended = await run('fit', 'short.yaml', 'short.stl', '--output', 'out');
    expect(ended.stderr).toContain('Written to out');
    expect(readdirSync(join(cwd, 'out')).sort()).toEqual(['fit-body.glb', 'fit.json', 'path.csv', 'result.json']);
    expect((await run('fit', 'short.yaml', 'short.stl', '--output', 'out')).code).toBe(2);
    const { turned } = JSON.parse(readFileSync(join(cwd, 'out', 'fit.json'), 'utf8')).vehicles[0].way;
    expect(turned.works).toBe(true);
    expect(turned.at_least_mm).toBeGreaterThanOrEqual(0);
    expect(turned.obstacle).toBe('walls');
    const rows = readFileSync(join(cwd, 'out', 'path.csv'), 'utf8')
      .trim()
      .split('\n')
      .slice(1);
    expect(rows.length).toBe(turned.path.length);
    const poses = rows.map((r) => r.split(',').slice(1).map(Number));
    expect(poses[0]).toEqual([0, 0, 0, 0, 0, 0]);
    expect(poses.some((p) => Math.hypot(p[3], p[4], p[5]) > 5)).toBe(true);
    // Points of the bar's edges at every pose of the table, by the closed-form distance to each wall.
    let least = Infinity;
    for (const p of poses) {
      const turn: Vec3 = [rad(p[3]), rad(p[4]), rad(p[5])];
      const m = rotationOf(turn);
      for (let x = -55; x <= 55; x += 2)
        for (const [y, z] of [
          [-5, -5],
          [-5, 5],
          [5, -5],
          [5, 5],
        ]) {
          const q = m.map((r, a) => r[0] * x + r[1] * y + r[2] * z + p[a]);
          for (const w of walls) least = Math.min(least, Math.hypot(...q.map((v, a) => Math.max(0, w[a] - v, v - w[a + 3]))));
        }
    }
    expect(least).toBeGreaterThan(0.5 + turned.at_least_mm - 0.01);
    // At the last it has left the box of the walls.
    expect(
      poses
        .at(-1)!
        .slice(0, 3)
        .some((v, a) => v < [-90, -40, -60][a] - 55 || v > [90, 40, 50][a] + 55),
    ).toBe(true);
  });

  it('bad input: no such body, an empty one, a sister job that is not there', async () => {
    const missing = await run('fit', 'job.yaml', 'bdy.stl');
    expect([missing.code, missing.stderr]).toEqual([2, expect.stringContaining('body.stl')]);
    expect((await run('fit', 'job.yaml', 'open.stl')).code).toBe(2);
    // The same body in metres would clear everything.
    writeFileSync(join(cwd, 'metres.stl'), boxesStl([-0.06, -0.045, -0.04, 0.06, 0.045, 0.04]));
    const metres = await run('fit', 'job.yaml', 'metres.stl');
    expect([metres.code, metres.stderr]).toEqual([2, expect.stringMatching(/0\.12 mm long[\s\S]*look like m/)]);
    expect((await run('fit', 'job.yaml', 'body.stl', '--against', 'none.yaml')).code).toBe(2);
  });
});

describe('vehicles whose scans stand anywhere, in a common datum', () => {
  /** About the rear axle's middle: 30 degrees about z, then shifted; the sister's walls have not been moved apart or together, but its left one is 1.5 mm nearer. */
  const at = ([x, y, z]: readonly number[]): number[] => [
    Math.cos(Math.PI / 6) * x - Math.sin(Math.PI / 6) * y + 812.5,
    Math.sin(Math.PI / 6) * x + Math.cos(Math.PI / 6) * y - 377.25,
    z + 66.5,
  ];
  const axles = (move: (p: readonly number[]) => readonly number[]): string => {
    const ends = (x: number): string => `{ left: [${move([x, 200, 0])}], right: [${move([x, -200, 0])}] }`;
    return `datum: { axles: { front: ${ends(500)}, rear: ${ends(0)} } }\n`;
  };
  beforeAll(() => {
    const stl = boxesStl([-200, -200, -100, 200, -50, 100], [-200, 48.5, -100, 200, 200, 100]);
    const view = new DataView(stl.buffer);
    for (let o = 84; o < stl.length; o += 50)
      for (let c = 12; c < 48; c += 12) {
        const p = at([0, 4, 8].map((b) => view.getFloat32(o + c + b, true)));
        p.forEach((v, a) => {
          view.setFloat32(o + c + 4 * a, v, true);
        });
      }
    writeFileSync(join(cwd, 'moved.stl'), stl);
    writeFileSync(join(cwd, 'first.yaml'), JOB + axles((p) => p));
    writeFileSync(join(cwd, 'second.yaml'), JOB.replace('slot', 'second').replace('walls.stl', 'moved.stl') + axles(at));
  });

  it('the table of least slack tells the walls by what they are apart, not by where they were scanned', async () => {
    const ended = await run('fit', 'first.yaml', 'good.stl', '--against', 'second.yaml');
    expect(ended.code, ended.stderr).toBe(3);
    // 5 mm each side less 4 asked; the nearer wall leaves 3.5, and in the middle of it all 4.25.
    expect(ended.stdout).toMatch(/slot\s+(1\.00|0\.99)\s+-\s+yes/);
    expect(ended.stdout).toMatch(/second\s+-0\.5\d\s+0\.2\d\s+yes/);
  });

  it('common room: that between the nearer walls, which the second costs', async () => {
    const ended = await run('common', 'first.yaml', 'second.yaml', '--json');
    expect(ended.code, ended.stderr).toBe(0);
    const { common, vehicles } = JSON.parse(ended.stdout);
    expect(vehicles.map((v: { job: string }) => v.job)).toEqual(['slot', 'second']);
    // 90.5 and 92 mm wide, 200 long, 120 high, in whose edges a ball of 8 mm rolls (Steiner).
    const litres = (wide: number): number => {
      const [a, b, c] = [184, wide - 16, 104];
      return (a * b * c + 16 * (a * b + b * c + c * a) + Math.PI * 64 * (a + b + c) + (4 / 3) * Math.PI * 512) / 1e6;
    };
    expect(Math.abs(common.volume_l.value / litres(90.5) - 1)).toBeLessThan(0.005);
    expect(vehicles[0].costs_l).toBeLessThan(0.002);
    expect(Math.abs(vehicles[1].costs_l - (litres(92) - litres(90.5)))).toBeLessThan(0.006);
  });
});

describe('voidgauge common', () => {
  it('prints what is shared and what each costs, and writes it on request', async () => {
    const ended = await run('common', 'job.yaml', 'sister.yaml', '-o', 'shared');
    expect(ended.code, ended.stderr).toBe(0);
    expect(ended.stdout).toMatch(/Common envelope\s+[\d.]+\s+[\d.]+\s+[\d.]+/);
    expect(ended.stdout).toMatch(/ {2}slot\s+[\d.]+\s+0\.0/);
    const saved = JSON.parse(readFileSync(join(cwd, 'shared', 'common.json'), 'utf8'));
    // The sister's 6 mm rule: 200 x 88 x 120 mm, less what a ball of 8 mm leaves in its edges (Steiner).
    const [a, b, c] = [184, 72, 104];
    const litres = (a * b * c + 16 * (a * b + b * c + c * a) + Math.PI * 64 * (a + b + c) + (4 / 3) * Math.PI * 512) / 1e6;
    expect(Math.abs(saved.common.volume_l.value / litres - 1)).toBeLessThan(0.005);
    expect(readFileSync(join(cwd, 'shared', 'common.stl')).length).toBeGreaterThan(1000);
    expect((await run('common', 'job.yaml', 'sister.yaml', '-o', 'shared')).code).toBe(2);
  });

  it('one job alone is refused', async () => {
    const ended = await run('common', 'job.yaml');
    expect([ended.code, ended.stderr]).toEqual([2, expect.stringContaining('Two jobs or more')]);
  });
});

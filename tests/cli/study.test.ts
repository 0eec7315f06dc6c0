import { existsSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { listOf } from '../../cli/commands/study.ts';
import type { StudyRow } from '../../src/fill/study.ts';
import { lineChart } from '../../src/report/chart.ts';
import { boxesStl, voidgauge } from './run.ts';

/** A closed room of 240 x 180 x 120 mm: envelope and cavity are boxes opened by a ball, known in closed form. */
const INNER = [240, 180, 120] as const;
const slabs = [0, 1, 2].flatMap((a) =>
  [0, 1].map((side) => {
    const lo = INNER.map((_, b) => (b === a && side ? INNER[b] : -20));
    const hi = INNER.map((v, b) => (b === a && !side ? 0 : v + 20));
    return [...lo, ...hi];
  }),
);
const JOB = (name: string): string => `voidgauge: 1
name: ${name}
step: 4
scans:
  walls: { file: walls.stl, clearance: 5 }
region: { skin: false, box: { min: [-5, -5, -5], max: [245, 185, 125] } }
start: [120, 90, 60]
least_radius: 10
tank: { wall: 4, ullage: 5 %, fluid: water }
`;

/** Volume, l, of a box opened by a ball of radius r (Steiner). */
function opened(edges: readonly number[], r: number): number {
  const [a, b, c] = edges.map((e) => e - 2 * r);
  return (a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3) / 1e6;
}

let cwd: string;
beforeAll(() => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  writeFileSync(join(cwd, 'walls.stl'), boxesStl(...slabs));
  for (const name of ['one', 'two']) writeFileSync(join(cwd, `${name}.yaml`), JOB(name));
});
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

describe('study of one job', () => {
  it('every combination holds the closed form within its bounds', async () => {
    const args = ['study', 'one.yaml', '--more-clearance', '0:6:3', '--least-radius', '10,16', '--wall', '3,6', '-o', 'table', '--json'];
    const { code, stdout, stderr } = await voidgauge(args, { cwd });
    expect([code, stderr.includes('Written to table.')]).toEqual([0, true]);
    const { rows } = JSON.parse(stdout) as { rows: StudyRow[] };
    expect(rows.length).toBe(12);
    for (const r of rows) {
      const sides = INNER.map((v) => v - 2 * (5 + r.more_clearance_mm));
      const outside = opened(sides, r.least_radius_mm);
      // The cavity of a rounded box is the box shrunk by the wall, its edges rounded by what is left of the radius.
      const inside = opened(
        sides.map((v) => v - 2 * r.wall_mm!),
        r.least_radius_mm - r.wall_mm!,
      );
      expect(Math.abs(r.envelope_l!.value / outside - 1)).toBeLessThan(2e-3);
      expect(Math.abs(r.rated_l!.value / (0.95 * inside) - 1)).toBeLessThan(4e-3);
      expect(r.rated_l!.low).toBeLessThan(0.95 * inside);
      expect(r.rated_l!.high).toBeGreaterThan(0.95 * inside);
    }
    const csv = readFileSync(join(cwd, 'table', 'study.csv'), 'utf8')
      .trim()
      .split('\n');
    const table = csv.filter((line) => !line.startsWith('# '));
    expect(table.length).toBe(13);
    expect(csv.length).toBeGreaterThan(13);
    expect(table[1].split(',').length).toBe(table[0].split(',').length);
    expect(readFileSync(join(cwd, 'table', 'study.svg'), 'utf8')).toContain('not a certified capacity');
    expect(readFileSync(join(cwd, 'table', 'study.svg'), 'utf8').match(/<path d="M\d+\.\d/g)?.length).toBe(4);
  }, 120_000);

  it('a clearance that leaves nothing is a row of its own, not a failure', async () => {
    const { code, stdout } = await voidgauge(['study', 'one.yaml', '--more-clearance', '0,50'], { cwd });
    expect(code).toBe(0);
    expect(stdout).toMatch(/^\s+50\s+10\s+4\s+none\s+none\s+none$/m);
  }, 60_000);

  it('clearances may be given by what the least of them becomes', async () => {
    const ask = async (...how: string[]) => {
      const { code, stdout, stderr } = await voidgauge(['study', 'one.yaml', ...how, '--json'], { cwd });
      expect(code, stderr).toBe(0);
      return (JSON.parse(stdout) as { rows: StudyRow[] }).rows;
    };
    // The job asks for 5 mm.
    expect(await ask('--clearance', '8,11')).toEqual(await ask('--more-clearance', '3,6'));
    expect((await voidgauge(['study', 'one.yaml', '--clearance', '8', '--more-clearance', '3'], { cwd })).code).toBe(2);
  }, 60_000);

  it('lists are refused with the form that is expected', async () => {
    for (const bad of ['1:2', 'a', '', '1,,2', '9:1:1', '0:1000:0.1']) expect(() => listOf(0)(bad), bad).toThrow(/from:to:step/);
    expect(listOf(0)('2:3:0.5')).toEqual([2, 2.5, 3]);
    expect((await voidgauge(['study', 'one.yaml', '--wall', '0'], { cwd })).code).toBe(2);
  });
});

describe('study of many jobs', () => {
  it('a folder of results each; what is there stays, so that a run that was cut off goes on', async () => {
    const first = await voidgauge(['study', 'one.yaml', '-o', 'many'], { cwd });
    expect(first.code).toBe(0);
    const both = await voidgauge(['study', 'one.yaml', 'two.yaml', '-o', 'runs'], { cwd });
    expect(both.code).toBe(0);
    for (const name of ['one', 'two']) expect(existsSync(join(cwd, 'runs', name, 'result.json'))).toBe(true);
    rmSync(join(cwd, 'runs', 'two'), { recursive: true });
    const before = statSync(join(cwd, 'runs', 'one', 'result.json')).mtimeMs;
    const again = await voidgauge(['study', 'one.yaml', 'two.yaml', '-o', 'runs'], { cwd });
    expect(again.stdout).toMatch(/one: already there/);
    expect(again.stdout).toMatch(/two: envelope 4\.\d+ l, rated \d/);
    expect(statSync(join(cwd, 'runs', 'one', 'result.json')).mtimeMs).toBe(before);
  }, 120_000);

  it('needs a folder, and jobs of different names', async () => {
    expect((await voidgauge(['study', 'one.yaml', 'two.yaml'], { cwd })).code).toBe(2);
    expect((await voidgauge(['study', 'one.yaml', './one.yaml', '-o', 'x'], { cwd })).stderr).toContain('one folder');
  });
});

describe('chart', () => {
  it('stands on its axes: ends at round figures, gaps where there is nothing, names escaped', () => {
    const points = [
      { x: 0, y: 10 },
      { x: 2, y: null },
      { x: 4, y: 20 },
    ];
    const svg = lineChart([{ name: 'a < b', points }], { title: 't', x: 'x', y: 'y' });
    expect(svg).toContain('a &#60; b');
    // The plot is 64..570 across and 44..388 down: first point at the low left corner, last at the high right one, no line between.
    expect(svg).toContain('d="M64.0 388.0M570.0 44.0"');
  });
});

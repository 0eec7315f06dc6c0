import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { auditDxf } from '../make/audit-dxf.ts';
import { boxesStl, voidgauge } from './run.ts';

/** A room of 200 x 160 x 120 mm between six slabs of 20 mm, clearance 5: the free body is a box of 190 x 150 x 110 mm with edges of 10 mm. */
const INNER = [200, 160, 120] as const;
const slabs = [0, 1, 2].flatMap((a) =>
  [0, 1].map((side) => [
    ...INNER.map((_, b) => (b === a && side ? INNER[b] : -20)),
    ...INNER.map((v, b) => (b === a && !side ? 0 : v + 20)),
  ]),
);

const JOB = `voidgauge: 1
name: room
step: 3
scans:
  walls: { file: walls.stl, clearance: 5 }
region: { skin: false, box: { min: [-5, -5, -5], max: [205, 165, 125] } }
start: [100, 80, 60]
least_radius: 10
tank: { wall: 4 }
make:
  faces: 1000
  formats: [stl]
  sections: { axis: z, at: [30, 60], round: 40 }
  drawing: { paper: A4 }
  ribs: { spacing: 50, sheet: [400, 300], hand_hole: false, along: z }
`;

let cwd: string;
let made: Awaited<ReturnType<typeof voidgauge>>;
beforeAll(async () => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  writeFileSync(join(cwd, 'walls.stl'), boxesStl(...slabs));
  writeFileSync(join(cwd, 'room.yaml'), JOB);
  made = await voidgauge(['make', 'room.yaml', '-o', 'out'], { cwd });
}, 120_000);
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const file = (name: string): string => readFileSync(join(cwd, 'out', name), 'utf8');

describe('make: sections, drawing, ribs', () => {
  it('the table of stations has the closed forms of body, cavity and clearance line', () => {
    expect([made.code, made.stderr]).toEqual([0, expect.stringContaining('Written to out.')]);
    const [head, ...rows] = file('stations.csv')
      .trim()
      .split('\n')
      .map((l) => l.split(','));
    expect(rows.map((r) => Number(r[0]))).toEqual([30, 60]);
    const of = (row: number, name: string): number => Number(rows[row][head.indexOf(name)]);
    for (const row of [0, 1]) {
      const body = 190 * 150 - (4 - Math.PI) * 100;
      expect(Math.abs(of(row, 'body_area_mm2') / body - 1)).toBeLessThan(0.002);
      expect(Math.abs(of(row, 'body_perimeter_mm') / (2 * (190 + 150) - (8 - 2 * Math.PI) * 10) - 1)).toBeLessThan(0.002);
      expect(Math.abs(of(row, 'cavity_area_mm2') / (182 * 142 - (4 - Math.PI) * 36) - 1)).toBeLessThan(0.002);
      expect(Math.abs(of(row, 'clearance_area_mm2') / (190 * 150) - 1)).toBeLessThan(0.002);
    }
  });

  it('the walls are drawn where they are: their inside measures 200 x 160', () => {
    const audit = auditDxf(file('sections.dxf'));
    expect(audit.errors).toEqual([]);
    expect(audit.layers).toEqual(expect.arrayContaining(['BODY', 'BODY-FIT', 'CAVITY', 'CLEARANCE', 'OBSTACLES']));
    // Each slab across x is 20 x 200 mm in the plane, across y 240 x 20; two stations.
    const obstacles = audit.lines.filter((l) => l[0] === 'OBSTACLES').map((l) => l[1]);
    expect(obstacles.length).toBeGreaterThanOrEqual(8);
    expect(obstacles.reduce((s, l) => s + l, 0)).toBeCloseTo(2 * (4 * 220 + 4 * 260), 1);
  });

  it('drawing page and ribs are there, in the manifest with their hashes, and told in the table', () => {
    expect(file('drawing.svg')).toMatch(/width="297mm" height="210mm"/);
    for (const text of ['190', '150', '110']) expect(file('drawing.svg')).toContain(`>${text}</text>`);
    const manifest = JSON.parse(file('manifest.json'));
    expect(manifest.ribs).toMatchObject({ inside: true, collisions: 0, along: [0, 0, 1], joints: 12 });
    expect(manifest.sections.stations_mm).toEqual([30, 60]);
    const names: string[] = manifest.files.map((f: { file: string }) => f.file);
    expect(names).toEqual(
      expect.arrayContaining(['ribs-sheet-1.dxf', 'ribs-sheet-1.svg', 'ribs-assembly.svg', 'sections-in-place.dxf', 'sections.svg']),
    );
    for (const f of manifest.files)
      expect(
        createHash('sha256')
          .update(readFileSync(join(cwd, 'out', f.file)))
          .digest('hex'),
      ).toBe(f.sha256);
    expect(made.stdout).toMatch(/Sections: 2 stations from 30 to 60 mm/);
    expect(made.stdout).toMatch(/Rib kit: 7 ribs on \d sheets? of 400 x 300 mm/);
    for (const line of made.stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
  });
});

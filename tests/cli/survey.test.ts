import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Survey } from '../../src/pipeline/survey.ts';
import type { Result } from '../../src/report/result.ts';
import { boxesStl, voidgauge } from './run.ts';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'voidgauge-survey-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

/** A room of six plates about the box 0..200 x 0..160 x 0..120 mm; the plate above has a square hole, side `hole` mm, with its own border. */
function room(hole: number): Uint8Array {
  const stl = boxesStl(
    [-20, -20, -20, 220, 180, 0],
    [-21, -21, -1, 0, 181, 121],
    [200, -21, -1, 221, 181, 121],
    [-1, -22, -2, 201, 0, 122],
    [-1, 160, -2, 201, 182, 122],
  );
  // The lid is an open sheet round the hole: eight triangles, facing down.
  const [a, b] = [hole / 2, 120];
  const at = (x: number, y: number): number[] => [100 + x, 80 + y, 120];
  const outer = [at(-b, -100), at(b, -100), at(b, 100), at(-b, 100)];
  const inner = [at(-a, -a), at(a, -a), at(a, a), at(-a, a)];
  const faces: number[][][] = [];
  for (let i = 0; i < 4; i++) {
    const j = (i + 1) % 4;
    faces.push([outer[i], inner[i], inner[j]], [outer[i], inner[j], outer[j]]);
  }
  const out = new Uint8Array(stl.length + 50 * faces.length);
  out.set(stl);
  const view = new DataView(out.buffer);
  view.setUint32(80, view.getUint32(80, true) + faces.length, true);
  faces.flat(2).forEach((v, i) => {
    view.setFloat32(stl.length + 50 * Math.floor(i / 9) + 12 + 4 * (i % 9), v, true);
  });
  return out;
}

const job = `voidgauge: 1
step: 4
clearance: 5
scans: { room: room.stl }
region: { skin: false, box: { min: [-10, -10, -10], max: [210, 170, 150] } }
start: [100, 80, 60]
least_radius: 10
tank: false
`;

describe('survey', () => {
  it('of a job: the hole to scan again, who bounds the room, litres in doubt', async () => {
    await writeFile(join(folder, 'room.stl'), room(60));
    await writeFile(join(folder, 'job.yaml'), job);
    const { code, stdout, stderr } = await voidgauge(['survey', 'job.yaml', '--json'], { cwd: folder });
    expect(stderr).not.toContain('mistake of its own');
    expect(code).toBe(0);
    const survey: Survey = JSON.parse(stdout);
    expect(survey.scans[0]).toMatchObject({ scan: 'room', triangles: 68, pieces: 6 });
    const [hole] = survey.envelope?.rescan ?? [];
    expect(hole.scan).toBe('room');
    expect(hole.length_mm).toBeCloseTo(240, 3);
    expect(hole.across_mm).toBeCloseTo(60 * Math.SQRT2, 3);
    // Four times 60 x 60 by 240.
    expect(hole.width_mm).toBeCloseTo(60, 3);
    expect(hole.at_mm.map((v) => Math.round(v))).toEqual([100, 80, 120]);
    expect(hole.points_mm).toHaveLength(4);
    // The ball of 10 passes a hole of 60: the room above, some 220 x 180 mm and 25 high less corners, is in doubt.
    expect(survey.envelope?.in_doubt_l).toBeGreaterThan(0.5);
    const bounds = Object.fromEntries(survey.envelope?.bounded_by.map((b) => [b.name, b.percent]) ?? []);
    expect(bounds['room'] + bounds['the border of the region']).toBeCloseTo(100, 6);
    expect(bounds['room']).toBeGreaterThan(50);
  });

  it('measure keeps the borders in its result, for the page to draw', async () => {
    await writeFile(join(folder, 'room.stl'), room(60));
    await writeFile(join(folder, 'job.yaml'), job);
    const { code, stdout } = await voidgauge(['measure', 'job.yaml', '--json'], { cwd: folder });
    expect(code).toBe(0);
    const { holes }: Result = JSON.parse(stdout);
    const square = holes?.find((h) => Math.abs(h.length_mm - 240) < 1e-3);
    expect(square?.scan).toBe('room');
    const corners = square?.loop.map((p) => p.map((v) => Math.round(v)).join(' ')).sort();
    expect(corners).toEqual(['130 110 120', '130 50 120', '70 110 120', '70 50 120']);
  });

  it('of a job whose hole is small: closing it flat takes what bulges into it and no more', async () => {
    await writeFile(join(folder, 'room.stl'), room(12));
    await writeFile(join(folder, 'job.yaml'), job.replace('clearance: 5', 'clearance: 8').replace('step: 4', 'step: 2'));
    const { stdout } = await voidgauge(['survey', 'job.yaml', '--json'], { cwd: folder });
    const survey: Survey = JSON.parse(stdout);
    expect(survey.envelope?.rescan).toHaveLength(1);
    // Over a hole 12 wide the border 8 mm off the rim dips by 8 - sqrt(64 - 36) = 2.7 mm at the middle, and the ball of 10 cannot reach all of it.
    expect(survey.envelope?.in_doubt_l).toBeLessThan((2.71 * 12 * 12) / 1e6);
    const whole = 1e-6 * 184 * 144 * 104;
    expect(survey.envelope?.volume_l).toBeGreaterThan(0.98 * whole);
    expect(survey.envelope?.volume_l).toBeLessThan(whole);
  });

  it('of scan files, as a table of at most 80 columns', async () => {
    await writeFile(join(folder, 'room.stl'), room(60));
    await writeFile(join(folder, 'block.stl'), boxesStl([0, 0, 0, 500, 400, 300]));
    const { code, stdout } = await voidgauge(['survey', 'room.stl', 'block.stl'], { cwd: folder });
    expect(code).toBe(0);
    expect(Math.max(...stdout.split('\n').map((l) => l.length))).toBeLessThanOrEqual(80);
    expect(stdout).toContain('closed, 60 l');
    expect(stdout).toMatch(/longest borders: 880 mm at \[100, 80, 120\]; 240 mm at \[100, 80, 120\]/);
  });

  it('a job with no envelope still has its scans looked over, and says why there is none', async () => {
    await writeFile(join(folder, 'room.stl'), room(60));
    await writeFile(join(folder, 'job.yaml'), job.replace('least_radius: 10', 'least_radius: 90'));
    const { code, stdout } = await voidgauge(['survey', 'job.yaml', '--json'], { cwd: folder });
    expect(code).toBe(0);
    const survey: Survey = JSON.parse(stdout);
    expect(survey.envelope).toBeNull();
    expect(survey.notes[0].text).toMatch(/no envelope.*radius/);
    expect(survey.scans).toHaveLength(1);
  });

  it('a job and scans together are refused', async () => {
    await writeFile(join(folder, 'job.yaml'), job);
    const { code, stderr } = await voidgauge(['survey', 'job.yaml', 'room.stl'], { cwd: folder });
    expect(code).toBe(2);
    expect(stderr).toContain('one job file, or scan files alone');
  });
});

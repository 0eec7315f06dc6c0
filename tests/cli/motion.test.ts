import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { fileSource } from '../../cli/files.ts';
import { meshBox } from '../../src/core/mesh.ts';
import { readScan } from '../../src/io/read.ts';
import type { Result } from '../../src/report/result.ts';
import { boxesStl, voidgauge } from './run.ts';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'voidgauge-motion-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

/** Six plates about the box 0..200 x 0..160 x 0..120 mm. */
const ROOM = boxesStl(
  [-20, -20, -20, 220, 180, 0],
  [-21, -21, -1, 0, 181, 121],
  [200, -21, -1, 221, 181, 121],
  [-1, -22, -2, 201, 0, 122],
  [-1, 160, -2, 201, 182, 122],
  [-2, -2, 120, 202, 162, 140],
);
const PISTON = boxesStl([-15, 1, 1, 30, 159, 119]);

const R = 10;
/** A box of these sides after a ball of radius R has rolled through it (Steiner's formula on the box less R a side), litres. */
function rolled(...sides: number[]): number {
  const [a, b, c] = sides.map((s) => s - 2 * R);
  return (a * b * c + 2 * (a * b + b * c + c * a) * R + Math.PI * (a + b + c) * R * R + (4 / 3) * Math.PI * R ** 3) / 1e6;
}

describe('a part that moves', () => {
  it('takes all that it sweeps, and leaves its sweep as a mesh', async () => {
    await writeFile(join(folder, 'room.stl'), ROOM);
    await writeFile(join(folder, 'piston.stl'), PISTON);
    const job = (motion: string): string => `voidgauge: 1
step: 3
clearance: 5
scans: { room: room.stl, piston: { file: piston.stl${motion} } }
region: { skin: false, box: { min: [-10, -10, -10], max: [210, 170, 130] } }
start: [150, 80, 60]
least_radius: ${R}
tank: false
`;
    const volume = async (motion: string, ...more: string[]): Promise<number> => {
      await writeFile(join(folder, 'job.yaml'), job(motion));
      const { code, stdout, stderr } = await voidgauge(['measure', 'job.yaml', '--json', ...more], { cwd: folder });
      expect(stderr).not.toContain('mistake');
      expect(code).toBe(0);
      const result: Result = JSON.parse(stdout);
      expect(result.notes.map((n) => n.code)).not.toContain('motion-not-swept');
      return result.envelope.volume_l.value;
    };
    // Clearance 5 on every side; the piston's face stands at 30, and at 90 when it is out.
    expect(await volume('')).toBeCloseTo(rolled(160, 150, 110), 2);
    const out = await volume(', motion: { slide: { along: [1, 0, 0], from: 0, to: 60 } }', '-o', 'out');
    expect(out / rolled(100, 150, 110)).toBeGreaterThan(0.99);
    expect(out / rolled(100, 150, 110)).toBeLessThan(1.01);
    expect(await readdir(join(folder, 'out'))).toContain('swept-piston.stl');
    const { parts } = await readScan(await fileSource(join(folder, 'out', 'swept-piston.stl')));
    const box = meshBox(parts[0].mesh!);
    // From -15 to 90 with 5 mm round it (cells of 6 mm: to half a cell).
    for (const [v, e] of [
      [box.min[0], -20],
      [box.max[0], 95],
      [box.min[1], -4],
      [box.max[2], 124],
    ])
      expect(Math.abs(v - e)).toBeLessThan(2);
  });
});

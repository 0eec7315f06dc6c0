import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Matrix4, Quaternion, Vector3 } from 'three';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { writePly } from '../../src/io/write-ply.ts';
import type { Result } from '../../src/report/result.ts';
import { boxMesh, refineMesh, together } from '../oracle/shapes.ts';
import { type Ended, voidgauge } from './run.ts';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'voidgauge-place-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

const block = (at: Vec3, size: Vec3): Mesh => ({ ...refineMesh(boxMesh(size), 3), origin: at });
const tub = together(
  block([120, 100, -8], [280, 240, 16]),
  block([-8, 100, 80], [16, 240, 176]),
  block([248, 100, 80], [16, 240, 176]),
  block([120, -8, 80], [280, 16, 176]),
  block([120, 208, 80], [280, 16, 176]),
  block([40, 30, 20], [60, 30, 40]),
);
const part = block([130, 90, 100], [120, 90, 70]);

/** The second scanner's frame, made with another library: 7 degrees about a slanted axis, and a shift. */
const THERE = new Matrix4().compose(
  new Vector3(31, -20, 12),
  new Quaternion().setFromAxisAngle(new Vector3(2, -1, 2).normalize(), (7 * Math.PI) / 180),
  new Vector3(1, 1, 1),
);

/** Noise of 0.1 mm on every corner, then the frame of the second scanner when asked. */
function scanned(mesh: Mesh, seed: number, move?: Matrix4): Uint8Array {
  const rng = random(seed);
  const positions = mesh.positions.map((v) => v + 0.1 * rng.normal());
  const p = new Vector3();
  if (move) for (let i = 0; i < positions.length; i += 3) p.fromArray(positions, i).applyMatrix4(move).toArray(positions, i);
  return writePly({ ...mesh, positions }, []);
}

const job = (place: string): string => `voidgauge: 1
step: 6
clearance: 4
scans: { tub: tub.ply, stock: { file: stock.ply, role: removed, place: ${place} } }
region: { skin: false, near: { scan: stock, within: 200 }, box: { min: [-5, -5, -5], max: [245, 205, 155] } }
start: [130, 90, 100]
least_radius: 8
tank: false
`;

async function run(place: string, ...more: string[]): Promise<Ended & { result: Result | null }> {
  await writeFile(join(folder, 'job.yaml'), job(place));
  const ended = await voidgauge(['measure', 'job.yaml', '--json', ...more], { cwd: folder });
  return { ...ended, result: ended.code === 0 ? JSON.parse(ended.stdout) : null };
}

describe('placing from the command line', () => {
  it('undoes a motion made outside, keeps the placing in a file, and takes it from there', async () => {
    await writeFile(join(folder, 'tub.ply'), scanned(tub, 1));
    await writeFile(join(folder, 'stock.ply'), scanned(together(tub, part), 2, THERE));
    const first = await run('{ onto: tub, limit: 0.0005 }', '-o', 'out');
    const placing = first.result!.placings![0];
    const rows = placing.matrix.flat();
    const found = new Matrix4().set(
      ...(rows as [number, number, number, number, number, number, number, number, number, number, number, number]),
      0,
      0,
      0,
      1,
    );
    let worst = 0;
    for (let i = 0; i < 8; i++) {
      const corner = new Vector3(i & 1 ? 245 : -5, i & 2 ? 205 : -5, i & 4 ? 155 : -5);
      worst = Math.max(worst, corner.clone().applyMatrix4(THERE).applyMatrix4(found).distanceTo(corner));
    }
    expect(worst).toBeLessThan(0.05);
    // More than the job's limit is a doubt, in the notes; the residuals and the weakest direction are told.
    expect(placing.error_mm).toBeGreaterThan(0.0005);
    expect(placing.error_mm).toBeLessThan(0.05);
    expect(first.result!.notes.filter((n) => n.code === 'placing-doubt').map((n) => n.text)).toEqual([
      expect.stringMatching(/"stock".*only known to.*mm; weakest: a (turn|shift)/),
    ]);
    expect(placing.residual_mm!.median).toBeGreaterThan(0.03);
    expect(placing.residual_mm!.p95).toBeLessThan(0.5);
    expect(placing.weakest!.strength).toBeGreaterThan(0.01);

    const kept = await readFile(join(folder, 'out', 'placings.json'), 'utf8');
    const again = await run('{ from: out/placings.json }');
    expect(again.result!.placings![0]).toMatchObject({ by: 'file', matrix: placing.matrix, error_mm: placing.error_mm });
    expect(again.result!.reclaimed).toEqual(first.result!.reclaimed);
    expect(again.result!.envelope).toEqual(first.result!.envelope);

    // Another scan under the same name is not moved by a placing that was not made for it.
    await writeFile(join(folder, 'stock.ply'), scanned(together(tub, part), 3, THERE));
    const stale = await run('{ from: out/placings.json }');
    expect(stale.code).toBe(2);
    expect(stale.stderr).toContain('belongs to another version of stock.ply');
    expect(await readFile(join(folder, 'out', 'placings.json'), 'utf8')).toBe(kept);
  });
});

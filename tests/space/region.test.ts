import { describe, expect, it } from 'vitest';
import { type Field, sampleField } from '../../src/core/field.ts';
import { cellCentre, gridOver } from '../../src/core/grid.ts';
import { joinMeshes, type Mesh, meshBox } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { volume } from '../../src/field/integrate.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import type { Scan } from '../../src/scan/scan.ts';
import { regionBox, regionField, regionGrid } from '../../src/space/region.ts';
import { skinField, thinFor } from '../../src/space/skin.ts';
import { closeBarriers } from '../../src/space/slack.ts';
import { ballMesh, boxMesh } from '../oracle/shapes.ts';

const moved = (m: Mesh, origin: Vec3): Mesh => ({ ...m, origin });

/** The region of a job whose scans are the given meshes (the first one an obstacle), on a grid of 2 mm. */
async function regionOf(text: string, meshes: Record<string, Mesh>): Promise<Field> {
  const entries = Object.keys(meshes).map((n, i) => `  ${n}: { file: ${n}.stl${i > 0 ? ', role: removed' : ''} }`);
  const job = parseJob(`voidgauge: 1\nscans:\n${entries.join('\n')}\nregion: ${text}\n`, 'job.yaml');
  const scans: Scan[] = Object.entries(meshes).map(([name, mesh]) => ({
    name,
    settings: job.scans[name],
    mesh,
    radius: 0,
    specks: [],
    triangles: mesh.indices.length / 3,
    points: 0,
    box: meshBox(mesh),
    unit: 'mm',
  }));
  const grid = regionGrid(regionBox(job.region, scans), 2);
  return (await regionField(job.region, scans, { grid, cuts: [0] }, inlineContext)).field;
}

const floor = { floor: moved(boxMesh([400, 400, 10]), [0, 0, -5]) };

describe('parts of the region, volumes in closed form', () => {
  it.each<[string, string, Record<string, Mesh>, number]>([
    ['a box', '{ skin: false, box: { min: [0, 0, 0], max: [100, 60, 40] } }', floor, 100 * 60 * 40],
    ['a turned box', '{ skin: false, box: { min: [0, 0, 0], max: [100, 60, 40], turn: [20, -35, 50] } }', floor, 100 * 60 * 40],
    [
      'a box and two planes, one askew',
      '{ skin: false, box: { min: [0, 0, 0], max: [100, 60, 40] }, half_spaces: [{ at: [80, 0, 0], normal: [-1, 0, 0] }, { at: [0, 0, 0], normal: [1, -1, 0] }] }',
      floor,
      40 * (80 * 60 - (60 * 60) / 2),
    ],
    [
      'an outline drawn across y and extruded',
      '{ skin: false, outline: { axis: y, points: [[0, 0], [90, 0], [90, 30], [30, 30], [30, 70], [0, 70]], from: -20, to: 25 } }',
      floor,
      45 * (90 * 30 + 30 * 40),
    ],
    [
      'near a ball, its inside included',
      '{ skin: false, near: { scan: part, within: 15 } }',
      { ...floor, part: moved(ballMesh(40, 60), [10, 5, 90]) },
      (4 / 3) * Math.PI * 55 ** 3,
    ],
    [
      'inside a closed mesh',
      '{ skin: false, near: false, inside: part }',
      { ...floor, part: moved(ballMesh(40, 60), [10, 5, 90]) },
      (4 / 3) * Math.PI * 40 ** 3,
    ],
  ])('%s', async (_, text, meshes, exact) => {
    const got = volume(await regionOf(text, meshes));
    expect(Math.abs(got / exact - 1)).toBeLessThan(4e-3);
  });
});

describe('the skin', () => {
  /** Two balls of radius 50 whose centres are 160 apart: the ball of 150 mm rolls round them and cannot enter the waist. */
  const all = joinMeshes([moved(ballMesh(50, 60), [-80, 0, 0]), moved(ballMesh(50, 60), [80, 0, 0])]);

  it('fills the waist between two balls up to the torus that the rolling ball touches', async () => {
    const skin = await skinField(
      { meshes: [all], radius: 150, fineStep: 4, box: { min: [-130, -60, -60], max: [130, 60, 170] } },
      inlineContext,
    );
    // The ball touches both where its centre is R + q = 200 from each: its own circle lies at this distance from the axis.
    const rho = Math.sqrt(200 ** 2 - 80 ** 2);
    const waist = rho - 150;
    for (const t of [0, 1, 2, 3]) {
      const [c, s] = [Math.cos(t), Math.sin(t)];
      expect(sampleField(skin, [0, (waist - 3) * c, (waist - 3) * s])).toBeGreaterThan(1.5);
      expect(sampleField(skin, [0, (waist + 3) * c, (waist + 3) * s])).toBeLessThan(-1.5);
    }
    // Between the balls the depth is the distance to that circle less the ball's radius.
    let cells = 0;
    for (let c = 0; c < skin.data.length; c++) {
      const [x, y, z] = cellCentre(skin.grid, c);
      if (Math.abs(x) > 20 || Math.hypot(y, z) > 55) continue;
      cells++;
      expect(Math.abs(skin.data[c] - (Math.hypot(x, rho - Math.hypot(y, z)) - 150))).toBeLessThan(1);
    }
    expect(cells).toBeGreaterThan(50);
    expect(sampleField(skin, [0, 0, 160])).toBeLessThan(-60);
  });

  it('is the same, to a tenth of a mm, from scans thinned for it', async () => {
    const thin = thinFor(all, 6);
    expect(thin.indices.length).toBeLessThan(all.indices.length / 2);
    expect(thin.indices.length).toBeGreaterThan(500);
  });
});

describe('barriers', () => {
  it('a disc stops at its own distance, and nothing beyond its rim', async () => {
    const grid = gridOver({ min: [-40, -40, -40], max: [40, 40, 40] }, 2);
    const shared = new Float32Array(40 ** 3).fill(30);
    const field: Field = { grid, data: shared };
    await closeBarriers(field, [{ at: [0, 0, 0], normal: [0, 0, 1], radius: 20 }], 8, inlineContext);
    const exact = (x: number, y: number, z: number): number => Math.min(30, Math.hypot(Math.max(Math.hypot(x, y) - 20, 0), z));
    let worst = 0;
    let c = 0;
    for (let k = 0; k < 40; k++)
      for (let j = 0; j < 40; j++)
        for (let i = 0; i < 40; i++) worst = Math.max(worst, Math.abs(shared[c++] - exact(-39 + 2 * i, -39 + 2 * j, -39 + 2 * k)));
    // The rim is a polygon of 48 sides round the circle: 0.05 mm; the kernel may be off by half a cell far from the levels.
    expect(worst).toBeLessThan(1);
  });
});

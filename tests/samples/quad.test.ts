import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { bytesOf, fileOf, SEED } from '../../samples/make.ts';
import { scanQuad } from '../../samples/scanner.ts';
import { obstacleDistance, type PartName } from '../../samples/solids.ts';
import { demoJob, POCKET, type Recorded, ROOM } from '../../samples/truth.ts';
import { sampleField } from '../../src/core/field.ts';
import { cellCentre } from '../../src/core/grid.ts';
import { type Mesh, meshArea } from '../../src/core/mesh.ts';
import { growBox, type Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, type Measured, measure } from '../../src/pipeline/measure.ts';
import type { Bounded } from '../../src/report/result.ts';
import { borderLoops } from '../../src/scan/borders.ts';
import { closeLoop } from '../../src/scan/caps.ts';
import { SurfaceTree } from '../../src/scan/place-tree.ts';
import { boxOfUsed } from '../../src/scan/scan.ts';

const truth = JSON.parse(readFileSync(new URL('../../samples/quad.expected.json', import.meta.url), 'utf8')) as Recorded;

/**
 * Whether a point lies at a hole: nearer to the flat patch over it than half its width (four times the patch's area by the border's length: a
 * round hole's diameter). From farther off a round hole fills less than 15 % of all directions, of which the winding number loses half.
 */
function atHole(meshes: readonly Mesh[]): (p: Vec3) => boolean {
  const holes = meshes.flatMap((mesh) =>
    borderLoops(mesh)
      .filter((l) => l.vertices.length >= 4)
      .map((l) => {
        const patch = { ...mesh, indices: closeLoop(mesh, l.vertices) };
        const near = (2 * meshArea(patch)) / l.length;
        return { near, box: growBox(boxOfUsed(patch), near), tree: new SurfaceTree(patch) };
      }),
  );
  return (p) => holes.some(({ near, box, tree }) => p.every((v, a) => v >= box.min[a] && v <= box.max[a]) && tree.distance(p, near) < near);
}

/** Truth from the exact solids (samples/truth.ts) against the program's answer from the noisy, holed scans of them. */
describe('the demo: what the scans tell against the exact solids', () => {
  let measured: Measured;
  beforeAll(async () => {
    const made = new Map(scanQuad({ seed: SEED }).map((s) => [`scans/${fileOf(s.name)}`, bytesOf(s)]));
    const files: Files = {
      open: async (name) => {
        const bytes = made.get(name)!;
        return { ...bytesSource(name, bytes), digest: async () => createHash('sha256').update(bytes).digest('hex') };
      },
    };
    measured = await measure(demoJob(), files, inlineContext);
  }, 600_000);

  const holds = (found: Bounded, exact: number): void => {
    // Even if the truth itself is off by as much as it may be.
    expect(found.low).toBeLessThanOrEqual(exact - truth.uncertain_l);
    expect(found.high).toBeGreaterThanOrEqual(exact + truth.uncertain_l);
    // The bounds are honest but not idle: they are within 3 %, and the value itself is nearer than they are.
    expect((found.high - found.low) / exact).toBeLessThan(0.06);
    expect(Math.abs(found.value / exact - 1)).toBeLessThan(0.01);
  };

  it('the envelope is true within its printed bounds', () => holds(measured.result.envelope.volume_l, truth.envelope_l));

  it('the reclaimed volume is true within its printed bounds', () => holds(measured.result.reclaimed!.volume_l, truth.reclaimed_l));

  it('the brim volume is true within its printed bounds, the rated one 5 % below it', () => {
    holds(measured.result.tank!.brim_l, truth.brim_l);
    expect(measured.result.tank!.rated_l.value / truth.brim_l).toBeCloseTo(0.95, 2);
  });

  it('finds the largest ball and the neck into the pocket over the battery', () => {
    const { largest_ball, necks } = measured.result.envelope;
    expect(Math.abs(largest_ball.radius_mm - truth.largest_ball_mm)).toBeLessThan(1);
    // The way in is the wider one of the slots above and below the brace, x = -405.
    const neck = necks.filter((n) => n.passed && Math.abs(n.at_mm[0] + 405) < 40 && Math.abs(n.diameter_mm - truth.neck_mm) < 1.5);
    expect(neck.length).toBe(1);
    expect(neck[0].behind_l).toBeGreaterThan(1);
    expect(neck[0].behind_l).toBeLessThan(2.5);
    // And room and pocket both belong to the envelope.
    for (const p of [ROOM, POCKET]) expect(sampleField(measured.fields.envelope, p)).toBeGreaterThan(10);
  });

  it('tells what lies inside the open scans: at most one cell in a thousand is misjudged, away from holes by their own size or not', () => {
    const { fields, scans, coarse } = measured;
    const { grid, data } = fields.free;
    const obstacles = scans.filter((s) => s.settings.role === 'obstacle');
    const near = atHole(obstacles.map((s) => s.mesh));
    // Cells of at least this slack are asked about at all: half the least radius, and a little for the noise.
    const level = demoJob().least_radius / 2 + 0.5;
    let [judged, inner, wrong, away, missed] = [0, 0, 0, 0, 0];
    for (let k = 1; k < grid.nz; k += 3)
      for (let j = 1; j < grid.ny; j += 3)
        for (let i = 1; i < grid.nx; i += 3) {
          const c = i + grid.nx * (j + grid.ny * k);
          const p = cellCentre(grid, c);
          if (!(sampleField(coarse.region, p) >= level) || Math.abs(data[c]) < level) continue;
          // Signed distances to the exact solids, less clearance outside and more inside: what is neither has a surface near by.
          const truth = obstacles.map((s) => {
            const d = obstacleDistance(s.name as PartName, p[0], p[1], p[2]);
            return { d, free: d >= s.settings.clearance + level, inside: d <= -s.settings.clearance - level };
          });
          const inside = truth.some((t) => t.inside);
          if (!inside && !truth.every((t) => t.free)) continue;
          judged++;
          if (inside) inner++;
          const bad = inside !== data[c] < 0;
          if (bad) wrong++;
          if (near(p)) continue;
          away++;
          if (bad) missed++;
        }
    expect(missed / away).toBeLessThanOrEqual(0.001);
    expect(away / judged).toBeGreaterThan(0.9);
    expect(judged).toBeGreaterThan(20_000);
    expect(inner).toBeGreaterThan(500);
    expect(wrong / judged).toBeLessThanOrEqual(0.001);
  });

  it('leaves the loose specks out and says so', () => {
    const said = measured.result.notes.filter((n) => n.code === 'specks-dropped').map((n) => Number.parseInt(n.text, 10));
    // The scanner adds 36; a few more crumbs of real surface may look like specks.
    const count = said.reduce((sum, n) => sum + n, 0);
    expect(count).toBeGreaterThanOrEqual(36);
    expect(count).toBeLessThan(45);
  });
});

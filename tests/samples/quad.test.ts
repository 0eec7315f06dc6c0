import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { bytesOf, fileOf, SEED } from '../../samples/make.ts';
import { scanQuad } from '../../samples/scanner.ts';
import { obstacleDistance, type PartName } from '../../samples/solids.ts';
import { demoJob, POCKET, type Recorded, ROOM } from '../../samples/truth.ts';
import { sampleField } from '../../src/core/field.ts';
import { cellCentre } from '../../src/core/grid.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, type Measured, measure } from '../../src/pipeline/measure.ts';
import type { Bounded } from '../../src/report/result.ts';
import { borderLoops } from '../../src/scan/borders.ts';

const truth = JSON.parse(readFileSync(new URL('../../samples/quad.expected.json', import.meta.url), 'utf8')) as Recorded;

/** Corners of a scan's borders, single missing triangles left out, mm. */
function borderCorners(mesh: Mesh): Vec3[] {
  const { origin, positions: p } = mesh;
  const loops = borderLoops(mesh).filter((l) => l.vertices.length >= 4);
  return loops.flatMap((l) => l.vertices.map((v): Vec3 => [origin[0] + p[v * 3], origin[1] + p[v * 3 + 1], origin[2] + p[v * 3 + 2]]));
}

/** Whether a point lies within `reach` mm of any of the others. */
function closeTo(points: readonly Vec3[], reach: number): (p: Vec3) => boolean {
  const cell = (v: number): number => Math.floor(v / reach);
  const cells = new Map<string, Vec3[]>();
  for (const p of points) {
    const key = p.map(cell).join();
    cells.set(key, [...(cells.get(key) ?? []), p]);
  }
  const shifts = Array.from({ length: 27 }, (_, i) => [(i % 3) - 1, (Math.floor(i / 3) % 3) - 1, Math.floor(i / 9) - 1]);
  return (p) =>
    shifts.some((s) =>
      cells.get(p.map((v, a) => cell(v) + s[a]).join())?.some((q) => Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]) < reach),
    );
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

  it('tells what lies inside the open scans: at most one cell in a thousand is misjudged, 20 mm and more from every hole', () => {
    const { fields, scans, coarse } = measured;
    const { grid, data } = fields.free;
    const obstacles = scans.filter((s) => s.settings.role === 'obstacle');
    const nearHole = closeTo(
      obstacles.flatMap((s) => borderCorners(s.mesh)),
      20,
    );
    // Cells of at least this slack are asked about at all: half the least radius, and a little for the noise.
    const level = demoJob().least_radius / 2 + 0.5;
    let [judged, inner, wrong] = [0, 0, 0];
    for (let k = 1; k < grid.nz; k += 3)
      for (let j = 1; j < grid.ny; j += 3)
        for (let i = 1; i < grid.nx; i += 3) {
          const c = i + grid.nx * (j + grid.ny * k);
          const p = cellCentre(grid, c);
          if (!(sampleField(coarse.region, p) >= level) || nearHole(p)) continue;
          // Signed distances to the exact solids, less clearance outside and more inside: what is neither has a surface near by.
          const truth = obstacles.map((s) => {
            const d = obstacleDistance(s.name as PartName, p[0], p[1], p[2]);
            return { d, free: d >= s.settings.clearance + level, inside: d <= -s.settings.clearance - level };
          });
          const inside = truth.some((t) => t.inside);
          if (!inside && !truth.every((t) => t.free)) continue;
          judged++;
          if (inside) inner++;
          if (inside !== data[c] < 0) wrong++;
        }
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

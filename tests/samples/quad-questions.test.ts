import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { bytesOf, fileOf, SEED } from '../../samples/make.ts';
import { scanQuad } from '../../samples/scanner.ts';
import { sampleField } from '../../src/core/field.ts';
import { add, distance, dot, scale, type Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, type Measured, measure } from '../../src/pipeline/measure.ts';

/**
 * The questions beyond envelope and tank, asked of the demo's scans. The solids behind them are known (samples/solids.ts): the
 * tubes that cross or border the room, the parts that come off, and that the room is open to above.
 */
describe('the demo: ways in, tubes and stowage', () => {
  let measured: Measured;
  beforeAll(async () => {
    const made = new Map(scanQuad({ seed: SEED }).map((s) => [`scans/${fileOf(s.name)}`, bytesOf(s)]));
    const files: Files = {
      open: async (name) => ({ ...bytesSource(name, made.get(name)!), digest: async () => '' }),
    };
    const text = readFileSync(new URL('../../samples/quad-full.yaml', import.meta.url), 'utf8');
    const job = parseJob(text.replace('lining: 3', 'lining: 3\n  seconds: 1'), 'quad-full.yaml');
    measured = await measure(job, files, inlineContext, { step: 4 });
  }, 600_000);

  it('every tube that crosses the envelope, its diameter within 0.1 mm, and nothing that is no tube', () => {
    const tubes = measured.result.tubes!;
    // Name, true outside diameter, and a point of the true centre line.
    const true_: readonly [string, number, Vec3][] = [
      ['brace', 32, [-405, 0, 704]],
      ['frame', 28, [-240, 0, 698]],
      ['frame', 32, [-310, 0, 542]],
      ['exhaust', 42, [-105, -117, 499]],
    ];
    for (const [scan, diameter, at] of true_) {
      const found = tubes.filter((t) => t.scan === scan && nearLine(t.axis, at) < 2);
      expect(found.length, `${scan} ${diameter}`).toBe(1);
      expect(Math.abs(found[0].diameter_mm - diameter)).toBeLessThan(0.1);
    }
    expect(tubes.length).toBe(true_.length);
  });

  it('the two cross tubes through the room are enclosed, their bores as wide as tube and clearance on both sides', () => {
    const enclosed = measured.result.tubes!.flatMap((t) => t.bores.filter((b) => b.enclosed).map((b) => ({ scan: t.scan, ...b })));
    expect(enclosed.map((b) => b.scan).sort()).toEqual(['brace', 'frame']);
    for (const b of enclosed) {
      expect(Math.abs(b.bore_mm - (b.scan === 'brace' ? 32 : 28) - 8)).toBeLessThan(0.1);
      // A plain cylinder over the width of the region.
      expect(b.cost_l).toBeCloseTo((Math.PI * (b.bore_mm / 2) ** 2 * b.length_mm) / 1e6, 3);
      expect(b.length_mm).toBeGreaterThan(200);
      expect(b.length_mm).toBeLessThan(230);
    }
    expect(measured.result.envelope.through_holes).toBeGreaterThanOrEqual(enclosed.length);
  });

  it('the best way in is from above with brace and seat base off, and its body clears what stays', () => {
    const { ways_in: ways, ways_search: search } = measured.result;
    expect(search!.off).toEqual(['brace', 'seat-base']);
    expect(dot(ways![0].direction, [0, 0, 1])).toBeGreaterThan(0.9);
    expect(ways![0].kept_percent).toBeGreaterThan(80);
    for (let i = 1; i < ways!.length; i++) expect(ways![i].kept_percent).toBeLessThanOrEqual(ways![i - 1].kept_percent);
    // A slow look at the map: from below, engine, tray and swing arm are in the way.
    const below = search!.map.find((m) => dot(m.direction, [0, 0, -1]) > 0.999)!;
    expect(below.kept_percent).toBeLessThan(40);
  });

  it('what is stowed lies in the envelope, inside its lining, and no two things in one place', () => {
    const { stowage } = measured.result;
    const field = measured.fields.envelope;
    const { ball, box } = stowage!.largest!;
    expect(sampleField(field, ball!.centre_mm)).toBeGreaterThanOrEqual(ball!.radius_mm + 3 - 1e-3);
    for (const s of CORNERS) {
      const corner = s.reduce<Vec3>((p, sign, a) => add(p, scale(box!.axes[a], (sign * box!.size_mm[a]) / 2)), box!.centre_mm);
      expect(sampleField(field, corner)).toBeGreaterThan(0);
    }
    const placed = stowage!.items!.flatMap((i) => i.places);
    expect(placed.length).toBeGreaterThan(0);
    placed.forEach((p, i) => {
      for (const q of placed.slice(i + 1))
        expect(
          [0, 1, 2].some((a) => p.at_mm[a] + p.size_mm[a] <= q.at_mm[a] + 1e-6 || q.at_mm[a] + q.size_mm[a] <= p.at_mm[a] + 1e-6),
        ).toBe(true);
    });
    expect(stowage!.blocks!.length).toBe(stowage!.blocks_l);
    expect(stowage!.blocks_l!).toBeLessThanOrEqual(stowage!.blocks_bound_l!);
    expect(stowage!.blocks_l!).toBeGreaterThan(0);
  });
});

const CORNERS = [-1, 1].flatMap((x) => [-1, 1].flatMap((y) => [-1, 1].map((z) => [x, y, z] as const)));

/** Distance from a point to a line of points. */
function nearLine(line: readonly Vec3[], p: Vec3): number {
  let least = Infinity;
  for (let i = 1; i < line.length; i++) {
    const [a, b] = [line[i - 1], line[i]];
    const d: Vec3 = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
    const t = Math.max(0, Math.min(1, dot([p[0] - a[0], p[1] - a[1], p[2] - a[2]], d) / Math.max(dot(d, d), 1e-9)));
    least = Math.min(least, distance(p, add(a, scale(d, t))));
  }
  return least;
}

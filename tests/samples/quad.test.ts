import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, it } from 'vitest';
import { bytesOf, fileOf, SEED } from '../../samples/make.ts';
import { scanQuad } from '../../samples/scanner.ts';
import { demoJob, POCKET, type Recorded, ROOM } from '../../samples/truth.ts';
import { sampleField } from '../../src/core/field.ts';
import { bytesSource } from '../../src/io/source.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, type Measured, measure } from '../../src/pipeline/measure.ts';
import type { Bounded } from '../../src/report/result.ts';

const truth = JSON.parse(readFileSync(new URL('../../samples/quad.expected.json', import.meta.url), 'utf8')) as Recorded;

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

  it('leaves the loose specks out and says so', () => {
    const said = measured.result.notes.filter((n) => n.code === 'specks-dropped').map((n) => Number.parseInt(n.text, 10));
    // The scanner adds 36; a few more crumbs of real surface may look like specks.
    const count = said.reduce((sum, n) => sum + n, 0);
    expect(count).toBeGreaterThanOrEqual(36);
    expect(count).toBeLessThan(45);
  });
});

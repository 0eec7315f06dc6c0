import { describe, expect, it } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { commonRoom, type Vehicle } from '../../src/pipeline/common.ts';
import { boxesStl } from '../cli/run.ts';

/** Two walls across y, `gap` mm apart, the region between x0 and x1 and 120 mm high. */
function vehicle(name: string, [gap, x0, x1]: readonly [number, number, number], more = ''): Vehicle {
  const walls = boxesStl([-300, -200, -100, 300, -gap / 2, 100], [-300, gap / 2, -100, 300, 200, 100]);
  const text = `voidgauge: 1
name: ${name}
step: 4
least_radius: 8
scans: { walls: { file: walls.stl, clearance: 4 } }
region: { skin: false, box: { min: [${x0}, -90, -60], max: [${x1}, 90, 60] } }
${more}`;
  return {
    job: parseJob(text, `${name}.yaml`),
    files: { open: async (file) => ({ ...bytesSource(file, walls), digest: async () => '' }) },
  };
}

/** Litres that a ball of radius r reaches in a box: the box less 2 r, grown again (Steiner's formula). */
function rolled(size: readonly number[], r: number): number {
  const [a, b, c] = size.map((s) => s - 2 * r);
  return (a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r ** 2 + (4 / 3) * Math.PI * r ** 3) / 1e6;
}

describe('the room that vehicles share', () => {
  it('is what their boxes share; each costs what the others would have more without it', async () => {
    const three = [vehicle('a', [100, -100, 100]), vehicle('b', [80, -80, 100]), vehicle('c', [100, -100, 90])];
    const { result } = await commonRoom(three, inlineContext);
    const near = (got: number, size: readonly number[]): void => expect(Math.abs(got / rolled(size, 8) - 1)).toBeLessThan(0.005);
    near(result.common.volume_l.value, [170, 72, 120]);
    expect(result.common.volume_l.low).toBeLessThan(rolled([170, 72, 120], 8));
    expect(result.common.volume_l.high).toBeGreaterThan(rolled([170, 72, 120], 8));
    const [a, b, c] = result.vehicles;
    near(a.own_l, [200, 92, 120]);
    near(b.own_l, [180, 72, 120]);
    near(c.own_l, [190, 92, 120]);
    near(a.without_l, [170, 72, 120]);
    near(b.without_l, [190, 92, 120]);
    near(c.without_l, [180, 72, 120]);
    expect(a.costs_l).toBeLessThan(1e-6);
    expect(b.costs_l).toBeCloseTo(rolled([190, 92, 120], 8) - rolled([170, 72, 120], 8), 1);
    expect(c.costs_l).toBeCloseTo(rolled([180, 72, 120], 8) - rolled([170, 72, 120], 8), 1);
    result.common.box_mm.min.forEach((v, i) => {
      expect(Math.abs(v - [-80, -36, -60][i])).toBeLessThan(0.5);
    });
  });

  it('is found whatever the order of the vehicles', async () => {
    const [a, b] = [vehicle('a', [100, -100, 100]), vehicle('b', [80, -80, 100])];
    const one = await commonRoom([a, b], inlineContext);
    const other = await commonRoom([b, a], inlineContext);
    expect(other.result.common.volume_l).toEqual(one.result.common.volume_l);
  });

  it('vehicles that stand apart, or leave too little, are told so', async () => {
    const a = vehicle('a', [100, -100, 0]);
    await expect(commonRoom([a, vehicle('far', [100, 50, 100])], inlineContext)).rejects.toMatchObject({
      detail: { code: 'common-apart' },
    });
    // 10 mm along x are shared: no ball of radius 8.
    await expect(commonRoom([a, vehicle('touching', [100, -10, 100])], inlineContext)).rejects.toMatchObject({
      detail: { code: 'common-none', exit: 3 },
    });
  });
});

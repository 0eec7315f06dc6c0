import { describe, expect, it } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { measure } from '../../src/pipeline/measure.ts';
import { boxesStl } from '../cli/run.ts';

/** A bin of 200 x 160 x 120 mm, open at the top, its corners off any lattice: [x0, y0, z0, x1, y1, z1], mm. */
const [X0, Y0, Z0, X1, Y1, Z1] = [-100.3, -80.7, 400.9, 99.7, 79.3, 520.9];
const BIN = boxesStl(
  [X0 - 10, Y0 - 10, Z0 - 10, X1 + 10, Y1 + 10, Z0],
  [X0 - 10, Y0 - 10, Z0, X0, Y1 + 10, Z1],
  [X1, Y0 - 10, Z0, X1 + 10, Y1 + 10, Z1],
  [X0, Y0 - 10, Z0, X1, Y0, Z1],
  [X0, Y1, Z0, X1, Y1 + 10, Z1],
);
/** A roof 40 mm over the rim, which ends over the bin well past its middle. */
const EDGE = 40;
const ROOF = boxesStl([X0 - 600, Y0 - 600, Z1 + 40, EDGE, Y1 + 600, Z1 + 50]);
const OVERALL = boxesStl([X0 - 600, Y0 - 600, Z1 + 40, X1 + 600, Y1 + 600, Z1 + 50]);

async function tankUnder(roof: Uint8Array, more = '') {
  const job = parseJob(
    `voidgauge: 1
step: 4
least_radius: 8
scans:
  bin: { file: bin, clearance: 2 }
  roof: { file: roof, clearance: 2${more} }
region: { skin: false, box: { min: [${X0 - 5}, ${Y0 - 5}, ${Z0 - 5}], max: [${X1 + 5}, ${Y1 + 5}, ${Z1}] } }
tank: { wall: 4 }`,
    'job.yaml',
  );
  const files: Record<string, Uint8Array> = { bin: BIN, roof };
  const { result } = await measure(
    job,
    { open: async (name) => ({ ...bytesSource(name, files[name]), digest: async () => '' }) },
    inlineContext,
  );
  return { filler: result.tank!.filler_mm, blocked: result.notes.some((n) => n.code === 'filler-blocked') };
}

describe('a filler that nobody placed', () => {
  it('stands where a spout of 60 mm comes in past the roof, leaning 45 degrees at most', async () => {
    const { filler, blocked } = await tankUnder(ROOF);
    // The spout's middle passes the roof's edge at 30 mm: at 45 degrees it stands 30 * sqrt(2) - 40 - 4 mm beyond it, give or take a cell of 15 mm.
    const nearest = EDGE + 30 * Math.SQRT2 - 44;
    expect(filler[0]).toBeGreaterThan(nearest - 15);
    expect(filler[0]).toBeLessThan(nearest + 15 + 15);
    expect(blocked).toBe(false);
  });

  it('stands in the middle once the roof comes off, and is said to be blocked under one that ends nowhere', async () => {
    const open = await tankUnder(OVERALL, ', comes_off: true');
    expect(Math.hypot(open.filler[0] - (X0 + X1) / 2, open.filler[1] - (Y0 + Y1) / 2)).toBeLessThan(8);
    expect(open.blocked).toBe(false);
    expect((await tankUnder(OVERALL)).blocked).toBe(true);
  });
});

import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, measure } from '../../src/pipeline/measure.ts';
import type { Result } from '../../src/report/result.ts';
import { boxesStl } from '../cli/run.ts';

/** A room of plates about the box 0..200 x 0..160 x 0..120 mm: the walls and the ceiling, the floor by itself, and a block in its middle. */
const FILES: Record<string, Uint8Array> = {
  'walls.stl': boxesStl(
    [-21, -21, -30, 0, 181, 121],
    [200, -21, -30, 221, 181, 121],
    [-1, -22, -31, 201, 0, 122],
    [-1, 160, -31, 201, 182, 122],
    [-20, -20, 120, 220, 180, 140],
  ),
  'floor.stl': boxesStl([-20, -20, -20, 220, 180, 0]),
  'block.stl': boxesStl([80, 60, 30, 120, 100, 60]),
  // Stickers on the floor, and where they were measured from the vehicle: 0.3 mm off, this way and that.
  'own.csv': new TextEncoder().encode('0 0 0\n200 0 0\n190 160 0\n0 110 0\n'),
  'fixed.csv': new TextEncoder().encode('0.3 0 0\n200 0.3 0\n189.7 160 0\n0 109.7 0\n'),
};

const RADIUS = 10;
const CLEARANCE = 5;
const job = (floor: string, more = ''): string => `voidgauge: 1
step: 4
clearance: ${CLEARANCE}
scans:
  walls: walls.stl
  floor: { file: floor.stl${floor} }
${more}
region: { skin: false, box: { min: [-15, -15, -15], max: [215, 175, 135] } }
start: [100, 80, 90]
least_radius: ${RADIUS}
accuracy: 0.2
tank: false
`;

async function run(text: string): Promise<Result> {
  const files: Files = {
    open: async (name) => ({
      ...bytesSource(name, FILES[name]),
      digest: async () => createHash('sha256').update(FILES[name]).digest('hex'),
    }),
  };
  return (await measure(parseJob(text, 'job.yaml'), files, inlineContext)).result;
}

/** Litres of a box rolled out by the ball: Steiner's formula on the box shrunk by the radius. */
function rolled([a, b, c]: readonly number[]): number {
  const r = RADIUS;
  const [x, y, z] = [a - 2 * r, b - 2 * r, c - 2 * r];
  return (x * y * z + 2 * (x * y + y * z + z * x) * r + Math.PI * (x + y + z) * r * r + (4 / 3) * Math.PI * r ** 3) / 1e6;
}

const half = (r: Result): number => (r.envelope.volume_l.high - r.envelope.volume_l.low) / 2;

describe('a floor that is less sure than the walls', () => {
  const plain = run(job(''));

  it('a plain room has the volume of its box, clearance off every face', async () => {
    const { envelope, accuracy } = await plain;
    expect(envelope.volume_l.value / rolled([190, 150, 110])).toBeCloseTo(1, 2);
    expect(accuracy).toEqual({ mm: 0.2, less_sure: [] });
  });

  it('doubt adds to its clearance, and to the bounds by the area that it borders', async () => {
    const found = await run(job(', doubt: 3'));
    const box = [190, 150, 107];
    expect(found.envelope.volume_l.value / rolled(box)).toBeCloseTo(1, 2);
    const [floor] = found.accuracy?.less_sure ?? [];
    const faces = 2 * (box[0] * box[1] + box[1] * box[2] + box[2] * box[0]);
    // Of the rolled surface the fillets at the floor's rim are shared with the walls, half to each.
    expect(floor).toMatchObject({ name: 'floor', doubt_mm: 3, placing_mm: 0, points_mm: 0 });
    expect(Math.abs(floor.percent - (100 * box[0] * box[1]) / faces)).toBeLessThan(3);
    const grid = Math.abs(found.grid.change_at_double_step_l);
    const area = found.envelope.area_dm2 * 1e-2;
    expect(half(found)).toBeCloseTo(grid + area * 0.2 + area * (floor.percent / 100) * 3, 6);
    expect(found.notes.find((n) => n.code === 'surface-less-sure')?.text).toMatch(/"floor" bounds 2\d % .*3 mm of doubt/);
  });

  it("so does its placing's expected error", async () => {
    const found = await run(job(', place: { targets: { own: own.csv, fixed: fixed.csv } }'));
    const [floor] = found.accuracy?.less_sure ?? [];
    const [placing] = found.placings ?? [];
    expect(placing.error_mm).toBeGreaterThan(0.05);
    expect(floor.placing_mm).toBe(placing.error_mm);
    expect(half(found)).toBeGreaterThan(
      half(await plain) + 0.8 * 1e-2 * found.envelope.area_dm2 * (floor.percent / 100) * floor.placing_mm,
    );
  });

  it('one that mates is touched and never crossed', async () => {
    const found = await run(job(', role: mates'));
    expect(found.envelope.volume_l.value / rolled([190, 150, 115])).toBeCloseTo(1, 2);
    expect(found.envelope.box_mm.min[2]).toBeGreaterThan(-0.3);
    expect(found.envelope.box_mm.min[2]).toBeLessThan(0.3);
  });

  it('one that is ignored takes no room, an obstacle in its place does, whether it comes off or not', async () => {
    const ignored = await run(job('', '  block: { file: block.stl, role: ignore }'));
    expect(ignored.envelope.volume_l).toEqual((await plain).envelope.volume_l);
    expect(ignored.inputs.map((i) => i.scan)).toContain('block');
    const kept = await run(job('', '  block: { file: block.stl }'));
    expect(kept.envelope.volume_l.value).toBeLessThan(ignored.envelope.volume_l.value - 0.08);
    const off = await run(job('', '  block: { file: block.stl, comes_off: true }'));
    expect(off.envelope.volume_l).toEqual(kept.envelope.volume_l);
  });

  it('a moulding process tells its shrinkage, for information, and changes no figure', async () => {
    const shrinks = async (process: string): Promise<string | undefined> =>
      (await run(job('').replace('tank: false', `tank: { process: ${process} }`))).notes.find((n) => n.code === 'mould-shrinkage')?.text;
    // Rotomoulded polyethylene: 1.5 to 3 %, common practice.
    expect(await shrinks('rotomoulded')).toMatch(/1\.5 to 3 % smaller than its mould/);
    expect(await shrinks('welded_aluminium')).toBeUndefined();
  });
});

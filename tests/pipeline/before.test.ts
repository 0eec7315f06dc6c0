import { describe, expect, it } from 'vitest';
import type { Fault } from '../../src/core/fault.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Files, measure } from '../../src/pipeline/measure.ts';
import type { Result } from '../../src/report/result.ts';
import { posed } from '../../src/scan/motion.ts';
import { inverse, moveBy, type Rigid, smallMotion, turnBetween } from '../../src/scan/place.ts';
import { rigidOf } from '../../src/scan/placing.ts';
import { boxMesh, refineMesh, together } from '../oracle/shapes.ts';

const block = (at: Vec3, size: Vec3): Mesh => ({ ...refineMesh(boxMesh(size), 3), origin: at });

/** A tub about 0..240 x 0..200 x 0..160 mm, open above, that is not the same from two sides. */
const tub = together(
  block([120, 100, -8], [280, 240, 16]),
  block([-8, 100, 80], [16, 240, 176]),
  block([248, 100, 80], [16, 240, 176]),
  block([120, -8, 80], [280, 16, 176]),
  block([120, 208, 80], [280, 16, 176]),
  block([40, 30, 20], [60, 30, 40]),
  block([200, 170, 30], [40, 40, 60]),
);
const part = block([130, 90, 100], [120, 90, 70]);
const bracket = block([215, 30, 100], [30, 30, 20]);

function noisy(m: Mesh, seed: number): Mesh {
  const rng = random(seed);
  return { ...m, positions: m.positions.map((v) => v + 0.1 * rng.normal()) };
}

/** Where the scanner stood before the work: a small and a large motion off. */
const NEAR: Rigid = smallMotion([0.06, -0.08, 0.05], [22, -18, 15], [120, 100, 80]);
const FAR: Rigid = smallMotion([1.1, 0.3, -2], [-900, 4000, 120], [0, 0, 0]);

const ply = (m: Mesh): Uint8Array => writePly(m, []);
const text = (s: string): Uint8Array => new TextEncoder().encode(s);
const at = (move: Rigid, p: Vec3): string => `[${moveBy(move, p).join(', ')}]`;

const BEFORE = `voidgauge: 1
clearance: 4
scans: { tub: tub.ply, part: part.ply }
`;
const stock = { tub: noisy(tub, 4), part: noisy(part, 5) };
const HELD: Readonly<Record<string, Uint8Array>> = {
  'tub.ply': ply(noisy(tub, 1)),
  'bracket.ply': ply(bracket),
  'part.ply': ply(part),
  // Each state in a folder of its own, with names of its own.
  'stock/job.yaml': text(BEFORE),
  'stock/tub.ply': ply(stock.tub),
  'stock/part.ply': ply(stock.part),
  'near/job.yaml': text(BEFORE),
  'near/tub.ply': ply(posed(stock.tub, NEAR)),
  'near/part.ply': ply(posed(stock.part, NEAR)),
  'far/job.yaml': text(
    `${BEFORE}datum: { ground: { left: ${at(FAR, [0, 200, 0])}, right: ${at(FAR, [0, 0, 0])}, front: ${at(FAR, [240, 90, 0])} }, origin: ${at(FAR, [0, 0, 0])} }\n`,
  ),
  'far/tub.ply': ply(posed(stock.tub, FAR)),
  'far/part.ply': ply(posed(stock.part, FAR)),
};

const FILES: Files = {
  open: async (name) => {
    if (!(name in HELD)) throw new Error(`no ${name}`);
    return { ...bytesSource(name, HELD[name]), digest: async () => `digest of ${name}` };
  },
};

/** The tub with the part out and a bracket in. */
const jobText = (more: string, scans = ''): string => `voidgauge: 1
step: 5
clearance: 4
scans: { tub: tub.ply, bracket: bracket.ply${scans} }
region: { skin: false, near: false, box: { min: [-5, -5, -5], max: [245, 205, 155] } }
least_radius: 8
tank: false
${more}`;

const run = async (more: string, scans?: string): Promise<Result> =>
  (await measure(parseJob(jobText(more, scans), 'job.yaml'), FILES, inlineContext)).result;

describe('two states of a vehicle', () => {
  it('as two jobs give the reclaimed litres of one job with the removed part, placed or not', async () => {
    const near = '{ near: { scan: part, within: 500 }, skin: false, box: { min: [-5, -5, -5], max: [245, 205, 155] } }';
    const one = (
      await measure(
        parseJob(jobText('', ', part: { file: part.ply, role: removed }').replace(/region: .*/, `region: ${near}`), 'job.yaml'),
        FILES,
        inlineContext,
      )
    ).result;
    const same = await run('before: stock/job.yaml');
    const placed = await run('before: { job: near/job.yaml, place: { onto: tub } }');
    const apart = await run('before: far/job.yaml');
    const want = one.reclaimed!.volume_l;
    expect(want.value).toBeGreaterThan(0.7);
    for (const two of [same, placed, apart]) {
      const got = two.reclaimed!.volume_l;
      expect(got.value).toBeGreaterThan(want.low);
      expect(got.value).toBeLessThan(want.high);
      expect(Math.abs(got.value / want.value - 1)).toBeLessThan(0.03);
      // The void of the part is found without a scan of the part alone.
      expect(two.envelope.start_from).toBe('the void where the removed part was');
      expect(Math.abs(two.envelope.volume_l.value / one.envelope.volume_l.value - 1)).toBeLessThan(0.002);
    }
    expect(same.before?.inputs.map((i) => i.file)).toEqual(['tub.ply', 'part.ply']);
    const found = placed.placings![0];
    expect(found).toMatchObject({ scan: 'before (tub)', by: 'surface', onto: 'tub', doubts: [] });
    expect(turnBetween(rigidOf(found.matrix), inverse(NEAR))).toBeLessThan(0.03);
    expect(found.error_mm).toBeLessThan(0.1);
  });

  it('a state that cannot be placed or read is a fault', async () => {
    const code = (more: string): Promise<string> =>
      run(more).then(
        () => 'none',
        (f: Fault) => f.code,
      );
    expect(await code('before: { job: near/job.yaml, place: { onto: tub }, scan: tubb }')).toBe('before-no-scan');
    expect(await code('before: { job: far/job.yaml, place: { onto: tub, move: [3000, 0, 0] } }')).toBe('place-no-overlap');
    expect(() => parseJob(jobText('before: { job: near/job.yaml, place: { onto: tob } }'), 'job.yaml')).toThrow('not one of the job');
    const job = parseJob(jobText('before: { job: near/job.yaml, place: { onto: tub }, scan: tub }'), 'job.yaml');
    expect(parseJob(JSON.stringify(job), 'job.yaml')).toEqual(job);
  });
});

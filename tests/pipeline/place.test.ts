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
import { placingsText } from '../../src/pipeline/place.ts';
import type { Result } from '../../src/report/result.ts';
import { posed } from '../../src/scan/motion.ts';
import { inverse, moveBy, type Rigid, smallMotion, turnBetween } from '../../src/scan/place.ts';
import { rigidOf } from '../../src/scan/placing.ts';
import { boxMesh, refineMesh, together } from '../oracle/shapes.ts';

const block = (at: Vec3, size: Vec3, rounds = 4): Mesh => {
  const m = refineMesh(boxMesh(size), rounds);
  return { ...m, origin: at };
};

/** A tub of five plates about 0..240 x 0..200 x 0..160 mm with a few ribs, so that it is not the same from two sides. */
const frame = together(
  block([120, 100, -8], [280, 240, 16]),
  block([-8, 100, 80], [16, 240, 176]),
  block([248, 100, 80], [16, 240, 176]),
  block([120, -8, 80], [280, 16, 176]),
  block([120, 208, 80], [280, 16, 176]),
  block([40, 30, 20], [60, 30, 40]),
  block([200, 170, 30], [40, 40, 60]),
);
const part = block([130, 90, 100], [120, 90, 70]);

/** Measuring noise on every corner, mm. */
function noisy(m: Mesh, sigma: number, seed: number): Mesh {
  const rng = random(seed);
  return { ...m, positions: m.positions.map((v) => v + sigma * rng.normal()) };
}

/** The stock state as scanned apart: the frame again with the part in it, somewhere else. */
const APART: Rigid = smallMotion([0.06, -0.08, 0.05], [22, -18, 15], [120, 100, 80]);
const stockThere = posed(together(noisy(frame, 0.1, 2), noisy(part, 0.1, 3)), APART);

const filesOf = (held: Readonly<Record<string, Uint8Array>>): Files => ({
  open: async (name) => ({ ...bytesSource(name, held[name]), digest: async () => `digest of ${name} ${held[name].length}` }),
});

const BASE = {
  'frame.ply': writePly(noisy(frame, 0.1, 1), []),
  'part.ply': writePly(part, []),
  'stock.ply': writePly(stockThere, []),
};

const job = (removed: string): string => `voidgauge: 1
step: 5
clearance: 4
scans:
  frame: frame.ply
  ${removed}
region: { skin: false, near: { scan: removed, within: 200 }, box: { min: [-5, -5, -5], max: [245, 205, 155] } }
start: [130, 90, 100]
least_radius: 8
tank: false
`;

async function run(text: string, held: Readonly<Record<string, Uint8Array>> = BASE): Promise<Result> {
  return (await measure(parseJob(text, 'job.yaml'), filesOf(held), inlineContext)).result;
}

/** Largest distance, mm, between where a placing puts the region's corners and where they belong. */
function cornerError(placing: Rigid): number {
  const back = inverse(APART);
  let most = 0;
  for (const x of [0, 240])
    for (const y of [0, 200])
      for (const z of [0, 160]) {
        const there = moveBy(APART, [x, y, z]);
        const [p, q] = [moveBy(placing, there), moveBy(back, there)];
        most = Math.max(most, Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]));
      }
  return most;
}

/** Eight sticker centres in the frame, in no order and with noise; the last of each list is not in the other. */
function stickers(seed: number, move: Rigid | null, extra: Vec3): string {
  const rng = random(seed);
  const at: Vec3[] = [
    [0, 10, 150],
    [240, 40, 130],
    [30, 200, 140],
    [200, 0, 90],
    [120, 200, 60],
    [0, 160, 40],
    [240, 150, 155],
  ];
  const all = [...at.sort(() => rng.next() - 0.5), extra].map((p) => (move ? moveBy(move, p) : p));
  return `x,y,z\n${all.map((p) => p.map((v) => (v + 0.05 * rng.normal()).toFixed(4)).join(',')).join('\n')}\n`;
}

const text = (s: string): Uint8Array => new TextEncoder().encode(s);

describe('placing', () => {
  it('two states scanned apart give the reclaimed volume of one', async () => {
    const inPlace = await run(job('removed: { file: part.ply, role: removed }'));
    const apart = await run(job('removed: { file: stock.ply, role: removed, place: { onto: frame } }'));
    const [placing] = apart.placings ?? [];
    expect(placing).toMatchObject({ scan: 'removed', by: 'surface', onto: 'frame', doubts: [] });
    const found = rigidOf(placing.matrix);
    expect(turnBetween(found, inverse(APART))).toBeLessThan(0.03);
    expect(cornerError(found)).toBeLessThan(0.08);
    // The error that is expected is of the size of the one that is there.
    expect(placing.error_mm).toBeGreaterThan(0.001);
    expect(placing.error_mm).toBeLessThan(0.1);
    expect(placing.residual_mm?.median).toBeLessThan(0.2);
    expect(placing.overlap_percent).toBeGreaterThan(70);
    const [one, two] = [inPlace.reclaimed!.volume_l, apart.reclaimed!.volume_l];
    expect(two.value).toBeGreaterThan(one.low);
    expect(two.value).toBeLessThan(one.high);
    expect(one.value).toBeGreaterThan(0.7);
  });

  it('by stickers, and again from the file that the run left', async () => {
    const held = {
      ...BASE,
      'own.csv': text(stickers(5, APART, [111, 90, 20])),
      'fixed.csv': text(stickers(6, null, [55, 150, 77])),
    };
    const first = await run(
      job('removed: { file: stock.ply, role: removed, place: { targets: { own: own.csv, fixed: fixed.csv } } }'),
      held,
    );
    const [placing] = first.placings ?? [];
    expect(placing).toMatchObject({ by: 'targets', targets: { matched: 7, own: 8, fixed: 8 } });
    expect(cornerError(rigidOf(placing.matrix))).toBeLessThan(3 * (placing.error_mm ?? 0));
    expect(placing.error_mm).toBeLessThan(0.12);
    const again = await run(job('removed: { file: stock.ply, role: removed, place: { from: placings.json } }'), {
      ...held,
      'placings.json': text(placingsText(first.placings ?? [])),
    });
    expect(again.placings?.[0]).toMatchObject({ by: 'file', error_mm: placing.error_mm });
    expect(again.placings?.[0].matrix).toEqual(placing.matrix);
    expect(again.reclaimed).toEqual(first.reclaimed);
  });

  const refused = async (place: string, held: Readonly<Record<string, Uint8Array>> = BASE): Promise<string> =>
    run(job(`removed: { file: stock.ply, role: removed, place: ${place} }`), held).then(
      () => 'none',
      (f: Fault) => f.code,
    );

  it('refuses what cannot be placed', async () => {
    // A start that is far off the other scan.
    expect(await refused('{ onto: frame, move: [900, 0, 0] }')).toBe('place-no-overlap');
    const old = placingsText([
      {
        scan: 'removed',
        by: 'surface',
        onto: 'frame',
        matrix: [
          [1, 0, 0, 0],
          [0, 1, 0, 0],
          [0, 0, 1, 0],
        ],
        sha256: 'another',
        residual_mm: null,
        error_mm: 0.1,
        doubts: [],
      },
    ]);
    expect(await refused('{ from: placings.json }', { ...BASE, 'placings.json': text(old) })).toBe('placing-stale');
    expect(await refused('{ from: placings.json }', { ...BASE, 'placings.json': text(old.replaceAll('removed', 'other')) })).toBe(
      'placing-missing',
    );
    expect(await refused('{ from: placings.json }', { ...BASE, 'placings.json': text('{}') })).toBe('placings-file');
    const two = text('x,y,z\n0,0,0\n100,0,0\n');
    expect(await refused('{ targets: { own: a.csv, fixed: a.csv } }', { ...BASE, 'a.csv': two })).toBe('place-few-targets');
  });
});

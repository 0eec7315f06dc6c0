import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { joinMeshes, type Mesh, meshBox } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { boxCentre, type Vec3 } from '../../src/core/vec.ts';
import type { ScanFile } from '../../src/io/scan-file.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { cloudPieces } from '../../src/scan/cloud-pieces.ts';
import { leftPiecesNote } from '../../src/scan/pieces.ts';
import { makeScan, type Scan } from '../../src/scan/scan.ts';
import { type Specks, speckNote } from '../../src/scan/specks.ts';
import { surveyScan } from '../../src/scan/survey.ts';
import { boxMesh, moveMesh, refineMesh } from '../oracle/shapes.ts';

const STAY = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
] as const;
const moved = (m: Mesh, by: Vec3): Mesh => moveMesh(m, STAY, by);

/** A block of 768 triangles about [0, 0, 50], a plate of 192 about [0, 0, 405], a bar of 12 about [150, 0, 300] and a crumb of 4 mm. */
const block = moved(refineMesh(boxMesh([100, 100, 100]), 3), [0, 0, 50]);
const plate = moved(refineMesh(boxMesh([200, 100, 10]), 2), [0, 0, 405]);
const bar = moved(boxMesh([20, 20, 600]), [150, 0, 300]);
const crumb = moved(boxMesh([2, 2, 2]), [60, 60, 200]);
const file: ScanFile = {
  format: 'test',
  unit: null,
  parts: [{ name: 'all', mesh: joinMeshes([bar, crumb, block, plate]) }],
  notes: [],
};

async function scan(keys: string, of = file): Promise<{ scan: Scan; specks: Specks[] }> {
  const job = parseJob(`voidgauge: 1\nscans: { part: { file: all.stl, ${keys} } }\n`, 'job.yaml');
  const specks: Specks[] = [];
  return { scan: await makeScan('part', job.scans['part'], of, { unit: 'mm', specks, context: inlineContext }), specks };
}

const faultOf = async (keys: string): Promise<Fault['detail']> => {
  const error = await scan(keys).then(
    () => null,
    (e: unknown) => e,
  );
  if (!(error instanceof Fault)) throw new Error('no fault');
  return error.detail;
};

describe('pieces of a file', () => {
  it('are ranked as the survey lists them, most triangles first, specks not among them', async () => {
    const { scan: whole } = await scan('role: obstacle');
    const { pieces, largest_pieces: list, specks } = surveyScan(whole);
    expect([pieces, specks]).toEqual([3, 1]);
    expect(list.map((p) => [p.piece, p.triangles])).toEqual([
      [1, 768],
      [2, 192],
      [3, 12],
    ]);
    expect(list[2].size_mm.map((v) => Math.round(v))).toEqual([20, 20, 600]);
    expect(list[1].at_mm.map((v) => Math.round(v) + 0)).toEqual([0, 0, 405]);
    for (const p of list) {
      const { scan: one } = await scan(`pieces: ${p.piece}`);
      expect(one.triangles).toBe(p.triangles);
      // And by the point on it that is given.
      expect((await scan(`pieces: [[${p.on_mm.join(', ')}]]`)).scan.box).toEqual(one.box);
    }
  });

  it.each([
    ['2', [plate]],
    ['[3, 1]', [block, bar]],
    // A point on the middle of the bar's face, far from all its corners, and one 8 mm off the block.
    ['[[140, 0, 300], [0, 0, 108]]', [block, bar]],
    ['[1, [0, 49, 410]]', [block, plate]],
    // The middle of the block, 50 mm from its faces.
    ['[[0, 1, 49]]', [block]],
  ])('pieces: %s', async (keys, wanted) => {
    const { scan: got, specks } = await scan(`pieces: ${keys}`);
    expect(got.triangles).toBe(wanted.reduce((n, m) => n + m.indices.length / 3, 0));
    const box = meshBox(joinMeshes(wanted));
    for (let a = 0; a < 3; a++) expect(got.box.max[a]).toBeCloseTo(box.max[a], 3);
    expect(specks).toEqual([]);
  });

  it('points are those of the file, wherever the scan is placed, in mm', async () => {
    const { scan: got } = await scan('units: cm, pieces: [[1400, 0, 3000]], place: { move: [7, 0, 0], turn: [0, 90, 0] }');
    // The bar, ten times as large: z of the file lies along x.
    expect(boxCentre(got.box).map((v) => Math.round(v))).toEqual([3007, 0, -1500]);
  });

  it('one that is not there is refused, with what there is', async () => {
    const rank = await faultOf('pieces: [1, 4]');
    expect(rank).toMatchObject({ code: 'scan-no-piece', got: 'piece 4' });
    expect(rank.expected).toMatch(/^one of 3: 1: 100 x 100 x 100 mm at .*; 2: 200 x 100 x 10 mm at .*; 3: 20 x 20 x 600 mm/);
    const place = await faultOf('pieces: [[0, 0, 150]]');
    expect(place).toMatchObject({ code: 'scan-no-piece', got: '[0, 0, 150]' });
    // A crumb is no piece.
    expect((await faultOf('pieces: [[60, 60, 200]]')).code).toBe('scan-no-piece');
  });

  it.each(['0', '1.5', '[10, 20, 30.5]', '[]', 'largest', '[[1, 2]]'])('pieces: %s is refused where it stands', (keys) => {
    const parse = (): unknown => parseJob(`voidgauge: 1\nscans: { part: { file: a.stl, pieces: ${keys} } }\n`, 'job.yaml');
    expect(parse).toThrow(expect.objectContaining({ detail: expect.objectContaining({ where: expect.stringMatching(/^job\.yaml:2/) }) }));
  });

  it('those that no scan takes are told', async () => {
    const taken = [(await scan('pieces: 1')).scan.chosen, (await scan('pieces: [1, 3]')).scan.chosen].map((c) => c!);
    const [note] = leftPiecesNote('all.stl', taken);
    expect(note.text).toMatch(/^1 of the 3 pieces of all\.stl belongs to no scan of the job: 2: 200 x 100 x 10 mm/);
    expect(leftPiecesNote('all.stl', [...taken, (await scan('pieces: 2')).scan.chosen!])).toEqual([]);
  });
});

/** Points scattered over a square of `side` mm in the plane z, one for each square millimetre times `density`. */
function scattered(side: number, density: number, z: number, seed: number): number[] {
  const rng = random(seed);
  return Array.from({ length: Math.round(side * side * density) }, () => [rng.range(0, side), rng.range(0, side), z]).flat();
}

const cloudFile = (...points: readonly (readonly number[])[]): ScanFile => ({
  format: 'test',
  unit: null,
  parts: [{ name: 'all', cloud: { origin: [5e5, 0, 0], positions: Float32Array.from(points.flat()) } }],
  notes: [],
});

describe('pieces of a cloud', () => {
  it.each([1, 2, 3, 4])('are those of a slow search over all pairs (seed %i)', (seed) => {
    const rng = random(seed);
    const n = 700;
    const p = Float32Array.from({ length: n * 3 }, () => rng.range(-40, 60));
    const link = 8.2;
    const slow = Int32Array.from({ length: n }, (_, i) => i);
    for (let i = 0; i < n; i++)
      for (let j = 0; j < i; j++)
        if (Math.hypot(p[i * 3] - p[j * 3], p[i * 3 + 1] - p[j * 3 + 1], p[i * 3 + 2] - p[j * 3 + 2]) <= link) {
          const [a, b] = [slow[i], slow[j]];
          if (a !== b) for (let k = 0; k <= i; k++) if (slow[k] === Math.max(a, b)) slow[k] = Math.min(a, b);
        }
    const { piece, count } = cloudPieces(p, link);
    expect(count).toBe(new Set(slow).size);
    expect(count).toBeGreaterThan(20);
    for (let i = 0; i < n; i++) expect(slow[piece.indexOf(piece[i])]).toBe(slow[i]);
  });

  it('stray points are left out and listed, by the rule of meshes; a small part and a thinly scanned face stay', async () => {
    const face = scattered(100, 1, 0, 5);
    // Scanned 25 times as thinly, 15 mm away, and a disc of 14 mm as densely as the face.
    const thin = scattered(60, 0.04, 15, 6).map((v, i) => v + (i % 3 === 0 ? 120 : 0));
    const disc = scattered(14, 1, 60, 7);
    const strays = [
      [50, 50, 30],
      [20, 70, 12, 20.5, 70, 12.3, 21, 70.4, 12],
    ];
    const { scan: got, specks } = await scan('clearance: 3', cloudFile(face, thin, disc, ...strays));
    expect(got.points).toBe(10_000 + 144 + 196 + 4);
    expect(specks).toHaveLength(1);
    expect(specks[0].list.map((s) => s.points)).toEqual([3, 1]);
    expect(specks[0].list[0].across).toBeCloseTo(Math.hypot(1, 0.4, 0.3), 4);
    expect(specks[0].list[1].at).toEqual([500_050, 50, 30]);
    expect(speckNote(specks)[0].text).toContain('2 loose specks were left out (part 2)');
    const found = surveyScan(got);
    expect(found.specks).toBe(2);
    expect(found.largest_pieces.map((p) => p.points)).toEqual([10_000, 196, 144]);
    expect(found.largest_pieces[1].at_mm[2]).toBeCloseTo(60, 4);
    // One of its pieces alone.
    const { scan: one } = await scan('pieces: [[500007, 7, 60]]', cloudFile(face, thin, disc, ...strays));
    expect([one.points, one.specks]).toEqual([196, []]);
  });

  it('a handful of points is kept as it is', async () => {
    const { scan: got, specks } = await scan('clearance: 3', cloudFile([0, 0, 0], [50, 0, 0], [0, 400, 0]));
    expect([got.points, specks.length]).toEqual([3, 0]);
  });
});

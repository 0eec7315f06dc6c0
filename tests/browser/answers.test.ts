import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { PNG } from 'pngjs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Mesh, meshBox, meshVolume } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { arrowMesh, ballMesh, boxMesh, rodMesh, together } from '../../viewer/solids.ts';
import { CENTRE, ellipsoid, HALF, RESULT, sceneGlb, shapes, writeFolder } from './folder.ts';
import { type Bench, drawingOf, openBench, settled } from './page.ts';

/** Area of the 24-sided polygon in a circle of radius 1, by which rods are drawn. */
const POLYGON = 12 * Math.sin(Math.PI / 12);

/** Every edge of a closed, oriented mesh is used once each way. */
function openEdges({ indices: t }: Mesh): number {
  const seen = new Map<string, number>();
  for (let i = 0; i < t.length; i += 3)
    for (let k = 0; k < 3; k++) {
      const [a, b] = [t[i + k], t[i + ((k + 1) % 3)]];
      const key = a < b ? `${a},${b}` : `${b},${a}`;
      seen.set(key, (seen.get(key) ?? 0) + (a < b ? 1 : -1));
    }
  return [...seen.values()].filter((v) => v !== 0).length;
}

describe('solids of the drawing', () => {
  const left: readonly [Vec3, Vec3, Vec3] = [
    [0, 1, 0],
    [1, 0, 0],
    [0, 0, 1],
  ];
  test.each([
    ['box', boxMesh([5, -3, 900], [200, 100, 50]), 1e6],
    ['box in a left-handed frame', boxMesh([5, -3, 900], [200, 100, 50], left), 1e6],
    ['rod', rodMesh([[0, 0, 0], [300, 0, 0]], 20), POLYGON * 400 * 300], // biome-ignore format: one a line
    // A mitred rod holds as much as a straight one of its centre line's length, a doubled corner changes nothing.
    ['bent rod', rodMesh([[0, 0, 0], [200, 0, 0], [200, 0, 0], [400, 0, 40]], 5), POLYGON * 25 * (200 + Math.hypot(200, 40))], // biome-ignore format: one a line
    ['ball', ballMesh([1, 2, 3], 100), (4 / 3) * Math.PI * 1e6],
    // Shaft and head: a third of the length, three times as wide.
    ['arrow', arrowMesh([0, 0, 90], [0, 0, 0], 5), POLYGON * (25 * 60 + (225 * 30) / 3)],
  ])('%s: closed, outside out, as large as its formula says', (name, mesh, volume) => {
    expect(openEdges(mesh)).toBe(0);
    expect(Math.abs(meshVolume(mesh) / volume - 1)).toBeLessThan(name === 'ball' ? 0.04 : name === 'bent rod' ? 0.02 : 1e-5);
    expect(meshVolume(together([mesh, mesh]))).toBeCloseTo(2 * meshVolume(mesh), -1);
  });

  test('a box lies where it should', () => {
    expect(meshBox(boxMesh([5, -3, 900], [200, 100, 50]))).toEqual({ min: [-95, -53, 875], max: [105, 47, 925] });
  });
});

const up: Vec3 = [0, 0, 1];
/** A round rim of 40 mm across. */
const RIM = Array.from(
  { length: 36 },
  (_, i): Vec3 => [20 + 20 * Math.cos((i * Math.PI) / 18), 150, 620 + 20 * Math.sin((i * Math.PI) / 18)],
);
const ANSWERS = {
  holes: [{ scan: 'frame', at_mm: [20, 150, 620], length_mm: 126, loop: RIM }],
  closest: [{ scan: 'engine & box', at_mm: [40, 0, 540], to_mm: [40, 0, 584.9], gap_mm: 44.9, asked_mm: 15 }],
  ways_in: [{ direction: up, volume_l: { value: 9, low: 8.9, high: 9.1 }, kept_percent: 90, blockers: [], without: [] }],
  ways_search: {
    clearance_mm: 3,
    step_mm: 8,
    off: [],
    map: [up, [1, 0, 0], [0, 1, 0]].map((direction) => ({ direction, kept_percent: 50 })),
    two_step: { first_along: [1, 0, 0], length_mm: 100, then_along: up, volume_l: { value: 9.5, low: 9.4, high: 9.6 }, kept_percent: 95 },
  },
  tubes: [
    {
      scan: 'frame',
      diameter_mm: 30,
      axis: [
        [-400, 0, 700],
        [0, 0, 700],
        [400, 0, 700],
      ],
      bends: [],
      nearest_sizes: [],
      bores: [
        {
          bore_mm: 38,
          from_mm: [-170, 0, 700],
          to_mm: [170, 0, 700],
          length_mm: 340,
          enclosed: true,
          open_deg: 0,
          cost_l: 0.39,
          web_mm: null,
        },
      ],
    },
  ],
  routes: [
    { name: 'vent hose', ok: true, why: null, diameter_mm: 10, length_mm: 400, least_gap_mm: 6, line: [[-200, 250, 700], [200, 250, 700]] }, // biome-ignore format: one a line
    { name: 'no way', ok: false, why: 'too narrow', diameter_mm: 40, length_mm: 0, least_gap_mm: null, line: [] },
  ],
  stowage: {
    lining_mm: 3,
    largest: {
      ball: { radius_mm: 100, centre_mm: CENTRE, volume_l: 4.19, radius_bound_mm: 101 },
      cylinder: null,
      box: null,
      box_turned: null,
    },
    blocks_l: 1,
    blocks_bound_l: 2,
    blocks: [{ at_mm: [-100, -50, 675], size_mm: [200, 100, 50] }],
    items: [{ name: 'bottle', asked: 1, fits: 1, places: [{ at_mm: [-110, -37, 660], size_mm: [220, 75, 75], axis: 0 }] }],
    notes: [],
  },
};

/** Pixels that are not paper; the drawing's border is left out. */
function inkedOf({ data, width, height }: PNG): number {
  const corner = 4 * (20 * width + 20);
  const paper = data.subarray(corner, corner + 3);
  let inked = 0;
  for (let y = 10; y < height - 10; y++)
    for (let x = 10; x < width - 10; x++) if ([0, 1, 2].some((c) => Math.abs(data[4 * (y * width + x) + c] - paper[c]) > 8)) inked++;
  return inked;
}

describe('answers on the drawing', () => {
  let bench: Bench;
  beforeAll(async () => {
    bench = await openBench(async (folder) => {
      await writeFolder(folder);
      const [min, max] = [-1, 1].map((s) => CENTRE.map((c, a) => c + s * HALF[a]));
      const result = { ...RESULT, ...ANSWERS, envelope: { ...RESULT.envelope, box_mm: { min, max } } };
      await writeFile(join(folder, 'result.json'), JSON.stringify(result));
      const swept = { shape: ellipsoid([-200, 0, 500], [60, 60, 60]), extras: { kind: 'scan' } };
      await writeFile(join(folder, 'scene.glb'), await sceneGlb({ ...shapes(), 'swept-fork': swept }));
    });
  });
  afterAll(() => bench?.close());

  test('tubes, bores, hoses, what is stowed and the ways in stand in the list; a hose that has no way does not', async () => {
    const page = await bench.open();
    const names = await page.locator('[data-thing]').evaluateAll((all) => all.map((e) => e.getAttribute('data-thing')));
    const wanted = [
      ...['tubes as fitted', 'bores', 'hose: vent hose', 'largest ball', 'litre blocks', 'stowed: bottle'],
      ...['holes in frame', 'nearest places', 'swept-fork'],
      ...['way in 1: keeps 90 %', 'way in by two steps: keeps 95 %', 'ways in: share kept, all round'],
    ];
    expect(names).toEqual(expect.arrayContaining(wanted));
    expect(names).not.toContain('hose: no way');
    // A sweep is a kind of its own, faded at first and named after its part.
    const swept = page.locator('[data-thing="swept-fork"]');
    expect(await swept.locator('legend').textContent()).toBe('fork in motion');
    expect(await swept.locator('input[value="faint"]').isChecked()).toBe(true);
    const places = (await page.locator('#places').textContent()) ?? '';
    expect(places).toMatch(/Nearest to engine & box: 44\.9 mm, 15 asked/);
    expect(places).toMatch(/Hole in frame, 126 mm round: scan again/);
    expect(bench.troubles).toEqual([]);
    await page.close();
  });

  test('alone, a tube and its bore are seen from the side as long and as wide as the result says', async () => {
    const page = await bench.open(
      '#hidden=envelope,frame,engine%20%26%20box,hose%3A%20vent%20hose,swept-fork&shown=tubes%20as%20fitted,bores&eye=90,0,1000,0,0,700',
    );
    const picture = await drawingOf(page);
    await settled(page);
    const scale = Math.min(picture.width, picture.height) / 1000;
    const inked = inkedOf(picture);
    // The tube's 800 x 30 mm and the sleeve's 340 x 38 over it.
    const expected = (800 * 30 + 340 * 8) * scale * scale;
    expect(Math.abs(inked / expected - 1), `${inked} of ${expected}`).toBeLessThan(0.08);
    await page.close();
  });

  test('the rim of a hole is drawn as the circle that it is', async () => {
    const others = ['envelope', 'frame', 'engine%20%26%20box', 'hose%3A%20vent%20hose', 'swept-fork'].join(',');
    const page = await bench.open(`#hidden=${others}&shown=holes%20in%20frame&eye=90,0,100,20,150,620`);
    const picture = await drawingOf(page);
    const scale = Math.min(picture.width, picture.height) / 100;
    const inked = inkedOf(picture);
    // A circle's line, 3 mm wide.
    expect(Math.abs(inked / (Math.PI * 40 * 3 * scale * scale) - 1)).toBeLessThan(0.12);
    await page.close();
  });

  test('every answer is faded, hidden and shown alone like the other things', async () => {
    const page = await bench.open();
    const line = page.locator('[data-thing="litre blocks"]');
    await line.locator('input[value="shown"]').check();
    await page.getByRole('button', { name: 'litre blocks alone' }).click();
    await settled(page);
    expect(await page.locator('[data-thing] input[value="shown"]:checked').count()).toBe(1);
    expect(await line.locator('input[value="shown"]').isChecked()).toBe(true);
    await page.close();
  });
});

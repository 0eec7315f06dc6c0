import { describe, expect, expectTypeOf, test } from 'vitest';
import { meshVolume } from '../../src/core/mesh.ts';
import { RADIANS_PER_DEGREE } from '../../src/core/units.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { packCoarse, readCoarse } from '../../src/report/coarse.ts';
import type { Result } from '../../src/report/result.ts';
import { changesOf, jobLines, readDials, writeDials } from '../../viewer/dial-state.ts';
import { type Dials, Quick, type QuickResult } from '../../viewer/quick.ts';
import type { ResultFile } from '../../viewer/result.ts';
import { roughGeometry } from '../../viewer/rough.ts';
import { slackAt } from '../../viewer/slack-at.ts';
import { BOX, boxCoarse, roundedBox } from './box-folder.ts';
import { ellipsoid } from './folder.ts';

const FIRST: Dials = { clearance: 0, clearances: {}, radius: BOX.radius, wall: BOX.wall, ullage: BOX.ullage, pitch: 0, lean: 0, fill: 1 };
const { header, fields } = boxCoarse();
const coarse = readCoarse(header, packCoarse(fields, header.grid, header.quantum).buffer as ArrayBuffer);

async function turn(quick: Quick, d: Dials): Promise<QuickResult> {
  let last: QuickResult | undefined;
  for await (const r of quick.turn(d, inlineContext)) last = r;
  if (!last) throw new Error('the turn gave nothing');
  return last;
}

describe('quick figures against closed forms (Steiner formula of the rounded box)', () => {
  const quick = new Quick(coarse, { accuracy: BOX.accuracy });

  test.each([
    ['as measured', {}],
    ['clearance 17 mm more', { clearance: 17 }],
    ['clearance 25 mm less than would matter', { clearances: { lid: 15 } }],
    ['least radius 25', { radius: 25 }],
    ['wall 7', { wall: 7 }],
    ['ullage 12 %', { ullage: 0.12 }],
  ])('%s', async (_name, change) => {
    const d: Dials = { ...FIRST, ...change };
    const { envelope_l, tank, meshes } = await turn(quick, d);
    const lid = (d.clearances.lid ?? BOX.lid) + d.clearance;
    const size = [BOX.size[0], BOX.size[1], BOX.size[2] - Math.max(0, lid - BOX.lid)];
    const outer = roundedBox(size, d.radius);
    const brim = roundedBox(size, d.radius, d.wall);
    // 0.2 % is what is asked of the fine run at 2 mm; second order in the cell allows four times that at 4 mm.
    expect(Math.abs((envelope_l?.value ?? 0) / outer - 1)).toBeLessThan(0.004);
    expect(Math.abs((tank?.brim_l.value ?? 0) / brim - 1)).toBeLessThan(0.004);
    for (const [b, want] of [
      [envelope_l, outer],
      [tank?.brim_l, brim],
      [tank?.rated_l, brim * (1 - d.ullage)],
    ] as const) {
      expect(b?.low).toBeLessThan(want);
      expect(b?.high).toBeGreaterThan(want);
      expect((b?.high ?? 9) - (b?.low ?? 0)).toBeLessThan(0.1 * want);
    }
    expect(Math.abs(meshVolume(meshes.envelope) / 1e6 / outer - 1)).toBeLessThan(0.006);
    expect(tank?.dip?.at(-1)?.volume_l).toBeCloseTo(tank?.brim_l.value ?? 0, 6);
  });

  test('liquid: half the rated fill is that volume as a mesh, upright and leaned', async () => {
    for (const lean of [0, 20]) {
      const { tank, meshes } = await turn(quick, { ...FIRST, fill: 0.5, lean });
      expect(Math.abs(meshVolume(meshes.liquid) / 1e6 / (0.5 * (tank?.rated_l.value ?? 0)) - 1)).toBeLessThan(0.02);
    }
  });

  test('attitude: fuel stranded in the box nose up and nose down together, for a pickup anywhere between middle and end', async () => {
    const pitch = 15;
    const nose = await turn(quick, { ...FIRST, pitch });
    const tail = await turn(quick, { ...FIRST, pitch: -pitch });
    // Pickup in the middle: L^2 W tan(t)/8 stays behind either way; at an end: nothing and four times that. Sharp corners; the
    // cavity's are rounded by 6 mm and it is 8 mm smaller than the box.
    const [L, W] = [BOX.size[0] - 8, BOX.size[1] - 8];
    const middle = (L * L * W * Math.tan(pitch * RADIANS_PER_DEGREE)) / 8 / 1e6;
    for (const held of ['stranded_l', 'trapped_l'] as const) {
      const both = (nose.tank?.[held] ?? 0) + (tail.tank?.[held] ?? 0);
      expect(both, held).toBeGreaterThan(0.93 * 2 * middle);
      expect(both, held).toBeLessThan(1.05 * 4 * middle);
    }
    expect(nose.tank?.usable_l?.value).toBeCloseTo((nose.tank?.rated_l.value ?? 0) - (nose.tank?.stranded_l ?? 0), 9);
    // Outlets given at the ends that tip up or down: nothing stays behind but what the rounding keeps.
    const [x, y, z] = BOX.centre;
    const ends = { vents: [[x + L / 2 - 6, y, z + 96]], pickups: [[x - L / 2 + 6, y, z - 96]] } as const;
    const better = await turn(new Quick(coarse, { accuracy: BOX.accuracy, ...ends }), { ...FIRST, pitch });
    expect(better.tank?.stranded_l).toBeLessThan(0.06 * middle);
    expect(better.tank?.trapped_l).toBeLessThan(0.06 * middle);
  });

  test('no room: says the largest ball, and comes back when the dial does', async () => {
    const none = await turn(quick, { ...FIRST, clearance: 185 });
    expect(none.envelope_l).toBeUndefined();
    expect(Math.abs((none.none ?? 99) - 7.5)).toBeLessThanOrEqual(4);
    expect((await turn(quick, FIRST)).envelope_l?.value).toBeGreaterThan(20);
  });
});

test('foam takes its share of the brim and holds back its share of the fill; a second wall is reckoned in', async () => {
  const plain = await turn(new Quick(coarse, { accuracy: BOX.accuracy }), { ...FIRST, wall: 9 });
  const foam = await turn(new Quick(coarse, { accuracy: BOX.accuracy, foam: { takes: 0.03, holds: 0.02 }, behind: 5 }), FIRST);
  expect(foam.tank?.brim_l.value).toBeCloseTo(0.97 * (plain.tank?.brim_l.value ?? 0), 6);
  expect(foam.tank?.stranded_l).toBeCloseTo(0.97 * (plain.tank?.stranded_l ?? 0) + 0.02 * (foam.tank?.rated_l.value ?? 0), 6);
});

test('the page reads the result that the program writes', () => {
  expectTypeOf<Result>().toExtend<ResultFile>();
});

test('turned dials as an order for the fine run and as lines of a job file; a mate keeps its place', () => {
  const mate = { name: 'peg', clearance: 0, off: 0, mates: true } as const;
  const two = { ...header, obstacles: [...header.obstacles, mate] };
  const changes = changesOf({ ...FIRST, clearance: 2, wall: 5, ullage: 0.08, radius: 12, pitch: 3 }, FIRST, two);
  expect(changes).toEqual({ least_radius: 12, wall: 5, ullage: 0.08, clearances: { lid: 42 } });
  expect(jobLines(changes ?? {})).toEqual(['least_radius: 12', 'tank: { wall: 5, ullage: 8 % }', 'scans:', '  lid: { clearance: 42 }']);
  expect(changesOf({ ...FIRST, pitch: 3, fill: 0.5 }, FIRST, two)).toBeUndefined();
});

test('slack at a point, and what sets it', () => {
  const at = slackAt(coarse, [BOX.centre[0], BOX.centre[1], BOX.centre[2] + 50]);
  expect(at.by).toBe('lid');
  expect(Math.abs((at.slack ?? 0) - 50)).toBeLessThan(0.05);
});

test('outside the fields no slack is claimed', () => {
  expect(slackAt(coarse, [9000, 0, 0])).toEqual({});
});

test('fields come back as they were packed, to half a unit; those of a slope take next to nothing', () => {
  const random = Float32Array.from({ length: 7 * 5 * 3 }, (_, i) => 40 * Math.sin(i * i) - 3000 * Number(i % 11 === 0));
  const grid = { origin: [0, 0, 0], step: 1, nx: 7, ny: 5, nz: 3 } as const;
  const box = { ...header, grid, obstacles: [] };
  const back = readCoarse(box, packCoarse([random], grid, header.quantum).buffer as ArrayBuffer).fields[0];
  // Held at 32767 units.
  const held = random.map((v) => Math.max(-32767, Math.min(32767, v / header.quantum)) * header.quantum);
  expect(Math.max(...back.map((v, i) => Math.abs(v - held[i])))).toBeLessThanOrEqual(header.quantum / 2);
  const slope = Float32Array.from({ length: 7 * 5 * 3 }, (_, i) => 2 * (i % 7) + 3 * (Math.floor(i / 7) % 5) - Math.floor(i / 35));
  expect(packCoarse([slope], grid, header.quantum).filter((b) => b !== 0).length).toBeLessThan(2 * (7 + 5 + 3));
});

test('fields that do not fit their header are refused', () => {
  expect(() => readCoarse(header, new ArrayBuffer(12))).toThrow(/holds 12 bytes; its header asks for/);
});

test('dials in an address and back', () => {
  const d: Dials = { ...FIRST, wall: 5.5, clearances: { 'seat, base & co': 7 }, pitch: -12 };
  expect(readDials(writeDials(d, FIRST), FIRST)).toEqual(d);
  expect(writeDials(FIRST, FIRST)).toBe('');
});

test('a rough surface has fewer faces, lies near the whole one and is as closed', () => {
  const { positions, indices } = ellipsoid([5, -3, 8], [90, 60, 40], 60);
  const g = roughGeometry({ origin: [0, 0, 0], positions: new Float32Array(positions), indices: new Uint32Array(indices) }, 12);
  const faces = g.index?.array ?? [];
  expect(faces.length).toBeLessThan(indices.length / 4);
  const edges = new Map<string, number>();
  for (let t = 0; t < faces.length; t++) {
    const [a, b] = [faces[t], faces[t % 3 === 2 ? t - 2 : t + 1]];
    const key = a < b ? `${a} ${b}` : `${b} ${a}`;
    edges.set(key, (edges.get(key) ?? 0) + (a < b ? 1 : -1));
  }
  expect([...edges.values()].filter((n) => n !== 0)).toEqual([]);
  const mesh = {
    origin: [0, 0, 0] as const,
    positions: new Float32Array(g.getAttribute('position').array),
    indices: Uint32Array.from(faces),
  };
  expect(Math.abs(meshVolume(mesh) / ((4 / 3) * Math.PI * 90 * 60 * 40) - 1)).toBeLessThan(0.05);
});

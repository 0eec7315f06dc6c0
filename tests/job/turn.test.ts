import { Euler, MathUtils, Matrix4, Vector3 } from 'three';
import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { parseJob } from '../../src/job/job.ts';
import type { Placing } from '../../src/job/schema-place.ts';
import { outlineFrame, turnRows } from '../../src/job/turn.ts';
import { isGiven } from '../../src/scan/scan.ts';

/** three's rotation about fixed x, then y, then z: its Euler order "ZYX" counts from the left. */
const oracle = (turn: Vec3): Matrix4 =>
  new Matrix4().makeRotationFromEuler(
    new Euler(MathUtils.degToRad(turn[0]), MathUtils.degToRad(turn[1]), MathUtils.degToRad(turn[2]), 'ZYX'),
  );

const placeOf = (place: unknown): Placing => {
  const found = parseJob(JSON.stringify({ voidgauge: 1, scans: { a: { file: 'a.stl', place } } }), 'q.yaml').scans['a'].place;
  if (!found || !isGiven(found)) throw new Error('not a placing');
  return [[...found[0]], [...found[1]], [...found[2]]];
};

describe('turns', () => {
  for (const seed of [1, 2, 3])
    it(`agree with three's rotations, seed ${seed}`, () => {
      const r = random(seed);
      for (let n = 0; n < 50; n++) {
        const turn: Vec3 = [r.range(-180, 180), r.range(-180, 180), r.range(-180, 180)];
        const p: Vec3 = [r.normal(), r.normal(), r.normal()];
        const rows = turnRows(turn);
        const got = rows.map((row) => row[0] * p[0] + row[1] * p[1] + row[2] * p[2]);
        const want = new Vector3(...p).applyMatrix4(oracle(turn)).toArray();
        for (let a = 0; a < 3; a++) expect(got[a]).toBeCloseTo(want[a], 12);
      }
    });
});

describe('place', () => {
  it('turns first, then shifts', () => {
    const place = placeOf({ move: [10, 0, 0], turn: [0, 0, 90] });
    expect(place.map((row) => row.map((v) => Math.round(v * 1e9) / 1e9 + 0))).toEqual([
      [0, -1, 0, 10],
      [1, 0, 0, 0],
      [0, 0, 1, 0],
    ]);
  });

  it('sets typed digits right: the nearest rotation', () => {
    const exact = oracle([20, -35, 70]).elements;
    const typed = [0, 1, 2].map((i) => [0, 1, 2, 3].map((j) => (j < 3 ? Number(exact[j * 4 + i].toFixed(4)) : 5)));
    const place = placeOf(typed);
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) {
        expect(place[i][j]).toBeCloseTo(exact[j * 4 + i], 3.5);
        const product = place[i][0] * place[j][0] + place[i][1] * place[j][1] + place[i][2] * place[j][2];
        expect(product).toBeCloseTo(i === j ? 1 : 0, 13);
      }
  });

  it.each([
    [
      'a mirror',
      [
        [1, 0, 0, 0],
        [0, 1, 0, 0],
        [0, 0, -1, 0],
      ],
      'mirroring',
    ],
    [
      'a scale',
      [
        [2, 0, 0, 0],
        [0, 2, 0, 0],
        [0, 0, 2, 0],
      ],
      'pure rotation',
    ],
    [
      'a matrix by columns',
      [
        [1, 0, 0, 0],
        [0, 1, 0, 0],
        [0, 0, 1, 0],
        [5, 6, 7, 1],
      ],
      'last row',
    ],
    [
      'two rows',
      [
        [1, 0, 0, 0],
        [0, 1, 0, 0],
      ],
      'three or four rows',
    ],
  ])('refuses %s', (_, matrix, expected) => {
    expect(() => placeOf(matrix)).toThrow(Fault);
    try {
      placeOf(matrix);
    } catch (error) {
      expect((error as Fault).detail.expected).toContain(expected);
    }
  });
});

describe('the frame of an outline', () => {
  it.each<[string, Vec3, Vec3, Vec3]>([
    ['x', [1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ['y', [0, 1, 0], [1, 0, 0], [0, 0, 1]],
    ['z', [0, 0, 1], [1, 0, 0], [0, 1, 0]],
  ])('across %s takes the other two coordinates', (_, normal, u, v) => {
    const frame = outlineFrame(normal);
    expect(frame.u.map((c) => c + 0)).toEqual(u);
    expect(frame.v.map((c) => c + 0)).toEqual(v);
  });

  it('is square, horizontal and upward for any direction, seed 4', () => {
    const r = random(4);
    for (let n = 0; n < 100; n++) {
      const normal = r.direction();
      const { u, v } = outlineFrame(normal);
      const [a, b, c] = [new Vector3(...normal), new Vector3(...u), new Vector3(...v)];
      expect(Math.abs(a.dot(b)) + Math.abs(a.dot(c)) + Math.abs(b.dot(c))).toBeLessThan(1e-12);
      expect(c.length()).toBeCloseTo(1, 12);
      expect(u[2]).toBe(0);
      expect(v[2]).toBeGreaterThan(0);
    }
  });
});

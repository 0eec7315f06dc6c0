import { describe, expect, it } from 'vitest';
import { meshArea } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { add, distance, dot, scale, type Vec3 } from '../../src/core/vec.ts';
import { closedness } from '../../src/field/closed.ts';
import { exitsOf } from '../../src/fit/exits.ts';
import { backFrom, gradientOf, type Pose, posed, rowsOf } from '../../src/fit/pose.ts';
import { refineFaces } from '../../src/fit/refine.ts';
import { ballMesh, boxMesh } from '../oracle/shapes.ts';

const moved = (p: Vec3, pose: Pose, centre: Vec3): Vec3 => {
  const rows = rowsOf(pose, centre);
  return [0, 1, 2].map((a) => rows[a][0] * p[0] + rows[a][1] * p[1] + rows[a][2] * p[2] + rows[a][3]) as [number, number, number];
};

describe('poses', () => {
  it('a quarter turn about z, then a shift', () => {
    const pose: Pose = { shift: [1, 2, 3], turn: [0, 0, Math.PI / 2] };
    // (11, 20, 30) lies 1 in front of the centre; turned it lies 1 to its left.
    moved([11, 20, 30], pose, [10, 20, 30]).forEach((v, a) => {
      expect(v).toBeCloseTo([11, 23, 33][a], 12);
    });
  });

  it('are rigid, go back, and move meshes as they move points, seeds 1 to 20', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const r = random(seed);
      const centre: Vec3 = [r.range(-500, 500), r.range(-500, 500), r.range(-500, 500)];
      const pose: Pose = { shift: scale(r.direction(), 5), turn: scale(r.direction(), r.range(0, 1.5)) };
      const [p, q]: Vec3[] = [add(centre, scale(r.direction(), 100)), add(centre, scale(r.direction(), 50))];
      expect(distance(moved(p, pose, centre), moved(q, pose, centre))).toBeCloseTo(distance(p, q), 9);
      expect(distance(backFrom(moved(p, pose, centre), pose, centre), p)).toBeLessThan(1e-9);
      const mesh = { ...boxMesh([40, 30, 20]), origin: centre };
      const after = posed(mesh, pose, centre);
      const corner: Vec3 = [centre[0] + mesh.positions[0], centre[1] + mesh.positions[1], centre[2] + mesh.positions[2]];
      const at: Vec3 = [after.origin[0] + after.positions[0], after.origin[1] + after.positions[1], after.origin[2] + after.positions[2]];
      expect(distance(at, moved(corner, pose, centre))).toBeLessThan(1e-5);
    }
  });

  it('the gradient of a slack is what a small move changes, also when already turned, seeds 1 to 20', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const r = random(seed);
      const centre: Vec3 = [3, -2, 5];
      const pose: Pose = { shift: scale(r.direction(), 3), turn: scale(r.direction(), 0.05) };
      const rest = add(centre, scale(r.direction(), 100));
      const normal = r.direction();
      const gradient = gradientOf(moved(rest, pose, centre), normal, pose, centre);
      for (let j = 0; j < 6; j++) {
        const h = 1e-5;
        const by = (s: number): Pose => ({
          shift: pose.shift.map((v, a) => v + (a === j ? s : 0)) as [number, number, number],
          turn: pose.turn.map((v, a) => v + (a + 3 === j ? s : 0)) as [number, number, number],
        });
        const change = dot(add(moved(rest, by(h), centre), scale(moved(rest, by(-h), centre), -1)), normal) / (2 * h);
        // Second order in the turn that is already there: 0.05^2 of an arm of 100 mm.
        expect(Math.abs(gradient[j] - change)).toBeLessThan(j < 3 ? 1e-6 : 0.1);
      }
    }
  });
});

describe('faces cut small', () => {
  it('keep their area and hang together, with no long edge left', () => {
    for (const mesh of [boxMesh([50, 30, 7]), ballMesh(20, 6)]) {
      const { mesh: fine, parent } = refineFaces(mesh, 4);
      expect(Math.abs(meshArea(fine) / meshArea(mesh) - 1)).toBeLessThan(1e-6);
      const p = fine.positions;
      for (let t = 0; t < fine.indices.length; t++) {
        const [a, b] = [3 * fine.indices[t], 3 * fine.indices[t % 3 === 2 ? t - 2 : t + 1]];
        expect(Math.hypot(p[a] - p[b], p[a + 1] - p[b + 1], p[a + 2] - p[b + 2])).toBeLessThan(4.0001);
      }
      expect(parent.length).toBe(fine.indices.length / 3);
    }
    // A closed box stays closed: both sides of every edge are cut at the same places.
    expect(closedness(refineFaces(boxMesh([50, 30, 7]), 4).mesh).badEdges).toBe(0);
  });
});

describe('the way out of a body', () => {
  it('is one for all places that hang together, through the face nearest to the deepest', () => {
    // A slab's top at z = 4 and its side at x = 10: places on z = 0.
    const deep = Array.from({ length: 20 }, (_, i) => {
      const x = 0.25 + i / 2;
      const aside = 10 - x;
      return aside < 4
        ? { depth: aside, at: [x, 0, 0] as const, onBody: [10, 0, 0] as const }
        : { depth: 4, at: [x, 0, 0] as const, onBody: [x, 0, 4] as const };
    });
    const exits = exitsOf(deep, 3);
    expect(exits.length).toBe(20);
    for (const e of exits) {
      expect(e.normal).toEqual([0, 0, -1]);
      expect(e.depth).toBeCloseTo(4, 12);
    }
    // Far apart, each finds its own.
    const two = exitsOf([deep[0], { depth: 2, at: [100, 0, 0], onBody: [102, 0, 0] }], 3);
    expect(two.map((e) => e.normal)).toEqual([
      [0, 0, -1],
      [-1, 0, 0],
    ]);
  });
});

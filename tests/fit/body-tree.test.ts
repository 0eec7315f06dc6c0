import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { type Random, random } from '../../src/core/random.ts';
import { add, scale, type Vec3 } from '../../src/core/vec.ts';
import { surface } from '../../src/field/surface.ts';
import { closestOnTriangle } from '../../src/field/triangle.ts';
import { BodyTree, type Neighbour } from '../../src/fit/body-tree.ts';
import { type Pose, posed } from '../../src/fit/pose.ts';
import { turnedOn } from '../../src/fit/rigid-move.ts';
import { ball, box, either } from '../oracle/solids.ts';

const CENTRE: Vec3 = [1, -2, 3];
const OFF = 1.5;
/** A ball with a bar through it. */
const BODY = surface(fieldOf(gridOver({ min: [-42, -22, -22], max: [42, 22, 22] }, 4), either(ball(18), box([76, 10, 10]))), 0);

/** Least distance of a triangle to some points, by looking at each. */
function toPoints(points: readonly Vec3[], corners: Float64Array): { d: number; foot: Vec3 } {
  const flat = Float32Array.from(corners);
  const foot = new Float64Array(4);
  let best = { d: Infinity, foot: [0, 0, 0] as Vec3 };
  for (const p of points) {
    closestOnTriangle(flat, 0, Float64Array.from(p), foot);
    const d = Math.sqrt(foot[3]);
    if (d < best.d) best = { d, foot: [foot[0], foot[1], foot[2]] };
  }
  return best;
}

/** Points all round, and how often they were asked. */
function neighbours(r: Random): { near: Neighbour; points: Vec3[]; asked: () => number } {
  const points = Array.from({ length: 60 }, (): Vec3 => add(scale(r.direction(), r.range(24, 60)), CENTRE));
  let asked = 0;
  let last: Vec3 = [0, 0, 0];
  return {
    points,
    asked: () => asked,
    near: {
      origin: [0, 0, 0],
      off: OFF,
      distance: (corners, limit) => {
        asked++;
        const { d, foot } = toPoints(points, corners);
        if (d >= limit) return limit;
        last = foot;
        return d;
      },
      nearest: () => ({ body: last, own: last }),
      nameAt: () => 'points',
    },
  };
}

/** The same by every face in its pose. */
function slow(pose: Pose, points: readonly Vec3[]): number {
  const { origin, positions, indices } = posed(BODY, pose, CENTRE);
  let least = Infinity;
  const corners = new Float64Array(9);
  for (let f = 0; f < indices.length; f += 3) {
    for (let c = 0; c < 9; c++) corners[c] = positions[3 * indices[f + Math.floor(c / 3)] + (c % 3)] + origin[c % 3];
    least = Math.min(least, toPoints(points, corners).d);
  }
  return least - OFF;
}

describe('the gap of a body in pose after pose', () => {
  for (let seed = 1; seed <= 3; seed++)
    it(`is that of every face against every point, on small moves and on far ones, seed ${seed}`, () => {
      const r = random(seed);
      const { near, points } = neighbours(r);
      const tree = new BodyTree(BODY, CENTRE);
      let pose: Pose = { shift: [0, 0, 0], turn: [0, 0, 0] };
      for (let n = 0; n < 14; n++) {
        const size = n % 4 === 3 ? 12 : 0.5;
        const d = r.direction();
        pose = {
          shift: add(pose.shift, [d[0] * size, d[1] * size, d[2] * size]),
          turn: turnedOn(pose.turn, [d[2] * size * 0.02, d[0] * size * 0.02, 0]),
        };
        const truth = slow(pose, points);
        const found = tree.least(pose, [near], { within: 25 });
        expect(found.slack).toBeCloseTo(Math.min(truth, 25), 3);
        // Below a floor any figure will do that is no less than the truth and below the floor.
        const floored = tree.least(pose, [near], { within: 25, floor: truth + 1 }).slack;
        expect(floored).toBeLessThan(truth + 1);
        expect(floored).toBeGreaterThan(truth - 1e-3);
      }
    });

  it('a step of a tenth of a millimetre asks hardly a face again', () => {
    const { near, asked } = neighbours(random(9));
    const tree = new BodyTree(BODY, CENTRE);
    tree.least({ shift: [0, 0, 0], turn: [0, 0, 0] }, [near], { within: 25 });
    const first = asked();
    tree.least({ shift: [0.1, 0, 0], turn: [0, 0, 0] }, [near], { within: 25 });
    expect(asked() - first).toBeLessThan(first / 10);
  });

  it('a rough slack that is off by as much as it says changes nothing', () => {
    const r = random(4);
    const { near, points } = neighbours(r);
    const error = 5;
    // Up to the error too large everywhere.
    const field = fieldOf(gridOver({ min: [-80, -80, -80], max: [80, 80, 80] }, 4), (x, y, z) => {
      const d = points.reduce((m, p) => Math.min(m, Math.hypot(p[0] - x, p[1] - y, p[2] - z)), Infinity);
      return d - OFF + error - 2 * Math.sqrt(3);
    });
    const tree = new BodyTree(BODY, CENTRE);
    for (let n = 0; n < 6; n++) {
      const d = r.direction();
      const pose: Pose = { shift: [6 * d[0], 6 * d[1], 6 * d[2]], turn: [d[2], 0, d[0]] };
      expect(tree.least(pose, [near], { within: 25, rough: { field, error } }).slack).toBeCloseTo(Math.min(slow(pose, points), 25), 3);
    }
  });
});

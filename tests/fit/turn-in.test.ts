import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { cellAt, gridOver } from '../../src/core/grid.ts';
import { add, type Box3, dot, growBox, unionBox, type Vec3 } from '../../src/core/vec.ts';
import { narrowPlaces } from '../../src/fit/narrows.ts';
import { AT_REST, type Pose, rotationOf } from '../../src/fit/pose.ts';
import { moveBetween } from '../../src/fit/rigid-move.ts';
import { type TurnInAsk, turnIn } from '../../src/fit/turn-in.ts';

/** Signed distance to a box, negative inside. */
const toBox = ({ min, max }: Box3, p: Vec3): number => {
  const x = Math.max(min[0] - p[0], p[0] - max[0]);
  const y = Math.max(min[1] - p[1], p[1] - max[1]);
  const z = Math.max(min[2] - p[2], p[2] - max[2]);
  const most = Math.max(x, y, z);
  return most <= 0 ? most : Math.hypot(Math.max(x, 0), Math.max(y, 0), Math.max(z, 0));
};

const placed = (p: Vec3, { shift, turn }: Pose): Vec3 => {
  const rows = rotationOf(turn);
  return add([dot(rows[0], p), dot(rows[1], p), dot(rows[2], p)], shift);
};

/** A rod of balls along x about the origin, against boxes of solid material. */
function rod(long: number, thick: number, boxes: readonly Box3[]): Body {
  const n = Math.max(2, Math.ceil(long / (thick / 4)));
  return ofBalls(
    Array.from({ length: n + 1 }, (_, i): Vec3 => [-long / 2 + (long * i) / n, 0, 0]),
    thick / 2,
    boxes,
  );
}

interface Body {
  /** Below `floor` any figure below that will do. */
  readonly gap: (pose: Pose, floor?: number) => number;
  readonly radius: number;
}

function ofBalls(balls: readonly Vec3[], r: number, boxes: readonly Box3[]): Body {
  const gap = (pose: Pose, floor = -Infinity): number => {
    const rows = rotationOf(pose.turn);
    let least = Infinity;
    for (const b of balls) {
      const p = add([dot(rows[0], b), dot(rows[1], b), dot(rows[2], b)], pose.shift);
      for (const x of boxes) least = Math.min(least, toBox(x, p) - r);
      if (least < floor) break;
    }
    return least;
  };
  return { gap, radius: Math.max(...balls.map((b) => Math.hypot(...b))) + r };
}

const box = (x: [number, number], y: [number, number], z: [number, number]): Box3 => ({ min: [x[0], y[0], z[0]], max: [x[1], y[1], z[1]] });

/** A passage 16 high and 60 wide along x about the origin, at its end round a right-angled corner into one of another width along -y, open there. */
const corner = (wide: number): Box3[] => [
  box([-110, 110], [-250, -30], [-8, 8]),
  box([-110, wide + 140], [30, 60], [-8, 8]),
  box([wide + 110, wide + 140], [-250, 60], [-8, 8]),
  box([-140, -110], [-250, 60], [-8, 8]),
  box([-140, wide + 140], [-250, 60], [8, 38]),
  box([-140, wide + 140], [-250, 60], [-38, -8]),
];

/**
 * The longest rod of balls of radius r (length between the outermost middles) that passes a corner of passages `a` and `b` wide and `high`. Flat, the
 * least over the angle of what fits between the outer walls past the inner corner; for r = 0 the ladder's (a^(2/3) + b^(2/3))^(3/2). In a
 * passage of some height it may lie askew (Pythagoras).
 */
function longest(a: number, b: number, high: number, r: number): number {
  let flat = Infinity;
  for (let k = 1; k < 4000; k++) {
    const t = (k * Math.PI) / 8000;
    flat = Math.min(flat, (a - r) / Math.cos(t) + (b - r) / Math.sin(t) - r * (Math.tan(t) + 1 / Math.tan(t)));
  }
  return Math.hypot(flat, high - 2 * r);
}

const around = (boxes: readonly Box3[]): Box3 => boxes.reduce(unionBox);

const asked = (body: Body, boxes: readonly Box3[], moves: number): TurnInAsk => ({
  gapAt: async (pose, floor) => ({ slack: body.gap(pose, floor) }),
  centre: [0, 0, 0],
  radius: body.radius,
  surroundings: around(boxes),
  more: () => true,
  moves,
});

/** The least gap over the path, looked at every 1/100 of each move. */
function sampled(path: readonly Pose[], gap: (pose: Pose) => number, radius: number): number {
  let least = Infinity;
  for (let i = 1; i < path.length; i++) {
    const move = moveBetween(path[i - 1], path[i], radius);
    for (let k = 0; k <= 100; k++) least = Math.min(least, gap(move.at(k / 100)));
  }
  return least;
}

describe('turning in', () => {
  it('a straight pull is found at once, its tightest moment is the closed form', async () => {
    const tube = [
      box([-100, 100], [-40, -20], [-40, 40]),
      box([-100, 100], [20, 40], [-40, 40]),
      box([-100, 100], [-20, 20], [20, 40]),
      box([-100, 100], [-20, 20], [-40, -20]),
      box([-110, -100], [-40, 40], [-40, 40]),
    ];
    const body = rod(100, 20, tube);
    const found = await turnIn(asked(body, tube, 10));
    expect(found.path).toHaveLength(2);
    expect(found.path![1].shift[0]).toBeGreaterThan(150);
    expect(found.path![1].turn).toEqual([0, 0, 0]);
    // A rod of 20 in a square hole of 40.
    expect(found.tightest.slack).toBeCloseTo(10, 6);
    expect(found.tightest.atLeast).toBeLessThanOrEqual(10);
    expect(found.tightest.atLeast).toBeGreaterThan(9.8);
  });

  it('the ladder round a corner, from its closed form', () => {
    expect(longest(60, 45, 0, 0)).toBeCloseTo((60 ** (2 / 3) + 45 ** (2 / 3)) ** 1.5, 3);
    expect(longest(60, 60, 0, 0)).toBeCloseTo(Math.sqrt(8) * 60, 3);
  });

  it('a rod of 0.95 of the longest goes round a corner of 60 and 45, and nowhere nearer than is said', async () => {
    const wide = 45;
    const walls = corner(wide);
    const body = rod(0.95 * longest(60, wide, 16, 5), 10, walls);
    const found = await turnIn(asked(body, walls, 20_000));
    expect(found.path).not.toBeNull();
    const path = found.path!;
    expect(path[0]).toEqual(AT_REST);
    expect(Math.max(...path.map((p) => Math.hypot(...p.turn)))).toBeGreaterThan(0.5);
    const seen = sampled(path, body.gap, body.radius);
    expect(seen).toBeGreaterThan(0);
    expect(found.tightest.atLeast).toBeGreaterThanOrEqual(0);
    expect(found.tightest.atLeast).toBeLessThanOrEqual(seen + 1e-9);
    expect(found.tightest.slack - found.tightest.atLeast).toBeLessThan(0.11);
    expect(body.gap(found.tightest.pose)).toBeCloseTo(found.tightest.slack, 9);
  });

  it('of several ways the roomier one is taken: asked for 1 mm to spare, that is kept', async () => {
    const walls = corner(60);
    const body = rod(0.6 * longest(60, 60, 16, 5), 10, walls);
    const found = await turnIn({ ...asked(body, walls, 20_000), spares: [1] });
    expect(sampled(found.path!, body.gap, body.radius)).toBeGreaterThan(0.95);
  });

  it('a rod a little longer than the corner lets round is not found', async () => {
    const walls = corner(60);
    const body = rod(1.02 * longest(60, 60, 16, 5), 10, walls);
    const found = await turnIn(asked(body, walls, 800));
    expect(found.path).toBeNull();
    expect(found.moves).toBeGreaterThanOrEqual(800);
    expect(found.moves).toBeLessThan(830);
    expect(found.poses).toBeGreaterThan(5);
    expect(found.tightest.slack).toBeGreaterThan(0);
  });

  it('a bent body is threaded through a hole half as wide as its arms are long, by the narrow place of the room', async () => {
    const hole = 12;
    const room = [
      box([-110, 100], [-100, 100], [100, 110]),
      box([-110, 100], [-100, 100], [-110, -100]),
      box([-110, 100], [-110, -100], [-110, 110]),
      box([-110, 100], [100, 110], [-110, 110]),
      box([-110, -100], [-100, 100], [-100, 100]),
      box([100, 110], [hole, 110], [-110, 110]),
      box([100, 110], [-110, -hole], [-110, 110]),
      box([100, 110], [-hole, hole], [hole, 110]),
      box([100, 110], [-hole, hole], [-110, -hole]),
    ];
    const arms = Array.from({ length: 21 }, (_, i): Vec3 => [i > 8 ? -20 : 40 - 7.5 * i, i > 8 ? 5 * (i - 8) - 20 : -20, 0]);
    const body = ofBalls(arms, 5, room);
    const grid = gridOver(growBox(around(room), 12), 6);
    const slack = fieldOf(grid, (x, y, z) => Math.min(...room.map((b) => toBox(b, [x, y, z]))));
    const narrows = narrowPlaces(slack, cellAt(grid, [0, 0, 0]), around(room));
    expect(narrows).toHaveLength(1);
    expect(Math.hypot(narrows[0].at[0] - 105, narrows[0].at[1], narrows[0].at[2])).toBeLessThan(9);
    expect(narrows[0].radius).toBeGreaterThan(hole - 6);
    expect(narrows[0].radius).toBeLessThanOrEqual(hole);
    const found = await turnIn({ ...asked(body, room, 8000), narrows, points: arms.flat() });
    expect(found.path).not.toBeNull();
    expect(sampled(found.path!, body.gap, body.radius)).toBeGreaterThan(0);
  });

  it('a keyhole smaller than the body keeps it in; one that is too near where it sits is told at once', async () => {
    const shell = [
      box([-80, 80], [-80, 80], [60, 70]),
      box([-80, 80], [-80, 80], [-70, -60]),
      box([-80, 80], [-80, -60], [-60, 60]),
      box([-80, 80], [60, 80], [-60, 60]),
      box([-80, -60], [-60, 60], [-60, 60]),
      // The keyhole: 16 square in the wall at +x.
      box([60, 80], [8, 60], [-60, 60]),
      box([60, 80], [-60, -8], [-60, 60]),
      box([60, 80], [-8, 8], [8, 60]),
      box([60, 80], [-8, 8], [-60, -8]),
    ];
    expect((await turnIn(asked(rod(40, 20, shell), shell, 1500))).path).toBeNull();
    // A thinner rod goes through the same hole.
    expect((await turnIn(asked(rod(40, 10, shell), shell, 1500))).path).not.toBeNull();
    const stuck = await turnIn(asked(rod(125, 10, shell), shell, 1500));
    expect([stuck.path, stuck.moves]).toEqual([null, 0]);
    expect(stuck.tightest.slack).toBeLessThan(0);
  });

  it('the bound of a move holds for every point of the body', () => {
    const from: Pose = { shift: [5, -3, 2], turn: [0.4, 1.1, -0.3] };
    const to: Pose = { shift: [-20, 10, 4], turn: [-1, 0.2, 2] };
    const move = moveBetween(from, to, 50);
    const end = placed([30, 40, 0], move.at(1));
    const almost = placed([30, 40, 0], move.at(1 - 1e-9));
    end.forEach((v, a) => {
      expect(almost[a]).toBeCloseTo(v, 5);
    });
    for (const p of [
      [50, 0, 0],
      [0, -50, 0],
      [30, 0, 40],
    ] as Vec3[]) {
      let travelled = 0;
      for (let k = 1; k <= 400; k++) {
        const [a, b] = [placed(p, move.at((k - 1) / 400)), placed(p, move.at(k / 400))];
        travelled += Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
      }
      expect(travelled).toBeLessThanOrEqual(move.length);
    }
  });
});

import { describe, expect, it } from 'vitest';
import { add, type Box3, dot, unionBox, type Vec3 } from '../../src/core/vec.ts';
import { AT_REST, type Pose, rotationOf } from '../../src/fit/pose.ts';
import { moveBetween } from '../../src/fit/rigid-move.ts';
import { type TurnInAsk, turnIn } from '../../src/fit/turn-in.ts';

/** Signed distance to a box, negative inside. */
const toBox = ({ min, max }: Box3, p: Vec3): number => {
  const q = p.map((v, a) => Math.max(min[a] - v, v - max[a]));
  return Math.hypot(...q.map((v) => Math.max(v, 0))) + Math.min(0, Math.max(...q));
};

const placed = (p: Vec3, { shift, turn }: Pose): Vec3 => {
  const rows = rotationOf(turn);
  return add([dot(rows[0], p), dot(rows[1], p), dot(rows[2], p)], shift);
};

/** A rod of balls along x about the origin, against boxes of solid material. */
function rod(long: number, thick: number, boxes: readonly Box3[]): { gap: (pose: Pose) => number; radius: number } {
  const n = Math.max(2, Math.ceil(long / (thick / 2)));
  const balls = Array.from({ length: n + 1 }, (_, i): Vec3 => [-long / 2 + (long * i) / n, 0, 0]);
  const gap = (pose: Pose): number =>
    balls.reduce((least, b) => Math.min(least, ...boxes.map((x) => toBox(x, placed(b, pose)) - thick / 2)), Infinity);
  return { gap, radius: long / 2 + thick / 2 };
}

const box = (x: [number, number], y: [number, number], z: [number, number]): Box3 => ({ min: [x[0], y[0], z[0]], max: [x[1], y[1], z[1]] });

/** A passage 60 wide and 30 high from x = -90 to 150, at its end round a right-angled corner along +y, open at y = 200. */
const CORNER: readonly Box3[] = [
  box([-120, 180], [-60, 230], [15, 45]),
  box([-120, 180], [-60, 230], [-45, -15]),
  box([-120, 180], [-60, -30], [-15, 15]),
  box([-120, -90], [-30, 30], [-15, 15]),
  box([150, 180], [-30, 230], [-15, 15]),
  box([-120, 90], [30, 230], [-15, 15]),
];

const around = (boxes: readonly Box3[]): Box3 => boxes.reduce(unionBox);

const asked = (body: ReturnType<typeof rod>, boxes: readonly Box3[], moves: number): TurnInAsk => ({
  gapAt: async (pose) => ({ slack: body.gap(pose) }),
  centre: [0, 0, 0],
  radius: body.radius,
  surroundings: around(boxes),
  more: () => true,
  moves,
});

/** The least gap over the path, looked at every 1/300 of each move. */
function sampled(path: readonly Pose[], gap: (pose: Pose) => number, radius: number): number {
  let least = Infinity;
  for (let i = 1; i < path.length; i++) {
    const move = moveBetween(path[i - 1], path[i], radius);
    for (let k = 0; k <= 300; k++) least = Math.min(least, gap(move.at(k / 300)));
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

  it('round a corner a rod must turn: found, and nowhere nearer than is said', async () => {
    const body = rod(100, 10, CORNER);
    const found = await turnIn(asked(body, CORNER, 20_000));
    expect(found.path).not.toBeNull();
    const path = found.path!;
    expect(path[0]).toEqual(AT_REST);
    expect(path.some((p) => Math.hypot(...p.turn) > 0.5)).toBe(true);
    const seen = sampled(path, body.gap, body.radius);
    expect(seen).toBeGreaterThan(0);
    expect(found.tightest.atLeast).toBeGreaterThanOrEqual(0);
    expect(found.tightest.atLeast).toBeLessThanOrEqual(seen + 1e-9);
    expect(found.tightest.slack - found.tightest.atLeast).toBeLessThan(0.11);
    expect(body.gap(found.tightest.pose)).toBeCloseTo(found.tightest.slack, 9);
  });

  it('a rod longer than the corner lets round is not found', async () => {
    // The ladder round a corner of two widths w: 2^(3/2) w; 30 high adds little: sqrt(170^2 + 30^2) = 173 mm.
    const long = [...CORNER.filter((b) => b.max[0] !== -90), box([-250, -220], [-30, 30], [-15, 15]), ...WALLS];
    const body = rod(190, 10, long);
    const found = await turnIn(asked(body, long, 800));
    expect(found.path).toBeNull();
    expect(found.moves).toBeGreaterThanOrEqual(800);
    expect(found.moves).toBeLessThan(830);
    expect(found.poses).toBeGreaterThan(5);
    expect(found.tightest.slack).toBeGreaterThan(0);
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

/** What closes the longer passage behind the corner's own walls. */
const WALLS: readonly Box3[] = [
  box([-250, -120], [-60, -30], [-15, 15]),
  box([-250, -120], [30, 60], [-15, 15]),
  box([-250, -120], [-60, 60], [15, 45]),
  box([-250, -120], [-60, 60], [-45, -15]),
];

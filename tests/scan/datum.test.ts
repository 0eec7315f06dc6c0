import { describe, expect, it } from 'vitest';
import { fullSkin } from '../../samples/scanner.ts';
import { Fault } from '../../src/core/fault.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { distance, dot, scale, type Vec3 } from '../../src/core/vec.ts';
import { parseJob } from '../../src/job/job.ts';
import type { JobDatum } from '../../src/job/schema-datum.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { datumOf } from '../../src/scan/datum.ts';
import { inverse, moveBy, type Rigid, smallMotion, turnBetween } from '../../src/scan/place.ts';
import { boxOfUsed, type Scan } from '../../src/scan/scan.ts';
import { symmetryPlane } from '../../src/scan/symmetry.ts';
import { ballMesh, boxMesh, moveMesh, movePoint, randomTurn, refineMesh, together, tubeFrame } from '../oracle/shapes.ts';

function noisy(m: Mesh, sigma: number, seed: number): Mesh {
  const rng = random(seed);
  return { ...m, positions: m.positions.map((v) => v + sigma * rng.normal()) };
}

/** The image in the plane y = 0, faces turned so that they still point outwards. */
const mirrored = (m: Mesh): Mesh => ({
  origin: [m.origin[0], -m.origin[1], m.origin[2]],
  positions: m.positions.map((v, i) => (i % 3 === 1 ? -v : v)),
  indices: m.indices.map((_, i, t) => t[i % 3 === 1 ? i + 1 : i % 3 === 2 ? i - 1 : i]),
});

/** The frame of the sample quad, which is alike on both sides of y = 0, as far as its skin goes. */
function demoFrame(): Mesh {
  const { positions, indices } = fullSkin('frame', 3);
  return { origin: [0, 0, 0], positions: Float32Array.from(positions), indices };
}

const codeOf = (run: () => unknown): string => {
  try {
    run();
  } catch (error) {
    if (error instanceof Fault) return error.code;
    throw error;
  }
  return 'no fault';
};

/** Angle between a plane found and the one known, degrees, and how far a point of the known one is off it, mm. */
function off(mesh: Mesh, plane: { readonly normal: Vec3; readonly through: Vec3 }): { turn: number; shift: number; share: number } {
  const found = symmetryPlane(mesh, {}, inlineContext);
  const c = Math.min(1, Math.abs(dot(found.normal, plane.normal)));
  const shift = Math.abs(dot(plane.through, found.normal) - dot(found.at, found.normal));
  return { turn: (Math.acos(c) * 180) / Math.PI, shift, share: found.share };
}

describe('the best plane of symmetry', () => {
  it('of the sample frame, turned at random, with noise and a silencer on one side', () => {
    const rng = random(31);
    const turn = randomTurn(rng);
    const shift: Vec3 = [300, -800, 4000];
    const oneSide = moveMesh(
      ballMesh(70, 40),
      [
        [1, 0, 0],
        [0, 1, 0],
        [0, 0, 1],
      ],
      [-500, 240, 600],
    );
    const mesh = moveMesh(noisy(together(demoFrame(), oneSide), 0.1, 5), turn, shift);
    const middle = { normal: movePoint([0, 1, 0], turn, [0, 0, 0]), through: movePoint([-300, 0, 600], turn, shift) };
    const { turn: t, shift: s } = off(mesh, middle);
    expect(t).toBeLessThan(0.005);
    expect(s).toBeLessThan(0.02);
  });

  it('of tubes on both sides with others on one side only, a third of the area', () => {
    const half = moveMesh(tubeFrame({ seed: 3, size: [900, 300, 400], tubes: 7, edge: 5 }), randomTurn(random(1)), [0, 220, 0]);
    const clutter = tubeFrame({ seed: 8, size: [900, 600, 400], tubes: 7, edge: 5 });
    const turn = randomTurn(random(12));
    const mesh = moveMesh(noisy(together(half, mirrored(half), clutter), 0.1, 2), turn, [10, 20, 30]);
    const found = off(mesh, { normal: movePoint([0, 1, 0], turn, [0, 0, 0]), through: movePoint([0, 0, 0], turn, [10, 20, 30]) });
    expect(found.turn).toBeLessThan(0.01);
    expect(found.shift).toBeLessThan(0.04);
    expect(found.share).toBeGreaterThan(0.6);
    expect(found.share).toBeLessThan(0.85);
  });

  it('tells what it is unsure of, or that there is none', () => {
    const box = refineMesh(boxMesh([300, 200, 120]), 4);
    // Three planes, each as good; about the second axis only one.
    expect(symmetryPlane(box, {}, inlineContext).doubts.join()).toContain('another plane');
    const told = symmetryPlane(box, { normal: [0.1, 0.9, -0.2] }, inlineContext);
    expect(told.doubts).toEqual([]);
    expect(Math.abs(told.normal[1])).toBeGreaterThan(0.999999);
    expect(codeOf(() => symmetryPlane(noisy(ballMesh(60, 30), 0.1, 9), {}, inlineContext))).toBe('datum-symmetry-free');
    const tubes = tubeFrame({ seed: 4, size: [900, 500, 400], tubes: 9, edge: 12 });
    expect(codeOf(() => symmetryPlane(tubes, {}, inlineContext))).toBe('datum-no-symmetry');
  });
});

/** From the vehicle's own frame to that of the scans. */
const THERE: Rigid = smallMotion([0.4, -1.1, 2.0], [1200, -340, 95], [0, 0, 0]);
const there = (p: Vec3): Vec3 => moveBy(THERE, p);

const scanOf = (mesh: Mesh): Scan => ({
  name: 'frame',
  settings: parseJob('{ voidgauge: 1, scans: { frame: f.ply } }', 'job.yaml').scans['frame'],
  mesh,
  radius: 0,
  triangles: mesh.indices.length / 3,
  points: 0,
  box: boxOfUsed(mesh),
  unit: 'mm',
  specks: [],
});
const scan = scanOf(moveMesh(refineMesh(boxMesh([900, 300, 400]), 1), THERE.rows, there([0, 0, 500])));
const upsideDown = scanOf(moveMesh(refineMesh(boxMesh([900, 300, 400]), 1), THERE.rows, there([0, 0, -500])));

const NONE: JobDatum = { axles: null, ground: null, symmetry: null, origin: null };

/** How far a datum is from undoing THERE, degrees and mm at a point `at` of the vehicle that should come to lie at `to`. */
function check(asked: JobDatum, at: Vec3, to: Vec3): void {
  const { move } = datumOf(asked, [scan], inlineContext);
  expect(turnBetween(move, inverse(THERE))).toBeLessThan(1e-6);
  expect(distance(moveBy(move, there(at)), to)).toBeLessThan(1e-6);
}

/** Points on a rim of radius r about a centre, in a plane across y. */
const rim = (centre: Vec3, r: number, n: number): Vec3[] =>
  Array.from({ length: n }, (_, i) => {
    const t = 0.4 + (4.5 * i) / n;
    return there([centre[0] + r * Math.cos(t), centre[1], centre[2] + r * Math.sin(t)]);
  });

describe('a datum from points', () => {
  const axle = (x: number, z: number, half: number): { left: Vec3[]; right: Vec3[] } => ({
    left: [there([x, half, z])],
    right: [there([x, -half, z])],
  });

  it('of two axles is exact: x forward, y left, z up, zero in the middle of the rear one', () => {
    const axles = { front: axle(620, 280, 410), rear: axle(-640, 280, 380) };
    check({ ...NONE, axles }, [-640, 0, 280], [0, 0, 0]);
    check({ ...NONE, axles, origin: there([5, 6, 7]) }, [10, 10, 10], [5, 4, 3]);
    const { result } = datumOf({ ...NONE, axles }, [scan], inlineContext);
    expect(result.axles?.wheelbase_mm).toBeCloseTo(1260, 6);
    expect(result.doubts).toEqual([]);
  });

  it('of points round the rims too, however few of the circle they span', () => {
    const ends = (x: number, half: number, n: number): { left: Vec3[]; right: Vec3[] } => ({
      left: rim([x, half, 280], 250, n),
      right: rim([x, -half, 280], 250, n + 2),
    });
    check({ ...NONE, axles: { front: ends(620, 410, 3), rear: ends(-640, 380, 5) } }, [-640, 0, 280], [0, 0, 0]);
  });

  it('of three places on the ground, the third before or behind', () => {
    const [left, right] = [there([-640, 380, 0]), there([-640, -380, 0])];
    check({ ...NONE, ground: { left, right, front: there([620, 410, 0]), rear: null } }, [-640, 0, 0], [0, 0, 0]);
    const front = { left: there([620, 410, 0]), right: there([620, -410, 0]) };
    check({ ...NONE, ground: { ...front, front: null, rear: there([-640, 12, 0]) } }, [620, 0, 0], [0, 0, 0]);
  });

  it('says what is wrong with the points', () => {
    const [front, rear] = [axle(620, 280, 410), axle(-640, 280, 380)];
    const code = (axles: JobDatum['axles']): string => codeOf(() => datumOf({ ...NONE, axles }, [scan], inlineContext));
    expect(code({ front, rear: { left: rear.right, right: rear.left } })).toBe('datum-skew');
    expect(code({ front, rear: { left: rear.left, right: rear.left } })).toBe('datum-degenerate');
    expect(code({ front, rear: axle(620, 280, 100) })).toBe('datum-degenerate');
    const bent = { left: [there([620, 410, 280])], right: [there([640, -410, 280])] };
    expect(datumOf({ ...NONE, axles: { front: bent, rear } }, [scan], inlineContext).result.doubts.join()).toContain('out of parallel');
    const swapped = { front: { left: front.right, right: front.left }, rear: { left: rear.right, right: rear.left } };
    expect(datumOf({ ...NONE, axles: swapped }, [scan], inlineContext).result.doubts.join()).toContain('swapped');
    expect(datumOf({ ...NONE, axles: { front, rear } }, [upsideDown], inlineContext).result.doubts.join()).toContain('swapped');
  });

  it('of a plane of symmetry takes up and forward roughly', () => {
    const half = moveMesh(tubeFrame({ seed: 3, size: [900, 300, 400], tubes: 6, edge: 6 }), randomTurn(random(1)), [0, 220, 500]);
    const frame = scanOf(moveMesh(together(half, mirrored(half)), THERE.rows, THERE.shift));
    const turned = (v: Vec3): Vec3 => scale(moveBy({ rows: THERE.rows, shift: [0, 0, 0] }, v), 1);
    const symmetry = { scan: ['frame'], up: turned([0, 0.02, Math.sqrt(1 - 0.0004)]), forward: turned([0.96, 0.28, 0]) };
    const { move, result } = datumOf({ ...NONE, symmetry }, [frame], inlineContext);
    // What of "up" leans out of the plane goes; the rest is taken as it is.
    expect(turnBetween(move, inverse(THERE))).toBeLessThan(0.01);
    expect(Math.abs(moveBy(move, there([77, 0, 500]))[1])).toBeLessThan(0.03);
    expect(result.residual_mm?.median).toBeLessThan(0.05);
    expect(result.mirrored_percent).toBeGreaterThan(95);
  });
});

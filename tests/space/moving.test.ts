import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { type Grid, gridOver } from '../../src/core/grid.ts';
import { meshBox, meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { RADIANS_PER_DEGREE } from '../../src/core/units.ts';
import type { Box3, Vec3 } from '../../src/core/vec.ts';
import { closedness } from '../../src/field/closed.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { jointsOf, poseAt, posed, sweptBox } from '../../src/scan/motion.ts';
import { moveBy } from '../../src/scan/place.ts';
import type { Scan } from '../../src/scan/scan.ts';
import { lowerToSweep, sweptMesh } from '../../src/space/moving.ts';
import { treeDistance } from '../oracle/distance.ts';
import { ballMesh } from '../oracle/shapes.ts';

const R = 30;
const ARM = 120;

/** A ball of radius R about `at`, moving as the job text says. */
function ballThat(motion: string, at: Vec3 = [ARM, 0, 0]): Scan {
  const job = parseJob(`{ voidgauge: 1, scans: { ball: { file: b.stl, motion: ${motion} } } }`, 'job.yaml');
  const mesh = { ...ballMesh(R, 48), origin: at };
  const box: Box3 = { min: [at[0] - R, at[1] - R, at[2] - R], max: [at[0] + R, at[1] + R, at[2] + R] };
  return { name: 'ball', settings: job.scans['ball'], mesh, box, radius: 0, triangles: 1, points: 0, unit: 'mm', specks: [] };
}

/** Half the length of a cylinder, mm. */
const HALF = 35;

/** A closed cylinder of radius R and length 2 HALF along x or z, about [ARM, 0, 0]. */
function cylinderThat(motion: string, along: 'x' | 'z'): Scan {
  const around = 144;
  const rings = 24;
  const positions: number[] = [0, 0, -HALF, 0, 0, HALF];
  const indices: number[] = [];
  for (let j = 0; j <= rings; j++)
    for (let i = 0; i < around; i++) {
      const t = (2 * Math.PI * i) / around;
      positions.push(R * Math.cos(t), R * Math.sin(t), -HALF + (2 * HALF * j) / rings);
      const [a, b] = [2 + j * around + i, 2 + j * around + ((i + 1) % around)];
      if (j === 0) indices.push(0, b, a);
      if (j === rings) indices.push(1, a, b);
      else indices.push(a, b, b + around, a, b + around, a + around);
    }
  // Turned so that z goes to x, x to y and y to z.
  const turned = along === 'z' ? positions : positions.map((_, i) => positions[i - (i % 3) + (((i % 3) + 2) % 3)]);
  const mesh = { origin: [ARM, 0, 0] as Vec3, positions: Float32Array.from(turned), indices: Uint32Array.from(indices) };
  return { ...ballThat(motion), mesh, box: meshBox(mesh) };
}

/** Distance to a prism, mm, from that to its outline and that beyond its ends; negative inside. */
const prism = (across: number, beyond: number): number =>
  across > 0 || beyond > 0 ? Math.hypot(Math.max(across, 0), Math.max(beyond, 0)) : Math.max(across, beyond);

const swept = async (scan: Scan, grid: Grid, offset: number): Promise<Field> => {
  const field = fieldOf(grid, 60);
  await lowerToSweep(field, scan, { offset, levels: [offset, offset + 10] }, inlineContext);
  return field;
};

/** Largest errors either way, mm, where the true value lies between `from` and 20 mm; the default is one cell below nothing. */
function errors(field: Field, truth: (x: number, y: number, z: number) => number, from = -STEP): { most: number; least: number } {
  const exact = fieldOf(field.grid, truth).data;
  let [most, least] = [-Infinity, Infinity];
  let seen = 0;
  exact.forEach((e, c) => {
    if (e < from || e > 20) return;
    seen++;
    most = Math.max(most, field.data[c] - e);
    least = Math.min(least, field.data[c] - e);
  });
  expect(seen).toBeGreaterThan(1000);
  return { most, least };
}

/** Distance to an arc about z of radius ARM from angle a to b, at height z0..z1. */
function toArc(a: number, b: number, z0 = 0, z1 = 0): (x: number, y: number, z: number) => number {
  return (x, y, z) => {
    const up = z - Math.min(Math.max(z, z0), z1);
    const t = Math.atan2(y, x);
    if (t >= a && t <= b) return Math.hypot(Math.hypot(x, y) - ARM, up);
    return Math.min(...[a, b].map((e) => Math.hypot(x - ARM * Math.cos(e), y - ARM * Math.sin(e), up)));
  };
}

const STEP = 5;
const around = gridOver({ min: [-180, -180, -90], max: [180, 180, 130] }, STEP);

describe('moving parts', () => {
  it.each([0, 12])('a ball on an arm, turned: the distance to a bent capsule, clearance %i', async (offset) => {
    const scan = ballThat('{ turn: { about: [[0, 0, 0], [0, 0, 1]], from: -20, to: 70 } }');
    const field = await swept(scan, around, offset);
    const arc = toArc(-20 * RADIANS_PER_DEGREE, 70 * RADIANS_PER_DEGREE);
    const e = errors(field, (x, y, z) => arc(x, y, z) - R - offset, offset > 0 ? -STEP : 0);
    expect(e.most).toBeLessThan(STEP / 2);
    expect(e.least).toBeGreaterThan(-STEP / 4);
  });

  it('a ball that slides: the distance to a capsule', async () => {
    const scan = ballThat('{ slide: { along: [0, 3, 4], from: -40, to: 60 } }', [0, 0, 0]);
    const e = errors(await swept(scan, around, 8), (x, y, z) => {
      const s = Math.min(Math.max((3 * y + 4 * z) / 5, -40), 60);
      return Math.hypot(x, y - 0.6 * s, z - 0.8 * s) - R - 8;
    });
    expect(e.most).toBeLessThan(STEP / 2);
    expect(e.least).toBeGreaterThan(-STEP / 4);
  });

  // With 12 mm, more than two cells, the joints are swept one after the other; with less, cells near the part ask both together.
  it.each([2, 5, 12])('a fork that slides and is steered: the slide first, carried by the turn, clearance %i', async (offset) => {
    const scan = ballThat(
      '[{ slide: { along: [0, 0, 1], from: -10, to: 50 } }, { turn: { about: [[0, 0, 0], [0, 0, 1]], from: -30, to: 30 } }]',
    );
    const shell = toArc(-30 * RADIANS_PER_DEGREE, 30 * RADIANS_PER_DEGREE, -10, 50);
    const field = await swept(scan, around, offset);
    const truth = (x: number, y: number, z: number): number => shell(x, y, z) - R - offset;
    const e = errors(field, truth, -Math.min(offset, STEP));
    expect(e.most).toBeLessThan(STEP / 2);
    expect(e.least).toBeGreaterThan(-STEP / 4);
    // Within the sweep the part's surface comes by every point.
    const within = fieldOf(around, truth).data;
    const highest = field.data.reduce((most, v, c) => (within[c] < -offset ? Math.max(most, v + offset) : most), 0);
    expect(highest).toBeLessThan(STEP / 2);
  });

  it.each([5, 12])('a cylinder that slides and turns about an axis beside it: a bent slot of full height, clearance %i', async (offset) => {
    const scan = cylinderThat(
      '[{ slide: { along: [0, 0, 1], from: -20, to: 30 } }, { turn: { about: [[0, 0, 0], [0, 0, 1]], from: -20, to: 70 } }]',
      'z',
    );
    const arc = toArc(-20 * RADIANS_PER_DEGREE, 70 * RADIANS_PER_DEGREE);
    const e = errors(
      await swept(scan, around, offset),
      (x, y, z) => prism(arc(x, y, 0) - R, Math.max(-HALF - 20 - z, z - HALF - 30)) - offset,
      -Math.min(offset, STEP),
    );
    expect(e.most).toBeLessThan(STEP / 2);
    expect(e.least).toBeGreaterThan(-STEP / 4);
  });

  it('a cylinder that slides across its axis: a slot with round ends', async () => {
    const scan = cylinderThat('{ slide: { along: [0, 3, 4], from: -40, to: 60 } }', 'x');
    const e = errors(await swept(scan, around, 8), (x, y, z) => {
      const s = Math.min(Math.max((3 * y + 4 * z) / 5, -40), 60);
      return prism(Math.hypot(y - 0.6 * s, z - 0.8 * s) - R, Math.abs(x - ARM) - HALF) - 8;
    });
    expect(e.most).toBeLessThan(STEP / 2);
    expect(e.least).toBeGreaterThan(-STEP / 4);
  });

  it.each([
    [1, 6],
    [2, 6],
    [2, 12],
  ])('two joints about any axes: no surface point of any pose is missed by half a cell (seed %i, clearance %i)', async (seed, off) => {
    const rng = random(seed);
    const d = (): string => `[${rng.direction().join(', ')}]`;
    const motion = `[{ turn: { about: [[100, 20, 0], ${d()}], from: -8, to: 22 } }, { slide: { along: ${d()}, from: -15, to: 25 } }]`;
    const scan = ballThat(motion);
    const joints = jointsOf(scan.settings.motion);
    const field = await swept(scan, around, off);
    // The oracle: 5000 poses at random, points on a ball that is larger by the clearance are never free by more than half a cell.
    let highest = -Infinity;
    for (let n = 0; n < 3000; n++) {
      const pose = poseAt(
        joints,
        joints.map((j) => rng.range(j.from, j.to)),
      );
      const u = rng.direction();
      const p = moveBy(pose, [ARM + (R + off) * u[0], (R + off) * u[1], (R + off) * u[2]]);
      const at = p.map((v, a) => Math.round((v - around.origin[a]) / STEP));
      const c = at[0] + around.nx * (at[1] + around.ny * at[2]);
      const way = Math.hypot(...p.map((v, a) => v - around.origin[a] - STEP * at[a]));
      // The field changes by no more than the way from the point to the cell's centre.
      highest = Math.max(highest, field.data[c] - way);
    }
    expect(highest).toBeLessThan(STEP / 2);
    // And nothing is blocked for no reason: a cell that is blocked lies near the ball in some pose, by exact distances to its triangles.
    const box = sweptBox(scan.box, joints);
    const toMesh = Array.from({ length: 7 }, (_, i) =>
      Array.from({ length: 7 }, (_, k) =>
        treeDistance(
          posed(
            scan.mesh,
            poseAt(
              joints,
              joints.map((j, q) => j.from + ((j.to - j.from) * (q ? k : i)) / 6),
            ),
          ),
        ),
      ),
    ).flat();
    const blocked = [...field.data.keys()].filter((c) => field.data[c] < -1);
    for (let n = 0; n < 40; n++) {
      const c = blocked[rng.below(blocked.length)];
      const p = Float64Array.of(
        around.origin[0] + STEP * (c % around.nx),
        around.origin[1] + STEP * (Math.floor(c / around.nx) % around.ny),
        around.origin[2] + STEP * Math.floor(c / (around.nx * around.ny)),
      );
      // Inside the ball the distance to its surface is no measure of how deep.
      const least = Math.min(...toMesh.map((d2) => d2(p)[0]));
      expect(least).toBeLessThan(R);
      for (let a = 0; a < 3; a++) {
        expect(p[a]).toBeGreaterThan(box.min[a] - off - STEP);
        expect(p[a]).toBeLessThan(box.max[a] + off + STEP);
      }
    }
  });

  it('the bytes do not hang on how the work is cut', async () => {
    const scan = ballThat('{ turn: { about: [[0, 0, 0], [0, 0, 1]], from: -20, to: 70 } }');
    const grid = gridOver({ min: [40, -80, -60], max: [160, 160, 60] }, 6);
    const once = await swept(scan, grid, 5);
    const cut = fieldOf(grid, 60);
    const context = { ...inlineContext, pool: { ...inlineContext.pool, size: 3 } };
    await lowerToSweep(cut, scan, { offset: 5, levels: [5, 15] }, context);
    expect(cut.data).toEqual(once.data);
  });

  it('the sweep as a mesh: a capsule and a bent capsule, closed, by volume', async () => {
    const c = 10;
    const r = R + c;
    const slid = await sweptMesh(ballThat('{ slide: { along: [1, 0, 0], from: 0, to: 100 } }'), c, 3, inlineContext);
    expect(closedness(slid.mesh).ok).toBe(true);
    expect(Math.abs(meshVolume(slid.mesh) / (Math.PI * r * r * 100 + (4 / 3) * Math.PI * r ** 3) - 1)).toBeLessThan(0.008);
    const turned = await sweptMesh(ballThat('{ turn: { about: [[0, 0, 0], [0, 0, 1]], from: 0, to: 90 } }'), c, 3, inlineContext);
    expect(closedness(turned.mesh).ok).toBe(true);
    // Pappus: a disc whose centre travels a quarter circle, and half a ball at each end.
    expect(Math.abs(meshVolume(turned.mesh) / ((Math.PI * r * r * ARM * Math.PI) / 2 + (4 / 3) * Math.PI * r ** 3) - 1)).toBeLessThan(
      0.008,
    );
    // A cylinder turned by 90 degrees about an axis along its own: area A, outline P and height L of a bent slot, blown up by c (Steiner).
    const bent = await sweptMesh(cylinderThat('{ turn: { about: [[0, 0, 0], [0, 0, 1]], from: 0, to: 90 } }', 'z'), c, 3, inlineContext);
    const [area, outline, high] = [Math.PI * R * R + R * ARM * Math.PI, 2 * Math.PI * R + ARM * Math.PI, 2 * HALF];
    const whole =
      area * high + (outline * high + 2 * area) * c + (Math.PI * high + (Math.PI / 2) * outline) * c * c + (4 / 3) * Math.PI * c ** 3;
    expect(closedness(bent.mesh).ok).toBe(true);
    expect(Math.abs(meshVolume(bent.mesh) / whole - 1)).toBeLessThan(0.008);
  });
});

describe('the box of a sweep', () => {
  it.each([1, 2, 3])('holds the part in every pose, and is not much larger (seed %i)', (seed) => {
    const rng = random(seed);
    const d = (): string => `[${rng.direction().join(', ')}]`;
    const scan = ballThat(
      `[{ turn: { about: [[50, 20, 0], ${d()}], from: -50, to: 130 } }, { turn: { about: [[0, 0, 9], ${d()}], from: -30, to: 30 } }]`,
    );
    const joints = jointsOf(scan.settings.motion);
    const box = sweptBox(scan.box, joints);
    for (let n = 0; n < 2000; n++) {
      const corner: Vec3 = [rng.next() < 0.5 ? ARM - R : ARM + R, rng.next() < 0.5 ? -R : R, rng.next() < 0.5 ? -R : R];
      const p = moveBy(
        poseAt(
          joints,
          joints.map((j) => rng.range(j.from, j.to)),
        ),
        corner,
      );
      for (let a = 0; a < 3; a++) {
        expect(p[a]).toBeGreaterThanOrEqual(box.min[a] - 1e-9);
        expect(p[a]).toBeLessThanOrEqual(box.max[a] + 1e-9);
      }
    }
  });
});

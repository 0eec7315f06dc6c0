import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { distance, type Vec3 } from '../../src/core/vec.ts';
import { surface } from '../../src/field/surface.ts';
import { refineFaces } from '../../src/fit/refine.ts';
import type { TrialResult } from '../../src/fit/trial.ts';
import { bytesSource } from '../../src/io/source.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import type { Files } from '../../src/pipeline/run.ts';
import { tryBody } from '../../src/pipeline/trial.ts';
import { boxesStl } from '../cli/run.ts';
import { treeDistance } from '../oracle/distance.ts';
import { boxMesh, moveMesh, randomTurn, type Turn, tubeMesh } from '../oracle/shapes.ts';
import { ball } from '../oracle/solids.ts';

const filesOf = (files: Readonly<Record<string, Uint8Array>>): Files => ({
  open: async (name) => ({ ...bytesSource(name, files[name]), digest: async () => '' }),
});

/** A job of these scans, each `name: settings`. */
async function trial(body: Mesh, scans: Readonly<Record<string, [settings: string, bytes: Uint8Array]>>, more = ''): Promise<TrialResult> {
  const lines = Object.entries(scans).map(([name, [settings]]) => `  ${name}: { file: ${name}.stl, ${settings} }`);
  const job = parseJob(`voidgauge: 1\nscans:\n${lines.join('\n')}\n${more}`, 'trial.yaml');
  const files = Object.fromEntries(Object.entries(scans).map(([name, [, bytes]]) => [`${name}.stl`, bytes]));
  return (await tryBody(body, job, filesOf(files), inlineContext)).trial;
}

const shifted = (mesh: Mesh, by: Vec3): Mesh => moveMesh(mesh, UNIT, by);
const UNIT: Turn = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const aboutZ = (degrees: number): Turn => {
  const [s, c] = [Math.sin((degrees * Math.PI) / 180), Math.cos((degrees * Math.PI) / 180)];
  return [
    [c, -s, 0],
    [s, c, 0],
    [0, 0, 1],
  ];
};

const ROUND = gridOver({ min: [-22, -22, -22], max: [22, 22, 22] }, 4);

/** Two walls 100 mm apart across y. */
const WALLS = boxesStl([-200, -200, -100, 200, -50, 100], [-200, 50, -100, 200, 200, 100]);
/** Few directions: the sweep is not what most of these look at. */
const QUICK = 'step: 4\nways_in: { directions: 26, clearance: 0.5 }\n';

describe('how near a finished body comes', () => {
  it('agrees with distances from points 0.5 mm apart all over it, seeds 1 to 4', async () => {
    for (let seed = 1; seed <= 4; seed++) {
      const r = random(seed);
      const body = moveMesh(seed % 2 ? boxMesh([40, 30, 20]) : surface(fieldOf(ROUND, ball(18)), 0), randomTurn(r), [0, 0, 0]);
      const rail = moveMesh(
        tubeMesh(
          [-31, 0, 31].map((x): Vec3 => [x, 0, 0]),
          12,
          24,
        ),
        randomTurn(r),
        [r.range(-3, 3), 60, 50],
      );
      const { as_placed } = await trial(body, { rail: ['clearance: 1', writeStl(rail, 'rail')] }, `${QUICK}fit: { shift: 0, turn: 0 }\n`);
      const fine = refineFaces(body, 0.5).mesh;
      const points = Float64Array.from(fine.positions, (v, i) => v + fine.origin[i % 3]);
      const truth = treeDistance(rail)(points).reduce((a, b) => Math.min(a, b), Infinity);
      const [o] = as_placed.obstacles;
      // A grid of points misses the nearest place by h^2 / 8 d at most: 0.005 mm, with 0.5 mm and more than 6 mm of distance.
      expect(Math.abs(o.closest_mm! - truth)).toBeLessThan(0.02);
      expect(o.at_least_mm!).toBeLessThanOrEqual(truth);
      expect(distance(o.on_body_mm!, o.on_obstacle_mm!)).toBeCloseTo(o.closest_mm!, 4);
      expect(o.slack_mm!).toBeCloseTo(o.closest_mm! - 1, 9);
    }
  });

  it('4 mm into a wall: depth, area and litres of a plane cut', async () => {
    const { as_placed, way } = await trial(
      shifted(boxMesh([60, 90, 40]), [0, 9, 0]),
      { walls: ['clearance: 4', WALLS] },
      QUICK.replace('step: 4', 'step: 2'),
    );
    const [o] = as_placed.obstacles;
    expect(o.relation).toBe('crossing');
    expect(o.inside!.depth_mm).toBeCloseTo(4, 2);
    expect(o.inside!.error_mm).toBeLessThan(0.021);
    expect(o.slack_mm).toBeCloseTo(-8, 2);
    // The face of 60 x 40 mm wholly, and of the four beside it the strip within 4 mm of the wall or inside it: 8 mm.
    const area = 60 * 40 + 2 * (60 + 40) * 8;
    expect(o.patches[0].depth_mm).toBeCloseTo(8, 2);
    expect(Math.abs(o.patches[0].area_mm2 / area - 1)).toBeLessThan(0.04);
    expect(as_placed.interference_l).toBeCloseTo(0.06 * 0.4 * 0.4, 3);
    expect(as_placed.too_near_l).toBeCloseTo(0.06 * 0.4 * 0.8, 3);
    expect(as_placed.pass).toBe(false);
    // What sits in a wall is not asked how it got there.
    expect(way.works).toBeNull();
  });

  it('a body in the open has no closest approach within its clearance, and is clear', async () => {
    const { as_placed, moved } = await trial(shifted(boxMesh([20, 20, 20]), [0, 0, 0]), { walls: ['clearance: 4', WALLS] }, QUICK);
    expect(as_placed.pass).toBe(true);
    expect(as_placed.least_slack_mm).toBeCloseTo(36, 3);
    expect([as_placed.too_near_l, as_placed.interference_l]).toEqual([0, 0]);
    // In the middle already.
    expect(moved).toBeNull();
  });
});

describe('the small move with the most room', () => {
  it('between two walls: to the middle, and no other way', async () => {
    const { moved, as_placed } = await trial(shifted(boxMesh([120, 90, 80]), [0, 3, 0]), { walls: ['clearance: 4', WALLS] }, QUICK);
    expect(as_placed.least_slack_mm).toBeCloseTo(-2, 3);
    expect(moved!.least_slack_mm).toBeCloseTo(1, 2);
    expect(moved!.pass).toBe(true);
    moved!.move.shift_mm.forEach((v, a) => {
      expect(v).toBeCloseTo([0, -3, 0][a], 1);
    });
    for (const v of moved!.move.turn_deg) expect(Math.abs(v)).toBeLessThan(0.05);
  });

  it('turned in its slot: straight again, to 0.02 mm of slack', async () => {
    const body = moveMesh(boxMesh([120, 90, 80]), aboutZ(1.5), [0, 1, 0]);
    const { moved } = await trial(body, { walls: ['clearance: 4', WALLS] }, QUICK);
    expect(Math.abs(moved!.least_slack_mm - 1)).toBeLessThan(0.02);
    expect(moved!.move.turn_deg[2]).toBeCloseTo(-1.5, 1);
    expect(moved!.move.held_by.length).toBeGreaterThan(1);
    // The rows do what they say: the body's corner comes to lie along the walls.
    const [x, y] = moved!.move.rows;
    expect(x[0] * Math.cos(0.02618) + x[1] * Math.sin(0.02618)).toBeCloseTo(1, 4);
    expect(y[3]).toBeCloseTo(-1, 0);
  });

  it('keeps inside its limits', async () => {
    const { moved } = await trial(
      shifted(boxMesh([120, 90, 80]), [0, 3, 0]),
      { walls: ['clearance: 4', WALLS] },
      `${QUICK}fit: { shift: [0, 2, 0], turn: 0 }\n`,
    );
    expect(moved!.move.shift_mm.map((v) => Math.round(v * 1e6) / 1e6 + 0)).toEqual([0, -2, 0]);
    expect(moved!.least_slack_mm).toBeCloseTo(0, 2);
  });

  it('out of a wall: as far as its limits let it', async () => {
    const { moved } = await trial(
      shifted(boxMesh([120, 90, 80]), [0, 9, 0]),
      { walls: ['clearance: 4', WALLS] },
      `${QUICK}fit: { shift: 8 }\n`,
    );
    expect(moved!.least_slack_mm).toBeGreaterThan(-0.1);
    expect(moved!.move.shift_mm[1]).toBeLessThan(-7.9);
  });
});

/** A bin open above: inside 100 x 60, 60 high. */
const BIN = boxesStl(
  [-60, -40, -10, 60, 40, 0],
  [-60, -40, -10, -50, 40, 60],
  [50, -40, -10, 60, 40, 60],
  [-60, -40, -10, 60, -30, 60],
  [-60, 30, -10, 60, 40, 60],
);
const LID = boxesStl([-60, -40, 61, 60, 40, 70]);

describe('the way in of a finished body', () => {
  const body = shifted(boxMesh([90, 50, 40]), [0, 0, 30]);

  it('out of a bin: up, with the gap to spare that its walls leave', async () => {
    const { way } = await trial(body, { bin: ['clearance: 2', BIN] }, QUICK);
    expect(way.works).toBe(true);
    expect(way.tried[0].direction).toEqual([0, 0, 1]);
    expect(way.tried[0].least_slack_mm).toBeCloseTo(5 - 0.5, 3);
    expect(way.tried[0].at_least_mm).toBeGreaterThan(2);
    expect(way.tried[0].at_least_mm).toBeLessThanOrEqual(way.tried[0].least_slack_mm);
  });

  it('a lid stops it after as much as it leaves, and does not once it comes off or is put on last', async () => {
    const shut = await trial(body, { bin: ['clearance: 2', BIN], lid: ['clearance: 2', LID] }, QUICK);
    expect(shut.way.works).toBe(false);
    const up = shut.way.tried.find((t) => t.direction[2] > 0.99);
    // From z = 50 the top may rise by 11 - 0.5 mm, to half a step of the march.
    if (up) expect(Math.abs(up.travel_mm - 10.5)).toBeLessThan(0.51);
    expect(shut.way.tried.every((t) => t.travel_mm < 20)).toBe(true);
    const open = await trial(body, { bin: ['clearance: 2', BIN], lid: ['clearance: 2, comes_off: true', LID] }, QUICK);
    expect([open.way.works, open.way.off]).toEqual([true, ['lid']]);
    const last = await trial(
      body,
      { bin: ['clearance: 2', BIN], lid: ['clearance: 2', LID] },
      'step: 4\nways_in: { directions: 26, clearance: 0.5, put_on: { lid: [0, 0, -1] } }\n',
    );
    expect(last.way.works).toBe(true);
    expect(last.way.put_on[0]).toMatchObject({ part: 'lid', works: true });
  });
});

describe('a body that is none', () => {
  it('open or inside out is refused', async () => {
    const box = boxMesh([20, 20, 20]);
    const scans: Record<string, [string, Uint8Array]> = { walls: ['clearance: 4', WALLS] };
    await expect(trial({ ...box, indices: box.indices.slice(3) }, scans)).rejects.toMatchObject({ detail: { code: 'body-open' } });
    await expect(trial({ ...box, indices: box.indices.slice().reverse() }, scans)).rejects.toMatchObject({
      detail: { code: 'body-inside-out' },
    });
  });
});

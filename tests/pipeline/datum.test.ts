import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { bytesSource } from '../../src/io/source.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { commonRoom, type Vehicle } from '../../src/pipeline/common.ts';
import { type Files, measure } from '../../src/pipeline/measure.ts';
import { tryBody } from '../../src/pipeline/trial.ts';
import type { Result } from '../../src/report/result.ts';
import { posed } from '../../src/scan/motion.ts';
import { moveBy, type Rigid, STAY, smallMotion } from '../../src/scan/place.ts';
import { boxMesh, refineMesh, together } from '../oracle/shapes.ts';

const block = (at: Vec3, size: Vec3): Mesh => ({ ...refineMesh(boxMesh(size), 2), origin: at });

/** Two long walls and a floor about the middle plane y = 0, `gap` mm between the walls, the same on both sides. */
const tub = (gap: number): Mesh =>
  together(
    block([0, gap / 2 + 10, 60], [340, 20, 200]),
    block([0, -gap / 2 - 10, 60], [340, 20, 200]),
    block([0, 0, -30], [340, gap + 40, 20]),
    block([-130, 0, 0], [30, 60, 40]),
  );

/** The same vehicle as a scanner at another place sees it. */
const THERE: Rigid = smallMotion([0.5, 0.9, -1.3], [400, 2500, -90], [0, 0, 0]);
const text = (p: Vec3): string => `[${p.join(', ')}]`;

const filesOf = (mesh: Mesh): Files => {
  const bytes = writePly(mesh, []);
  return { open: async (name) => ({ ...bytesSource(name, bytes), digest: async () => name }) };
};

/** The ground is at z = -40; zero of the datum lies there, in the middle. */
const ground = (move: Rigid): string => {
  const at = (p: Vec3): string => text(moveBy(move, p));
  return `datum: { ground: { left: ${at([0, 90, -40])}, right: ${at([0, -90, -40])}, front: ${at([300, 20, -40])} }, origin: ${at([0, 0, 0])} }`;
};

const jobText = (more: string, step = 5): string => `voidgauge: 1
step: ${step}
scans: { tub: { file: tub.ply, clearance: 4 } }
region: { skin: false, box: { min: [-120, -80, -20], max: [120, 80, 120] } }
start: [0, 0, 60]
least_radius: 8
tank: false
${more}`;

const run = async (move: Rigid, more: string, step?: number): Promise<Result> =>
  (await measure(parseJob(jobText(more, step), 'job.yaml'), filesOf(posed(tub(150), move)), inlineContext)).result;

function alike(a: Result, b: Result, mm: number): void {
  expect(Math.abs(a.envelope.volume_l.value / b.envelope.volume_l.value - 1)).toBeLessThan(0.002);
  for (const end of ['min', 'max'] as const)
    a.envelope.box_mm[end].forEach((v, i) => {
      expect(Math.abs(v - b.envelope.box_mm[end][i])).toBeLessThan(mm);
    });
}

describe('a datum', () => {
  it("of points puts scans from anywhere into the job's frame", async () => {
    const here = await run(STAY, '');
    const there = await run(THERE, ground(THERE));
    expect(here.datum).toBeUndefined();
    expect(there.datum).toMatchObject({ by: 'ground', doubts: [] });
    alike(there, here, 0.05);
    there.inputs[0].box_mm.min.forEach((v, i) => {
      expect(Math.abs(v - here.inputs[0].box_mm.min[i])).toBeLessThan(1e-3);
    });
  });

  it('of a plane of symmetry does too, up and forward given roughly', async () => {
    const turned = { rows: THERE.rows, shift: [0, 0, 0] } as const;
    const [up, forward] = [moveBy(turned, [0, 0, 1]), moveBy(turned, [0.99, 0.1, 0])];
    const datum = `datum: { symmetry: { scan: tub, up: ${text(up)}, forward: ${text(forward)} }, origin: ${text(THERE.shift)} }`;
    const there = await run(THERE, datum);
    expect(there.datum?.by).toBe('symmetry');
    expect(there.datum?.residual_mm?.p95).toBeLessThan(0.05);
    expect(there.datum?.mirrored_percent).toBeGreaterThan(95);
    alike(there, await run(STAY, ''), 0.2);
  });

  it('is what vehicles that were scanned apart share their room in, and a body is tried in', async () => {
    const vehicle = (gap: number, move: Rigid): Vehicle => ({
      job: parseJob(jobText(ground(move)), `${gap}.yaml`),
      files: filesOf(posed(tub(gap), move)),
    });
    const apart = await commonRoom([vehicle(150, STAY), vehicle(110, THERE)], inlineContext);
    const together = await commonRoom([vehicle(150, STAY), vehicle(110, STAY)], inlineContext);
    const [a, b] = [apart.result.common, together.result.common];
    expect(Math.abs(a.volume_l.value / b.volume_l.value - 1)).toBeLessThan(0.002);
    expect(apart.result.vehicles[0].costs_l).toBeCloseTo(together.result.vehicles[0].costs_l, 2);
    // 110 mm between the walls, 4 mm kept on both sides: 51 mm to each from the middle plane.
    expect(a.box_mm.max[1]).toBeGreaterThan(50.8);
    expect(a.box_mm.max[1]).toBeLessThan(51.2);
    // A body 20 mm wide in the middle of the datum has 45 mm to each wall of the sister.
    const sister = vehicle(110, THERE);
    const { trial } = await tryBody({ ...boxMesh([40, 20, 40]), origin: [40, 0, 60] }, sister.job, sister.files, inlineContext);
    expect(trial.as_placed.obstacles[0].closest_mm).toBeCloseTo(45, 2);
  });

  it('names its scan and one way only', () => {
    const code = (more: string): unknown => {
      try {
        parseJob(jobText(more), 'job.yaml');
        return 'taken';
      } catch (f) {
        return f instanceof Error && 'code' in f ? f.code : f;
      }
    };
    expect(code('datum: { symmetry: { scan: tubb } }')).toBe('job-unknown-scan');
    expect(code('datum: { symmetry: { scan: tub }, ground: { left: [0, 1, 0], right: [0, 0, 0], front: [1, 0, 0] } }')).toBe('job-value');
    expect(code('datum: { ground: { left: [0, 1, 0], right: [0, 0, 0] } }')).toBe('job-value');
    expect(code('datum: { symmetry: { scan: tub, up: [1, 0, 0] } }')).toBe('job-value');
    expect(code('datum: { axles: { front: { left: [[0, 0, 0], [1, 0, 0]], right: [0, 0, 0] } } }')).not.toBe('taken');
    const job = parseJob(jobText('datum: { symmetry: { scan: tub, up: [0, 0, 2], forward: [1, 0.1, 0] } }'), 'job.yaml');
    expect(parseJob(JSON.stringify(job), 'job.yaml')).toEqual(job);
    const axles =
      '{ front: { left: [[0, 0, 0], [1, 0, 0], [0, 0, 1]], right: [0, -9, 0] }, rear: { left: [-9, 0, 0], right: [-9, -9, 0] } }';
    const second = parseJob(jobText(`datum: { axles: ${axles} }`), 'job.yaml');
    expect(parseJob(JSON.stringify(second), 'job.yaml')).toEqual(second);
  });
});

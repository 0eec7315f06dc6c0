import { allocateF32, type Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { type Grid, gridOver } from '../core/grid.ts';
import { type Mesh, meshBox, meshVolume, triangleCount } from '../core/mesh.ts';
import { MM3_PER_LITRE, RADIANS_PER_DEGREE } from '../core/units.ts';
import { boxSize, growBox, length, scale, type Vec3 } from '../core/vec.ts';
import { closedness } from '../field/closed.ts';
import { volume } from '../field/integrate.ts';
import { AT_REST, type Pose, posed, rowsOf } from '../fit/pose.ts';
import { refineFaces } from '../fit/refine.ts';
import { type Settled, settle } from '../fit/settle.ts';
import type { ObstacleStand, Stand, TrialResult } from '../fit/trial.ts';
import type { Job } from '../job/job.ts';
import { approachTask, NEAR } from '../make/approach.ts';
import { certifyPrepared, type PreparedObstacle } from '../make/certificate.ts';
import { groupPatches, type Miss } from '../make/patches.ts';
import type { InputResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { signedDistance } from '../space/region.ts';
import { isObstacle, standOff } from '../space/slack.ts';
import { bodyWay } from './body-way.ts';
import { loadScans } from './load.ts';
import { certificateObstacles } from './make.ts';
import { Nearness } from './nearness.ts';
import { type Files, Run } from './run.ts';

export interface Trial {
  readonly trial: TrialResult;
  readonly inputs: readonly InputResult[];
  readonly notes: readonly Note[];
}

/** Least gain worth telling of, mm. */
const WORTH = 0.02;
/** Pieces by which the area of a patch is counted, mm. */
const PATCH_PIECE = 2;

/**
 * A finished body (closed, mm, in the place where it is to sit) against the job's scans: how near it comes, where it is too near, whether it
 * slides in, and the small move that gives it the most room. Throws the faults of reading, and `certify-open` for a body that is not closed.
 */
export async function tryBody(body: Mesh, job: Job, files: Files, context: Context): Promise<Trial> {
  checkBody(body);
  const run = new Run(context);
  const { scans, inputs } = await loadScans(job, files, run);
  const present = scans.filter(isObstacle);
  const limits = { shift: job.fit.shift, turn: scale(job.fit.turn, RADIANS_PER_DEGREE) };
  const half = length(boxSize(meshBox(body))) / 2;
  const reach = length(limits.shift) + length(limits.turn) * half;
  const near = await Nearness.of(body, certificateObstacles(present), { reach, step: job.step }, context);
  run.done('clearances');
  const asPlaced = await stand(near, AT_REST, present, run);
  run.done('closest approach');
  const input = { judge: (pose: Pose, below: number) => near.contacts(pose, below), centre: near.centre, radius: near.radius, limits };
  const settled = await settle(input, context);
  const gains = settled.after > settled.before + WORTH;
  const moved = gains ? { ...(await stand(near, settled.pose, present, run)), move: moveOf(settled, near) } : null;
  run.done('settling');
  const crossed = asPlaced.obstacles.some((o) => o.relation !== 'apart');
  const way = await bodyWay(near, crossed, { job, scans }, run);
  run.done('ways in');
  return {
    trial: {
      body: { faces: triangleCount(body), volume_l: meshVolume(body) / MM3_PER_LITRE, centre_mm: near.centre },
      as_placed: asPlaced,
      moved,
      way,
    },
    inputs,
    notes: run.notes,
  };
}

function checkBody(body: Mesh): void {
  const shape = closedness(body);
  if (!shape.ok || triangleCount(body) === 0)
    throw new Fault({
      code: 'body-open',
      what: 'The body is not a closed mesh, so it has no inside.',
      got: `${triangleCount(body)} faces, ${shape.badEdges} bad edges, ${shape.badVertices} bad vertices, ${shape.degenerate} faces without three corners`,
      expected: 'a closed mesh: two faces at every edge',
      hint: 'close it in the modeller, or weld it, and export it again',
    });
  if (meshVolume(body) <= 0)
    throw new Fault({
      code: 'body-inside-out',
      what: 'The body is inside out: its faces point inwards.',
      got: `a volume of ${(meshVolume(body) / MM3_PER_LITRE).toFixed(3)} l`,
      expected: 'faces that are counter-clockwise seen from outside',
      hint: 'turn its faces round (reverse the normals) in the program that exported it',
    });
}

/** Everything about the body at one place. */
async function stand(near: Nearness, pose: Pose, present: readonly Scan[], run: Run): Promise<Stand> {
  const { context } = run;
  const moved = posed(near.body, pose, near.centre);
  const { certificate, misses } = await certifyPrepared(moved, near.prepared, context);
  const obstacles: ObstacleStand[] = [];
  for (const [i, a] of certificate.obstacles.entries()) {
    const p = near.prepared[i];
    const deep = a.relation === 'apart' ? undefined : await near.deepest(i, pose);
    const patches =
      a.patches.length > 0
        ? await finePatches(
            moved,
            p,
            a.patches.flatMap((q) => q.faces),
            context,
          )
        : [];
    const least = deep ? -deep.depth : a.closest_mm;
    obstacles.push({
      name: a.name,
      asked_mm: a.asked_mm,
      closest_mm: a.closest_mm,
      at_least_mm: a.at_least_mm,
      slack_mm: least === null ? null : least - a.asked_mm,
      on_body_mm: a.on_body_mm,
      on_obstacle_mm: a.on_obstacle_mm,
      relation: a.relation,
      inside: deep ? { depth_mm: deep.depth, error_mm: deep.error, at_mm: deep.at } : null,
      pass: a.pass,
      patches,
    });
  }
  const named = new Set(obstacles.filter((o) => !o.pass).map((o) => o.name));
  const wrong = present.filter((s) => named.has(s.name));
  const litres = misses.length > 0 || wrong.length > 0 ? await litresOf(near, pose, wrong, context) : { too_near_l: 0, interference_l: 0 };
  const least = obstacles.reduce((m, o) => Math.min(m, o.slack_mm ?? Infinity), Infinity);
  return { pass: certificate.pass, least_slack_mm: least, obstacles, ...litres };
}

/** The patches again, on the faces cut small: their areas are then those that are really too near, to the size of a piece. */
async function finePatches(body: Mesh, p: PreparedObstacle, faces: readonly number[], context: Context): Promise<ObstacleStand['patches']> {
  if (!p.tree) return [];
  const { mesh } = refineFaces(
    body,
    PATCH_PIECE,
    [...new Set(faces)].sort((a, b) => a - b),
  );
  const count = triangleCount(mesh);
  const shift = [0, 1, 2].map((a) => mesh.origin[a] - p.origin[a]);
  const corners = new Float64Array(context.pool.allocate(72 * count));
  for (let c = 0; c < mesh.indices.length; c++)
    for (let a = 0; a < 3; a++) corners[3 * c + a] = mesh.positions[3 * mesh.indices[c] + a] + shift[a];
  const radius = 'mesh' in p.obstacle ? 0 : p.obstacle.radius;
  const cutoff = p.obstacle.clearance + radius;
  const parts = Math.ceil(count / 500);
  const runs = Array.from({ length: parts }, (_, n) => ({
    from: Math.floor((n * count) / parts),
    to: Math.floor(((n + 1) * count) / parts),
  }));
  const found = await context.pool.map(
    approachTask,
    runs.map((r) => ({ tree: p.tree!, faces: corners, ...r, cutoff: Math.max(cutoff, 1e-6) })),
  );
  const misses: Miss[] = [];
  for (const { found: f } of found)
    for (let o = 0; o < f.length; o += NEAR) {
      const at = (k: number): Vec3 => [f[o + k] + p.origin[0], f[o + k + 1] + p.origin[1], f[o + k + 2] + p.origin[2]];
      misses.push({ face: f[o], distance: f[o + 1] - radius, at: at(2), on: at(5) });
    }
  return groupPatches(mesh, misses, p.obstacle.clearance).map(({ area_mm2, depth_mm, at_mm }) => ({ area_mm2, depth_mm, at_mm }));
}

/** What of the body lies inside a clearance, and inside an obstacle, by the coverage of cells. */
async function litresOf(
  near: Nearness,
  pose: Pose,
  scans: readonly Scan[],
  context: Context,
): Promise<Pick<Stand, 'too_near_l' | 'interference_l'>> {
  const moved = posed(near.body, pose, near.centre);
  const grid: Grid = gridOver(growBox(meshBox(moved), near.field.grid.step), near.field.grid.step);
  const body = await near.fieldAt(moved, grid);
  const inClearance: Field = { grid, data: allocateF32(context.pool, body.data.length).fill(-1e6) };
  const inside: Field = { grid, data: new Float32Array(body.data.length).fill(-1e6) };
  for (const s of scans) {
    const d = await signedDistance(s, grid, [0, standOff(s)], context);
    for (let c = 0; c < d.data.length; c++) {
      inClearance.data[c] = Math.max(inClearance.data[c], standOff(s) - d.data[c]);
      inside.data[c] = Math.max(inside.data[c], s.radius - d.data[c]);
    }
  }
  for (const f of [inClearance, inside]) for (let c = 0; c < f.data.length; c++) f.data[c] = Math.min(f.data[c], body.data[c]);
  return { too_near_l: volume(inClearance) / MM3_PER_LITRE, interference_l: volume(inside) / MM3_PER_LITRE };
}

function moveOf({ pose, held, settled }: Settled, near: Nearness): NonNullable<TrialResult['moved']>['move'] {
  return {
    shift_mm: pose.shift,
    turn_deg: scale(pose.turn, 1 / RADIANS_PER_DEGREE),
    rows: rowsOf(pose, near.centre),
    held_by: held.map((c) => ({ obstacle: near.prepared[c.obstacle].obstacle.name, at_mm: c.at, slack_mm: c.slack })),
    settled,
  };
}

import type { Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, type Grid, gridOver } from '../core/grid.ts';
import { type Mesh, meshBox, meshVolume, triangleCount } from '../core/mesh.ts';
import { MM3_PER_LITRE, RADIANS_PER_DEGREE } from '../core/units.ts';
import { boxSize, growBox, length, scale, type Vec3 } from '../core/vec.ts';
import { closedness } from '../field/closed.ts';
import { distanceToMesh } from '../field/distance.ts';
import { volumeOfBoth } from '../field/integrate.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import { AT_REST, type Pose, posed, rowsOf } from '../fit/pose.ts';
import { refineFaces } from '../fit/refine.ts';
import { type Settled, settle } from '../fit/settle.ts';
import type { ObstacleStand, Stand, TrialResult } from '../fit/trial.ts';
import type { Job } from '../job/job.ts';
import { approachTask, NEAR } from '../make/approach.ts';
import { type CertificateObstacle, certifyPrepared, type PreparedObstacle } from '../make/certificate.ts';
import { groupPatches, type Miss, type Patch } from '../make/patches.ts';
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
  for (const s of present)
    if (s.settings.motion.length > 0)
      run.notes.push({
        code: 'motion-as-scanned',
        text: `"${s.name}" moves, but a finished body is held against it as it was scanned only.`,
        where: s.name,
      });
  const limits = { shift: job.fit.shift, turn: scale(job.fit.turn, RADIANS_PER_DEGREE) };
  const half = length(boxSize(meshBox(body))) / 2;
  const reach = length(limits.shift) + length(limits.turn) * half;
  const near = await Nearness.of(body, obstaclesOf(present), { reach, step: job.step }, context);
  run.done('clearances');
  const asPlaced = await stand(near, AT_REST, present, run);
  run.done('closest approach');
  const input = { judge: (pose: Pose, below: number) => near.contacts(pose, below), centre: near.centre, radius: near.radius, limits };
  const settled = await settle(input, context);
  const after = settled.after > settled.before + WORTH ? await stand(near, settled.pose, present, run) : null;
  // Only what the exact measure confirms is told of.
  const gains = after && after.least_slack_mm > asPlaced.least_slack_mm + WORTH;
  const moved = gains ? { ...after, move: moveOf(settled, near) } : null;
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

/** As for a certificate; a scan that is closed has an inside that is forbidden too. */
const obstaclesOf = (scans: readonly Scan[]): CertificateObstacle[] =>
  certificateObstacles(scans).map((o, i) =>
    'mesh' in o && scans[i].settings.solid === 'auto' && closedness(o.mesh).ok && meshVolume(o.mesh) > 0 ? { ...o, solid: true } : o,
  );

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
    const patches = a.patches.length > 0 ? await finePatches(moved, p, a.patches, context) : [];
    const least = deep && a.closest_mm !== null ? Math.min(-deep.depth, a.closest_mm) : a.closest_mm;
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
  const wrong = present.flatMap((scan, i) => (obstacles[i].pass ? [] : [{ scan, crossed: obstacles[i].relation !== 'apart' }]));
  const litres = misses.length > 0 || wrong.length > 0 ? await litresOf(near, pose, wrong, context) : { too_near_l: 0, interference_l: 0 };
  const least = obstacles.reduce((m, o) => Math.min(m, o.slack_mm ?? Infinity), Infinity);
  return { pass: certificate.pass, least_slack_mm: least, obstacles, ...litres };
}

/** The patches again, on the faces cut small: their areas are then those that are really too near, to the size of a piece. */
async function finePatches(body: Mesh, p: PreparedObstacle, rough: readonly Patch[], context: Context): Promise<ObstacleStand['patches']> {
  if (!p.tree) return [];
  const faces = [...new Set(rough.flatMap((r) => r.faces))].sort((a, b) => a - b);
  const { mesh } = refineFaces(body, PATCH_PIECE, faces);
  const count = triangleCount(mesh);
  const shift = [0, 1, 2].map((a) => mesh.origin[a] - p.origin[a]);
  const corners = new Float64Array(context.pool.allocate(72 * count));
  for (let c = 0; c < mesh.indices.length; c++)
    for (let a = 0; a < 3; a++) corners[3 * c + a] = mesh.positions[3 * mesh.indices[c] + a] + shift[a];
  const radius = 'mesh' in p.obstacle ? 0 : p.obstacle.radius;
  const { clearance } = p.obstacle;
  const solid = 'mesh' in p.obstacle && p.obstacle.solid ? buildWinding(p.obstacle.mesh) : undefined;
  // Inside a solid nothing lies deeper than the rough patches say.
  const cutoff = Math.max(clearance + radius, solid ? rough[0].depth_mm - clearance + 0.01 : 0, 1e-6);
  const parts = Math.ceil(count / 500);
  const runs = Array.from({ length: parts }, (_, n) => ({
    from: Math.floor((n * count) / parts),
    to: Math.floor(((n + 1) * count) / parts),
  }));
  const found = await context.pool.map(
    approachTask,
    runs.map((r) => ({ tree: p.tree!, faces: corners, ...r, cutoff })),
  );
  const misses: Miss[] = [];
  for (const { found: f } of found)
    for (let o = 0; o < f.length; o += NEAR) {
      const at = (k: number): Vec3 => [f[o + k] + p.origin[0], f[o + k + 1] + p.origin[1], f[o + k + 2] + p.origin[2]];
      const inside = solid !== undefined && windingNumber(solid, middleOf(mesh, f[o])) > 0.5;
      const distance = inside ? -f[o + 1] : f[o + 1] - radius;
      if (distance < clearance) misses.push({ face: f[o], distance, at: at(2), on: at(5) });
    }
  return groupPatches(mesh, misses, p.obstacle.clearance).map(({ area_mm2, depth_mm, at_mm }) => ({ area_mm2, depth_mm, at_mm }));
}

function middleOf({ positions: p, indices: t, origin }: Mesh, face: number): Vec3 {
  const at = (a: number): number => origin[a] + (p[3 * t[3 * face] + a] + p[3 * t[3 * face + 1] + a] + p[3 * t[3 * face + 2] + a]) / 3;
  return [at(0), at(1), at(2)];
}

interface Wrong {
  readonly scan: Scan;
  readonly crossed: boolean;
}

/** What of the body lies inside a clearance, and inside an obstacle that it crosses, by the coverage of cells. */
async function litresOf(
  near: Nearness,
  pose: Pose,
  wrong: readonly Wrong[],
  context: Context,
): Promise<Pick<Stand, 'too_near_l' | 'interference_l'>> {
  const moved = posed(near.body, pose, near.centre);
  const grid: Grid = gridOver(growBox(meshBox(moved), near.field.grid.step), near.field.grid.step);
  const body = await near.fieldAt(moved, grid);
  const inClearance: Field = { grid, data: new Float32Array(body.data.length).fill(-FAR) };
  const inside: Field = { grid, data: new Float32Array(body.data.length).fill(-FAR) };
  for (const { scan: s, crossed } of wrong) {
    // Only what is crossed has an inside that matters: an open scan may seem to enclose what stands before it.
    const d = crossed
      ? await signedDistance(s, grid, { levels: [standOff(s)] }, context)
      : await distanceToMesh(s.mesh, grid, { levels: [standOff(s)] }, context);
    if (crossed && s.points === 0) setSides(d, s, body);
    for (let c = 0; c < d.data.length; c++) {
      inClearance.data[c] = Math.max(inClearance.data[c], standOff(s) - d.data[c]);
      if (crossed) inside.data[c] = Math.max(inside.data[c], s.radius - d.data[c]);
    }
  }
  return { too_near_l: volumeOfBoth(body, inClearance) / MM3_PER_LITRE, interference_l: volumeOfBoth(body, inside) / MM3_PER_LITRE };
}

/** Sets the signs of the cells inside the body that are too close to the scan for the signed distance to know: by the winding number of each. */
function setSides({ grid, data }: Field, scan: Scan, body: Field): void {
  const tree = buildWinding(scan.mesh);
  for (let c = 0; c < data.length; c++) {
    const d = Math.abs(data[c]);
    if (d >= grid.step || body.data[c] < -grid.step) continue;
    data[c] = Math.abs(windingNumber(tree, cellCentre(grid, c))) > 0.5 ? -d : d;
  }
}

/** Deeper outside than any field that matters, mm. */
const FAR = 1e4;

function moveOf({ pose, held, settled }: Settled, near: Nearness): NonNullable<TrialResult['moved']>['move'] {
  return {
    shift_mm: pose.shift,
    turn_deg: scale(pose.turn, 1 / RADIANS_PER_DEGREE),
    rows: rowsOf(pose, near.centre),
    held_by: held.map((c) => ({ obstacle: near.prepared[c.obstacle].obstacle.name, at_mm: c.at, slack_mm: c.slack })),
    settled,
  };
}

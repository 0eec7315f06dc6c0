import type { Context } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { gridBox, gridOver } from '../core/grid.ts';
import { type Mesh, meshBox } from '../core/mesh.ts';
import { add, growBox, intersectBox, isEmptyBox, sub, type Vec3 } from '../core/vec.ts';
import { distanceToMesh } from '../field/distance.ts';
import { surface } from '../field/surface.ts';
import { approachTask, buildTree, NEAR, type Tree } from '../make/approach.ts';
import type { ClosestResult } from '../report/closest.ts';
import { jointsOf, poseAt, posed } from '../scan/motion.ts';
import type { Scan } from '../scan/scan.ts';
import { moves, reachedBox } from '../space/moving.ts';
import { standOff } from '../space/slack.ts';
import type { Measured } from './measure.ts';

/** Farther than its clearance and this from the envelope, mm, an obstacle is not worth a line. */
const BEYOND = 50;
/** Poses looked at: of one joint, and of each of two. */
const POSES = [17, 7];
/** Faces of an obstacle that are held against the envelope exactly: those that may be nearest by the grid. */
const MOST_FACES = 500;

/**
 * Closest approach of each obstacle to the envelope, the tightest first. A coarse distance field round the envelope picks the faces of each scan
 * that may be nearest; those are held against the envelope's own faces exactly.
 *
 * Whole trees over the scans were not tried: building one over a million triangles alone takes longer than all of this.
 */
export async function closestApproaches({ drawn, envelope: mesh }: Measured, context: Context): Promise<ClosestResult[]> {
  const { envelope, double, obstacles } = drawn.space;
  const reach = Math.max(0, ...obstacles.map(standOff)) + BEYOND;
  const grid = gridOver(growBox(meshBox(mesh), reach), 2 * double.envelope.grid.step);
  const far = await distanceToMesh(surface(double.envelope, 0), grid, {}, context);
  const tree = buildTree(mesh.positions, mesh.indices, context.pool);
  const found: ClosestResult[] = [];
  for (const scan of obstacles) {
    if (isEmptyBox(intersectBox(reachedBox(scan), gridBox(grid)))) continue;
    // What the picking can be off by: the grid's interpolation, and the rough envelope against the fine one.
    const near = nearestPose(scan, far, grid.step + envelope.grid.step);
    if (!near || near.least > standOff(scan) + BEYOND) continue;
    const exact = await heldAgainst(tree, mesh.origin, near, context);
    if (exact)
      found.push({ scan: scan.name, ...exact, gap_mm: Math.max(0, exact.gap_mm - scan.radius), asked_mm: scan.settings.clearance });
  }
  return found.sort((a, b) => a.gap_mm - a.asked_mm - (b.gap_mm - b.asked_mm));
}

interface Picked {
  readonly mesh: Mesh;
  /** Numbers of faces, those that may be nearest first. */
  readonly faces: readonly number[];
  /** Least of the field over the faces' middles, mm. */
  readonly least: number;
}

function nearestPose(scan: Scan, far: Field, doubt: number): Picked | undefined {
  let best: Picked | undefined;
  for (const mesh of posesOf(scan)) {
    const picked = pickFaces(mesh, far, doubt);
    if (picked && (!best || picked.least < best.least)) best = picked;
  }
  return best;
}

function posesOf(scan: Scan): readonly Mesh[] {
  if (!moves(scan)) return [scan.mesh];
  const joints = jointsOf(scan.settings.motion);
  const count = POSES[joints.length - 1];
  return Array.from({ length: count ** joints.length }, (_, n) => {
    const values = joints.map((j, i) => j.from + ((j.to - j.from) * (Math.floor(n / count ** i) % count)) / (count - 1));
    return posed(scan.mesh, poseAt(joints, values));
  });
}

/** The field changes by no more than 1 mm a mm: over a face it is no less than at its middle less the distance to its farthest corner. */
function pickFaces(mesh: Mesh, far: Field, doubt: number): Picked | undefined {
  const { positions: p, indices: t, origin } = mesh;
  const { min, max } = gridBox(far.grid);
  const rows: [low: number, face: number][] = [];
  let least = Infinity;
  let bound = Infinity;
  const m: [number, number, number] = [0, 0, 0];
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [3 * t[f], 3 * t[f + 1], 3 * t[f + 2]];
    for (let i = 0; i < 3; i++) m[i] = (p[a + i] + p[b + i] + p[c + i]) / 3 + origin[i];
    if (m[0] < min[0] || m[1] < min[1] || m[2] < min[2] || m[0] > max[0] || m[1] > max[1] || m[2] > max[2]) continue;
    const at = sampleField(far, m);
    let size = 0;
    for (const v of [a, b, c])
      size = Math.max(size, (p[v] + origin[0] - m[0]) ** 2 + (p[v + 1] + origin[1] - m[1]) ** 2 + (p[v + 2] + origin[2] - m[2]) ** 2);
    const low = at - Math.sqrt(size) - doubt;
    if (low > bound) continue;
    bound = Math.min(bound, at + doubt);
    least = Math.min(least, at);
    rows.push([low, f / 3]);
  }
  if (rows.length === 0) return undefined;
  const faces = rows
    .filter(([low]) => low <= bound)
    .sort((x, y) => x[0] - y[0] || x[1] - y[1])
    .slice(0, MOST_FACES)
    .map(([, face]) => face);
  return { mesh, faces, least };
}

/** Exact distance of the faces from the envelope's, and where. */
async function heldAgainst(
  tree: Tree,
  origin: Vec3,
  { mesh, faces: picked }: Picked,
  { pool }: Context,
): Promise<Pick<ClosestResult, 'at_mm' | 'to_mm' | 'gap_mm'> | undefined> {
  const shift = sub(mesh.origin, origin);
  const faces = new Float64Array(pool.allocate(72 * picked.length));
  picked.forEach((f, n) => {
    for (let c = 0; c < 9; c++) faces[9 * n + c] = mesh.positions[3 * mesh.indices[3 * f + Math.floor(c / 3)] + (c % 3)] + shift[c % 3];
  });
  const [{ nearest }] = await pool.map(approachTask, [{ tree, faces, from: 0, to: picked.length, cutoff: 0 }]);
  if (nearest.length < NEAR) return undefined;
  const at = (o: number): Vec3 => add([nearest[o], nearest[o + 1], nearest[o + 2]], origin);
  return { gap_mm: nearest[1], at_mm: at(2), to_mm: at(5) };
}

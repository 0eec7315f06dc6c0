import { allocateF32, type Pool } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import { type Mesh, meshBox } from '../core/mesh.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from '../core/units.ts';
import { euler, type Moments, volume } from '../field/integrate.ts';
import { surface } from '../field/surface.ts';
import type { EnvelopeResult } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { nearestObstacles } from '../space/checks.ts';
import { everySecond, type NeckFound, necksFrom, reclaimedTask, volumesByRadius } from '../space/envelope.ts';
import { type Bounds, boundsFrom } from './bounds.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

export interface EnvelopeMeasured {
  readonly result: EnvelopeResult;
  readonly mesh: Mesh;
  /** Of any volume that the envelope's surface bounds. */
  readonly bounds: Bounds;
  /** Envelope at twice the step less this one, mm3. */
  readonly change: number;
  /** As found, in the order of the result's. */
  readonly necks: readonly NeckFound[];
}

/** What the envelope measures (`whole`: its moments, known already), its curve of volume against radius, and its necks. */
export async function measureEnvelope(space: Space, whole: Moments, run: Run): Promise<EnvelopeMeasured> {
  const { envelope, free, root, obstacles, double, start } = space;
  const radius = space.job.least_radius;
  const radii = radiiUpTo(radius, free.data[root]);
  const mm2 = whole.area;
  const bounds = boundsFrom(mm2, space.accuracy.mm);
  const [fine, rough] = [whole.volume, volume(double.envelope)];
  const shape = euler(envelope);
  const mesh = surface(envelope, 0);
  // Deep inside, the field is good to a fraction of a cell only; the ball that is printed is held against the scans themselves.
  const centre = cellCentre(free.grid, root);
  const ball = { radius_mm: Math.min(free.data[root], nearestObstacles(obstacles, centre)[0].slack), centre_mm: centre };
  const necks = necksFrom(free, root, envelope, radius);
  // Last, so that it does not stand before the tank's tasks, which have others waiting for them.
  const volumes = await volumesByRadius(double.free, double.root, radii, run.context);
  const result: EnvelopeResult = {
    volume_l: bounds(fine, rough),
    area_dm2: mm2 / MM2_PER_DM2,
    box_mm: meshBox(mesh),
    centre_mm: whole.centroid,
    pieces: shape.pieces,
    through_holes: shape.holes,
    largest_ball: ball,
    least_radius_mm: radius,
    start_mm: cellCentre(free.grid, start.cell),
    start_from: start.how,
    by_radius: radii.map((r, i) => ({ radius_mm: r, volume_l: volumes[i] / MM3_PER_LITRE })),
    necks: necks.map((n) => neckResult(n, obstacles)),
  };
  return { result, mesh, bounds, change: rough - fine, necks };
}

/** Radii worth a point on the curve: the job's own, some below and some up to the largest ball, mm, rounded to half a mm. */
function radiiUpTo(radius: number, largest: number): number[] {
  const shares = [0.5, 1, 1.5, 2, 3, 5];
  const radii = shares.map((k) => Math.max(0.5, Math.round(radius * k * 2) / 2)).map((r, i) => (shares[i] === 1 ? radius : r));
  return [...new Set(radii)].filter((r) => r <= largest).sort((a, b) => a - b);
}

function neckResult(n: NeckFound, obstacles: readonly Scan[]): EnvelopeResult['necks'][number] {
  const near = nearestObstacles(obstacles, n.at);
  const radius = n.diameter / 2;
  const close = near.filter((o) => o.slack < radius + 4).map((o) => o.name);
  return {
    at_mm: n.at,
    diameter_mm: n.diameter,
    behind_l: n.behind / MM3_PER_LITRE,
    passed: n.passed,
    between: close.length > 0 ? close.slice(0, 3) : ['the border of the region'],
  };
}

/** The room that the removed part gave, mm3, and the same at twice the step; undefined when no part is named. */
export async function measureReclaimed(space: Space, { context }: Run): Promise<readonly number[] | undefined> {
  const before = removedBefore(space, context.pool);
  if (!before) return undefined;
  const radius = space.job.least_radius;
  return context.pool.map(reclaimedTask, [
    { envelope: space.envelope, before, radius },
    { envelope: space.double.envelope, before: everySecond(before), radius },
  ]);
}

/** The free field with the removed parts, and what the job before the work has, in place; null when there are none. */
export function removedBefore(
  { scans, free, removed: distance, before }: Pick<Space, 'scans' | 'free' | 'removed' | 'before'>,
  pool: Pool,
): Field | null {
  const removed = scans.filter((s) => s.settings.role === 'removed');
  if (removed.length === 0 || !distance) return before?.free ?? null;
  const clearance = Math.max(...removed.map((s) => s.settings.clearance));
  const data = allocateF32(pool, free.data.length);
  for (let c = 0; c < data.length; c++) data[c] = Math.min((before?.free ?? free).data[c], distance.data[c] - clearance);
  return { grid: free.grid, data };
}

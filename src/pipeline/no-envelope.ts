import { Fault } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCentre } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import type { Job } from '../job/job.ts';
import type { Scan } from '../scan/scan.ts';
import { startFault } from '../space/checks.ts';
import { highest } from '../space/envelope.ts';

/** Why there is no envelope, and the nearest change that would give one. */
export function noEnvelope(
  job: Job,
  free: Field,
  obstacles: readonly Scan[],
  { start, startInRegion }: { start: number; startInRegion: boolean },
): Fault {
  if (job.start && start < 0) {
    const point = job.start;
    let best = -1;
    let least = Infinity;
    for (let c = 0; c < free.data.length; c++) {
      if (free.data[c] < job.least_radius) continue;
      const p = cellCentre(free.grid, c);
      const d = Math.hypot(p[0] - point[0], p[1] - point[1], p[2] - point[2]);
      if (d < least) {
        least = d;
        best = c;
      }
    }
    return startFault(point, obstacles, best >= 0 ? cellCentre(free.grid, best) : null, startInRegion);
  }
  const top = highest(free);
  const most = top >= 0 ? free.data[top] : -Infinity;
  const here = start >= 0 ? Math.max(free.data[start], 0) : 0;
  const at: Vec3 = top >= 0 ? cellCentre(free.grid, top) : [0, 0, 0];
  const place = `[${at.map((v) => Math.round(v)).join(', ')}]`;
  const hint =
    most > 0
      ? `the largest ball that fits has radius ${most.toFixed(1)} mm, at ${place}: set least_radius to at most that${here > 0 && here < most ? ` (at the start: ${here.toFixed(1)} mm)` : ''}`
      : `clearances smaller by ${(-most).toFixed(1)} mm would leave a first free point, at ${place}`;
  return new Fault({
    code: 'no-envelope',
    what: `Nothing is free for a ball of radius ${job.least_radius} mm at these clearances.`,
    got: most > 0 ? `a largest ball of radius ${most.toFixed(1)} mm` : 'no free point in the region',
    expected: `room for a ball of radius ${job.least_radius} mm`,
    hint,
    exit: 3,
  });
}

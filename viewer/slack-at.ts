import { sampleField } from '../src/core/field.ts';
import { gridBox } from '../src/core/grid.ts';
import type { Vec3 } from '../src/core/vec.ts';
import type { Coarse } from '../src/report/coarse.ts';

/** Slack at a point, mm, and the obstacle that sets it, from the coarse fields; nothing where they do not reach or know no obstacle. */
export function slackAt({ header, fields }: Coarse, p: Vec3): { slack?: number; by?: string } {
  const box = gridBox(header.grid);
  if (p.some((v, a) => v < box.min[a] || v > box.max[a])) return {};
  let slack: number | undefined;
  let by: string | undefined;
  header.obstacles.forEach((o, n) => {
    const v = sampleField({ grid: header.grid, data: fields[n + 1] }, p) - o.off - o.clearance;
    if (slack !== undefined && v >= slack) return;
    slack = v;
    by = o.name;
  });
  return { slack, by };
}

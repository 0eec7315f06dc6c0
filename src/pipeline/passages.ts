import { allocateF32, type Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid, gridOver } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { boxSize, distance, growBox, intersectBox, isEmptyBox, unionBox } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { volume } from '../field/integrate.ts';
import { withBores } from '../fill/cavity.ts';
import { type Closest, CurveCheck, type CurveNeighbour } from '../fit/clear-curve.ts';
import type { Curve } from '../fit/curve.ts';
import { findPassage, type Passage } from '../fit/passages.ts';
import type { RouteResult } from '../fit/result.ts';
import type { JobPassage } from '../job/schema-passages.ts';
import { nearestObstacles } from '../space/checks.ts';
import { isObstacle } from '../space/slack.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** How far round the straight line between the ends a way is looked for: a share of its length, and at least, mm. */
const AROUND = 0.4;
const LEAST_AROUND = 120;
/** Cells of the grid at most. */
const MOST_CELLS = 1.5e6;
/** What a proof may fall short by and still pass, mm: its own slop. */
const SLOP = 0.06;

/** Leads each hose of the job, past every scan that is an obstacle. `envelope`: the envelope's mesh, which some must stay outside of. */
export async function leadPassages(asked: readonly JobPassage[], space: Space, envelope: Mesh, run: Run): Promise<RouteResult[]> {
  const out: RouteResult[] = [];
  for (const [i, ask] of asked.entries()) {
    run.context.progress('passages', i / asked.length);
    out.push(await lead(ask, space, envelope, run.context));
  }
  return out;
}

async function lead(ask: JobPassage, space: Space, envelope: Mesh, context: Context): Promise<RouteResult> {
  const need = ask.diameter / 2 + ask.clearance;
  const grid = gridAround(ask, space.step);
  const neighbours = neighboursOf(space, grid, ask.through ? null : envelope);
  const field: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(Math.max(3 * need, 60)) };
  for (const n of neighbours) await lowerToDistance(field, n.mesh, { levels: [n.off + need], offset: n.off }, context);
  const check = new CurveCheck(neighbours);
  let closest: Closest | null = null;
  const clear = (curve: Curve): boolean => {
    closest = check.closest(curve.points, ask.ends, need - SLOP);
    return closest.atLeast >= need - SLOP;
  };
  const found = findPassage(field, { ...ask, bendRadius: ask.bend_radius }, clear, (p) => check.nearestTo(p));
  return resultOf(ask, found, closest, space);
}

function gridAround({ from, to }: JobPassage, step: number): Grid {
  const box = growBox(unionBox({ min: from, max: from }, { min: to, max: to }), Math.max(LEAST_AROUND, AROUND * distance(from, to)));
  const [x, y, z] = boxSize(box);
  return gridOver(box, Math.max(step, Math.cbrt((x * y * z) / MOST_CELLS)));
}

function neighboursOf({ scans }: Space, grid: Grid, envelope: Mesh | null): CurveNeighbour[] {
  const room = growBox(
    {
      min: grid.origin,
      max: [grid.origin[0] + grid.nx * grid.step, grid.origin[1] + grid.ny * grid.step, grid.origin[2] + grid.nz * grid.step],
    },
    100,
  );
  const near = scans.filter((s) => isObstacle(s) && !isEmptyBox(intersectBox(s.box, room)));
  return [
    ...near.map((s) => ({ name: s.name, mesh: s.mesh, off: s.radius + s.settings.doubt })),
    ...(envelope ? [{ name: 'the envelope', mesh: envelope, off: 0 }] : []),
  ];
}

function resultOf(ask: JobPassage, { bottleneck, curve, why, bendable }: Passage, closest: Closest | null, space: Space): RouteResult {
  const bore = { points: curve?.points ?? [], diameter: ask.diameter + 2 * ask.clearance };
  const near = bottleneck ? nearestObstacles(space.scans.filter(isObstacle), bottleneck.at).slice(0, 2) : [];
  const cost = curve && ask.through ? volume(space.envelope) - volume(withBores(space.envelope, [bore])) : 0;
  return {
    name: ask.name,
    ok: curve !== null,
    why: why && reason(why, ask, bottleneck?.diameter ?? 0, bendable),
    diameter_mm: ask.diameter,
    clearance_mm: ask.clearance,
    bottleneck: bottleneck && {
      diameter_mm: bottleneck.diameter,
      error_mm: bottleneck.error,
      at_mm: bottleneck.at,
      between: near.map((o) => o.name),
    },
    length_mm: curve?.length ?? 0,
    bends: (curve?.bends ?? []).map((b) => ({ at_mm: b.at, radius_mm: b.radius, angle_deg: b.angle })),
    least_gap_mm: curve && closest ? closest.atLeast - ask.diameter / 2 : null,
    tightest_mm: curve && closest ? closest.at : null,
    tightest_to: curve && closest ? closest.neighbour : null,
    cost_l: cost / MM3_PER_LITRE,
    line: curve?.points ?? [],
  };
}

function reason(why: NonNullable<Passage['why']>, ask: JobPassage, widest: number, bendable: number | null): string {
  if (why === 'ends apart') return 'Its ends do not hang together, or lie in a scan; give other points or longer ends.';
  if (why === 'too narrow')
    return widest > 0
      ? `With ${ask.clearance} mm of clearance at most ${Math.max(0, Math.floor(10 * widest) / 10).toFixed(1)} mm pass.`
      : `The clearance of ${ask.clearance} mm alone is more than the narrowest place has.`;
  const would = bendable ? `; ${bendable.toFixed(0)} mm would do` : '';
  return `It is wide enough, but not for bends of ${ask.bend_radius} mm${would}.`;
}

import { allocateF32, type Context } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import { type Field, sampleField } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { surface } from '../field/surface.ts';
import type { LessSure } from '../scan/less-sure.ts';
import type { Scan } from '../scan/scan.ts';
import { lowerToSweep, moves } from '../space/moving.ts';
import { standOff } from '../space/slack.ts';
import type { Run } from './run.ts';

export interface Accuracy {
  /** How far the envelope's surface may be off, the mean over its area, mm. */
  readonly mm: number;
  readonly lessSure: readonly LessSure[];
}

/** Places on the envelope's surface that are asked what bounds them. */
const PLACES = 4000;

/**
 * How far the surface of the envelope may be off. Every scan has the job's accuracy; where an obstacle bounds the envelope whose surface is doubtful, was placed
 * with an error, or is a cloud, that comes on top, in proportion to the area that it bounds: an error b over an area S moves a volume by S b.
 */
export async function surfaceAccuracy(
  given: number,
  { free, envelope }: { readonly free: Field; readonly envelope: Field },
  obstacles: readonly Scan[],
  run: Run,
): Promise<Accuracy> {
  const doubtful = obstacles.map((s) => ({ scan: s, ...partsOf(s, run) })).filter((d) => d.doubt_mm + d.placing_mm + d.points_mm > 0);
  if (doubtful.length === 0) return { mm: given, lessSure: [] };
  const places = placesOn(envelope);
  const lessSure: LessSure[] = [];
  for (const { scan, ...parts } of doubtful) {
    const share = await boundedShare(free, scan, places, run.context);
    if (share > 0) lessSure.push({ name: scan.name, percent: 100 * share, ...parts });
  }
  const more = lessSure.reduce((sum, l) => sum + (l.percent / 100) * (l.doubt_mm + l.placing_mm + l.points_mm), 0);
  return { mm: given + more, lessSure };
}

function partsOf(s: Scan, run: Run): Pick<LessSure, 'doubt_mm' | 'placing_mm' | 'points_mm'> {
  const placing = run.placings.find((p) => p.scan === s.name)?.error_mm ?? 0;
  return { doubt_mm: s.settings.doubt, placing_mm: placing, points_mm: s.cloud?.off ?? 0 };
}

function placesOn(envelope: Field): Vec3[] {
  const { origin, positions: p } = surface(envelope, 0);
  const every = Math.max(1, Math.floor(p.length / 3 / PLACES));
  return Array.from({ length: Math.floor(p.length / 3 / every) }, (_, i): Vec3 => {
    const v = i * every * 3;
    return [origin[0] + p[v], origin[1] + p[v + 1], origin[2] + p[v + 2]];
  });
}

/** Share of the places at which no obstacle leaves less slack than this one: where it can still lower the free field, raised by half a cell. */
async function boundedShare(free: Field, scan: Scan, places: readonly Vec3[], context: Context): Promise<number> {
  const raised = free.grid.step / 2;
  const data = allocateF32(context.pool, free.data.length);
  for (let c = 0; c < data.length; c++) data[c] = free.data[c] + raised;
  const field: Field = { grid: free.grid, data };
  const offset = standOff(scan);
  if (moves(scan)) await lowerToSweep(field, scan, { offset, levels: [offset] }, context);
  else await lowerToDistance(field, scan.mesh, { levels: [offset], offset }, context);
  const bounded = places.filter((p) => sampleField(field, p) < sampleField(free, p) + raised / 2);
  return bounded.length / Math.max(1, places.length);
}

/** What the run says of them. */
export const lessSureNotes = ({ lessSure }: Accuracy): Note[] =>
  lessSure.map((l) => ({
    code: 'surface-less-sure',
    text: `"${l.name}" bounds ${l.percent.toFixed(0)} % of the envelope and its surface is less sure than the other scans': ${reasons(l)}. The bounds have that in them.`,
    where: l.name,
  }));

function reasons({ doubt_mm, placing_mm, points_mm }: LessSure): string {
  return [
    doubt_mm > 0 ? `${doubt_mm} mm of doubt, as the job says` : '',
    placing_mm > 0 ? `${placing_mm.toFixed(2)} mm from its placing` : '',
    points_mm > 0 ? `${points_mm.toFixed(2)} mm from the noise of its points` : '',
  ]
    .filter((r) => r !== '')
    .join(', ');
}

/** The same where no envelope says which obstacle bounds it: the least sure of them may bound all of it. */
export const worstAccuracy = (given: number, obstacles: readonly Scan[], run: Run): number =>
  given +
  obstacles.reduce((most, s) => {
    const { doubt_mm, placing_mm, points_mm } = partsOf(s, run);
    return Math.max(most, doubt_mm + placing_mm + points_mm);
  }, 0);

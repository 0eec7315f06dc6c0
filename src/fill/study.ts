import { ALONE, type Task } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { moments, volume } from '../field/integrate.ts';
import { everySecond, highest } from '../space/envelope.ts';
import { rollBall } from '../space/roll.ts';
import { type Bounded, litres } from './bounded.ts';
import { depthIn } from './cavity.ts';
import type { StandOptions } from './stand.ts';
import { roughTank, type TankOptions, tankOf, throughOf } from './tank.ts';

/** One clearance and least radius, with all the walls that are tried in the envelope that they leave. */
export interface Trial {
  /** Depth in the region, mm. */
  readonly region: Field;
  /** Least of the slack and of the region's depth and `most`, mm: the same for all clearances, so that it is worked out once. */
  readonly slack: Field;
  /** Added to every clearance, mm: up to the `most` above. */
  readonly more: number;
  readonly radius: number;
  /** Cells that may be the start: the highest of them is taken. */
  readonly start: readonly number[];
  readonly walls: readonly number[];
  /** All but the wall. Null: only the envelope is measured. */
  readonly tank: TankOptions | null;
  readonly stand: Partial<StandOptions>;
  readonly accuracy: number;
}

/** A line of the table; litres are null where there is no envelope, or no cavity in it. */
export interface StudyRow {
  readonly more_clearance_mm: number;
  readonly least_radius_mm: number;
  readonly wall_mm: number | null;
  readonly envelope_l: Bounded | null;
  readonly rated_l: Bounded | null;
  readonly usable_l: Bounded | null;
}

/** Works out one trial: the envelope once, a tank for each wall. */
export const studyTask: Task<Trial, StudyRow[]> = { name: 'study.trial', run: tryWalls };

async function tryWalls(trial: Trial): Promise<StudyRow[]> {
  const { radius, walls, more } = trial;
  const row = { more_clearance_mm: more, least_radius_mm: radius };
  const none = { envelope_l: null, rated_l: null, usable_l: null };
  const each = trial.tank ? walls : [null];
  const free = freeAt(trial);
  const envelope = await rolledFrom(free, trial);
  if (!envelope) return each.map((wall_mm) => ({ ...row, wall_mm, ...none }));
  const half = everySecond(free);
  const rough = (await rolledFrom(half, { ...trial, start: nearCells(free, half, trial.start) })) ?? {
    grid: half.grid,
    data: half.data.map(() => -1),
  };
  const outer = moments(envelope);
  const { volume: mm3, area } = outer;
  const envelope_l = litres(mm3, area * trial.accuracy + Math.abs(volume(rough) - mm3));
  const { tank } = trial;
  // All walls are told from one depth.
  const through = tank ? walls.map((wall) => throughOf({ ...tank, wall })) : [];
  const shared =
    tank && !tank.bores?.length ? { outer: () => outer, depth: await depthIn(envelope, through, tank.leastRadius ?? null, ALONE) } : {};
  const rows: StudyRow[] = [];
  for (const wall_mm of each) {
    const filled = tank && wall_mm !== null ? await tankIn(envelope, rough, { ...tank, ...shared, wall: wall_mm }, trial.stand) : null;
    rows.push({ ...row, wall_mm, envelope_l, rated_l: filled?.rated_l ?? null, usable_l: filled?.usable_l ?? null });
  }
  return rows;
}

function freeAt({ region, slack, more }: Trial): Field {
  const data = new Float32Array(region.data.length);
  for (let c = 0; c < data.length; c++) data[c] = Math.min(region.data[c], slack.data[c] - more);
  return { grid: region.grid, data };
}

async function rolledFrom(free: Field, { radius, start }: Trial): Promise<Field | null> {
  let best = -1;
  for (const c of start) if (best < 0 || free.data[c] > free.data[best]) best = c;
  return best >= 0 && free.data[best] >= radius ? rollBall(free, radius, [best], ALONE) : null;
}

/** Cells of the field at twice the step that lie where the given ones do. */
function nearCells({ grid }: Field, half: Field, cells: readonly number[]): number[] {
  const { nx, ny } = grid;
  const h = half.grid;
  return cells.map((c) => {
    const [i, j, k] = [c % nx, Math.floor(c / nx) % ny, Math.floor(c / (nx * ny))].map((v) => v >> 1);
    return i + h.nx * (j + h.ny * k);
  });
}

async function tankIn(
  envelope: Field,
  rough: Field,
  options: TankOptions,
  stand: Partial<StandOptions>,
): Promise<{ rated_l: Bounded; usable_l: Bounded } | null> {
  try {
    const coarse = highest(rough) >= 0 ? await roughTank(rough, options, ALONE) : undefined;
    const { tank } = await tankOf(envelope, { ...options, coarse, stand, thin: false }, ALONE);
    return { rated_l: tank.rated_l, usable_l: tank.usable_l };
  } catch (error) {
    // A wall that leaves no cavity is an answer, not a mistake.
    if (error instanceof Fault && error.detail.exit === 3) return null;
    throw error;
  }
}

/** Litres of a row, for a chart: the rated volume, or the envelope where no tank is asked for. */
export const rowLitres = (r: StudyRow): number | null => (r.wall_mm === null ? r.envelope_l : r.rated_l)?.value ?? null;

/** The table as CSV with a heading line; empty where there is nothing. */
export function studyCsv(rows: readonly StudyRow[]): string {
  const cells = (b: Bounded | null): string[] => (b ? [b.value, b.low, b.high].map((v) => v.toFixed(3)) : ['', '', '']);
  const three = (name: string): string[] => [`${name}_l`, `${name}_low_l`, `${name}_high_l`];
  const head = ['more_clearance_mm', 'least_radius_mm', 'wall_mm', ...['envelope', 'rated', 'usable'].flatMap(three)];
  const lines = rows.map((r) =>
    [r.more_clearance_mm, r.least_radius_mm, r.wall_mm ?? '', ...cells(r.envelope_l), ...cells(r.rated_l), ...cells(r.usable_l)].join(','),
  );
  return `${[head.join(','), ...lines].join('\n')}\n`;
}

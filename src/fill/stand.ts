import { allocateF32, type Context, type Pool, type Task } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import { Fault } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { cellCount } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { dot, scale, type Vec3 } from '../core/vec.ts';
import { pieces, volume, volumeOfBoth } from '../field/integrate.ts';

import { heldBack } from './attitudes.ts';
import { cropped, thinned } from './crop.ts';
import { type Attitude, apparentUp, outletCell, outletPoint, UPRIGHT } from './level.ts';
import { proposeFiller, secondOutlet, toBorder } from './outlets.ts';
import { bestPlaces, type Place } from './places.ts';

/** How a tank stands: what is asked. */
export interface StandOptions {
  /** Attitudes that it takes in use. */
  readonly attitudes: readonly Attitude[];
  /** How it stands when it is filled; upright when left out. */
  readonly filling?: Attitude;
  /** Points on or in the cavity, mm; those left out are proposed. */
  readonly filler?: Vec3;
  readonly vents?: readonly Vec3[];
  readonly pickups?: readonly Vec3[];
  /** Slack of everything round the tank, mm, on any grid: a proposed filler then keeps a straight way to the open for a spout. */
  readonly slack?: Field | Promise<Field>;
  /** Radius that a filler's spout needs, mm. */
  readonly spout?: number;
  /** How far an outlet may stand off the cavity, mm (the wall and a little more). */
  readonly within?: number;
  /** No more cells than this are used for the floods; a finer cavity is thinned. */
  readonly cells?: number;
  /** Rank vents and pickups and look for a second one; default true. */
  readonly advise?: boolean;
}

/** Filler bores on petrol-burning light aircraft may not exceed 60 mm, 14 CFR 23.973(e): room enough for any nozzle's spout. */
export const SPOUT_RADIUS = 30;
/** Cells of the search for good places; every one is a candidate. */
const SEARCH_CELLS = 150_000;
/** Of the demo's tank at four attitudes 3M, 1.5M, 800,000 and 400,000 cells tell volumes within 0.02 l of each other; the last two take a quarter and a seventh of the time. */
const FLOOD_CELLS = 800_000;
/** A second pickup or a balance line is worth a word from here, mm3. */
const WORTH = 0.1 * MM3_PER_LITRE;

export interface StandRow {
  readonly attitude: Attitude;
  /** mm3 */
  readonly trapped: number;
  readonly stranded: number;
  /** Where the largest bubble and the largest pool are, mm, if there are any. */
  readonly trappedAt: Vec3 | null;
  readonly strandedAt: Vec3 | null;
}

export interface Standing {
  readonly rows: readonly StandRow[];
  readonly filler: Vec3;
  readonly vents: readonly Vec3[];
  readonly pickups: readonly Vec3[];
  readonly proposed: readonly ('filler' | 'vent' | 'pickup')[];
  /** How full it gets by itself at the filling attitude, mm3, and what keeps it from more. */
  readonly fill: { readonly attitude: Attitude; readonly volume: number; readonly trapped: number };
  readonly upright: { readonly volume: number; readonly trapped: number };
  /** The cavity on the cells that were flooded, mm3: what is found there is a share of that. */
  readonly whole: number;
  /** Best places over the attitudes, best first. */
  readonly ventPlaces: readonly Place[];
  readonly pickupPlaces: readonly Place[];
  readonly secondPickup: { readonly at: readonly [Vec3, Vec3]; readonly frees: number } | null;
  readonly balanceLine: { readonly at: readonly [Vec3, Vec3]; readonly frees: number } | null;
  readonly notes: readonly Note[];
}

/**
 * Air and fuel in the cavity (positive inside, a distance near its border) at the attitudes asked: outlets given or proposed,
 * what is trapped and stranded at each, how full it gets, and whether a second pickup or a balance line would pay.
 * Quasi-static; air is not compressed. Faults: `attitude-weightless`, `outlet-outside`, `cavity-empty`.
 */
export async function standingOf(cavity: Field, options: StandOptions, { pool }: Context): Promise<Standing> {
  const own = cropped(cavity);
  const f = inPool(thinned(own, options.cells ?? FLOOD_CELLS), pool);
  const rough = inPool(thinned(own, SEARCH_CELLS), pool);
  if (!rough.data.some((v) => v > 0))
    throw new Fault({
      code: 'cavity-empty',
      what: 'The cavity is empty: there is nothing to fill.',
      hint: 'a thinner wall or a smaller inside radius',
      exit: 3,
    });
  const within = (options.within ?? 20) + f.grid.step;
  const ups = options.attitudes.map(apparentUp);
  const downs = ups.map((u) => scale(u, -1));
  const advise = options.advise ?? true;
  const searches = [
    ...(advise || !options.vents ? [{ field: rough, ways: ups, prefer: [0, 0, 1] as const }] : []),
    ...(advise || !options.pickups ? [{ field: rough, ways: downs, prefer: [0, 0, -1] as const }] : []),
  ];
  const places = await pool.map(placesTask, searches);
  const [ventPlaces, pickupPlaces] = [1, -1].map((z) => places[searches.findIndex((s) => s.prefer[2] === z)] ?? []);
  const notes: Note[] = [];
  const filler = options.filler ?? fillerFor(f, { radius: options.spout ?? SPOUT_RADIUS, slack: await options.slack }, notes);
  const near = 2 * rough.grid.step;
  const vents = options.vents ?? [toBorder(f, ventPlaces[0].at, [0, 0, 1], near)];
  const pickups = options.pickups ?? [toBorder(f, pickupPlaces[0].at, [0, 0, -1], near)];
  const found = pool.map(
    rowTask,
    options.attitudes.map((attitude, i) => ({ field: f, attitude, ways: { up: ups[i], vents, pickups, within } })),
  );
  const filling = options.filling ?? UPRIGHT;
  const mouth = { filler, vents, within };
  const upright = fillTo(f, [0, 0, 1], mouth);
  const fill = { attitude: filling, ...(options.filling ? fillTo(f, apparentUp(filling), mouth) : upright) };
  const rows = await found;
  const second =
    advise && pickups.length === 1 ? secondOutlet(rough, downs, nearCell(rough, pickups[0], within)) : { pair: null, line: null };
  notes.push(...adviceNotes(second, rows));
  return {
    rows,
    filler,
    vents,
    pickups,
    proposed: [
      ...(options.filler ? [] : ['filler' as const]),
      ...(options.vents ? [] : ['vent' as const]),
      ...(options.pickups ? [] : ['pickup' as const]),
    ],
    fill,
    upright,
    whole: volume(f),
    ventPlaces,
    pickupPlaces,
    secondPickup: second.pair,
    balanceLine: second.line,
    notes,
  };
}

/** The point itself, after it was seen that the cavity is near it. */
function nearCell(f: Field, p: Vec3, within: number): Vec3 {
  outletCell(f, p, within + f.grid.step);
  return outletPoint(f, p);
}

function fillerFor(f: Field, { radius, slack }: { readonly radius: number; readonly slack: Field | undefined }, notes: Note[]): Vec3 {
  const free = proposeFiller(f, slack, radius);
  if (free) return free;
  notes.push({
    code: 'filler-blocked',
    text: `No straight way of ${2 * radius} mm leads from the top of the tank to the open at 45 degrees or steeper; the filler is reckoned at the highest point all the same.`,
  });
  return proposeFiller(f, undefined, radius) as Vec3;
}

interface Ways {
  readonly up: Vec3;
  readonly vents: readonly Vec3[];
  readonly pickups: readonly Vec3[];
  readonly within: number;
}

interface Row {
  readonly field: Field;
  readonly attitude: Attitude;
  readonly ways: Ways;
}

function rowOf({ field: f, attitude, ways: { up, vents, pickups, within } }: Row): StandRow {
  const air = heldBack(f, up, vents, { within });
  const fuel = heldBack(f, scale(up, -1), pickups, { within });
  return {
    attitude,
    trapped: air.volume,
    stranded: fuel.volume,
    trappedAt: air.pockets[0]?.at ?? null,
    strandedAt: fuel.pockets[0]?.at ?? null,
  };
}

/** One attitude's floods. */
export const rowTask: Task<Row, StandRow> = { name: 'stand.row', run: rowOf };

interface Search {
  readonly field: Field;
  readonly ways: readonly Vec3[];
  readonly prefer: Vec3;
}

/** The best places for one outlet over all attitudes. */
export const placesTask: Task<Search, Place[]> = {
  name: 'stand.places',
  run: ({ field, ways, prefer }) => bestPlaces(field, ways, { count: 5, apart: 40, prefer }),
};

/** The field in memory that every task sees. */
function inPool({ grid, data }: Field, pool: Pool): Field {
  const shared = allocateF32(pool, data.length);
  shared.set(data);
  return { grid, data: shared };
}

/**
 * mm3 that run in through the filler until the level stands at its mouth, and the air kept below that level. Parts that the fuel
 * can not reach without rising over the mouth stay empty; air leaves by the vents and the mouth.
 */
export function fillTo(
  f: Field,
  up: Vec3,
  at: { filler: Vec3; vents: readonly Vec3[]; within: number },
): { volume: number; trapped: number } {
  const { grid } = f;
  const cell = outletCell(f, at.filler, at.within);
  const level = dot(up, outletPoint(f, at.filler));
  const wet: Field = { grid, data: new Float32Array(cellCount(grid)) };
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        const z =
          up[0] * (grid.origin[0] + i * grid.step) + up[1] * (grid.origin[1] + j * grid.step) + up[2] * (grid.origin[2] + k * grid.step);
        wet.data[c] = Math.min(f.data[c], level - z);
      }
  const { labels, volumes } = pieces(wet);
  const label = labels[cell] >= 0 ? labels[cell] : labels[outletCell(wet, at.filler, 2 * grid.step + at.within)];
  // Air whose lip is the mouth itself lies above the level and is not part of the fill anyway.
  const limits = { within: at.within, lipBelow: level - grid.step / 4 };
  const held = heldBack(f, up, [at.filler, ...at.vents], limits).field;
  // Only the part that the fuel runs to counts, also of the air: elsewhere nothing is filled at all.
  for (let d = 0; d < labels.length; d++) if (labels[d] >= 0 && labels[d] !== label) held.data[d] = -grid.step;
  const trapped = volumeOfBoth(held, wet);
  return { volume: Math.max(0, volumes[label] - trapped), trapped };
}

function adviceNotes(second: ReturnType<typeof secondOutlet>, rows: readonly StandRow[]): Note[] {
  const notes: Note[] = [];
  const text = (mm3: number): string => `${(mm3 / MM3_PER_LITRE).toFixed(2)} l`;
  const place = (p: Vec3): string => p.map((v) => v.toFixed(0)).join(', ');
  if (second.pair && second.pair.frees >= WORTH)
    notes.push({
      code: 'second-pickup',
      text: `Two pickups would leave ${text(second.pair.frees)} less behind at the worst attitude.`,
      where: second.pair.at.map(place).join(' and '),
    });
  if (second.line && second.line.frees >= WORTH)
    notes.push({
      code: 'balance-line',
      text: `A balance line to the pickup would leave ${text(second.line.frees)} less behind at the worst attitude.`,
      where: second.line.at.map(place).join(' to '),
    });
  const worst = rows.reduce((m, r) => Math.max(m, r.trapped), 0);
  if (worst >= WORTH)
    notes.push({
      code: 'trapped-air',
      text: `Up to ${text(worst)} of air can not reach the vent at one of the attitudes; when it warms it pushes fuel out.`,
    });
  return notes;
}

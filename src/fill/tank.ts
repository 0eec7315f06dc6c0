import { ALONE, type Context, once, type Task } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from '../core/units.ts';
import { add, scale, sub, type Vec3 } from '../core/vec.ts';
import { type Moments, moments, volume } from '../field/integrate.ts';
import { type Bounded, less, litres, shareOf, significant } from './bounded.ts';
import { type Bore, cavityAt, cavityOf, withBores } from './cavity.ts';
import { cropped, thinned } from './crop.ts';
import { centreShifts, dipProfile, dipRows } from './dip.ts';
import type { Fluid } from './fluids.ts';
import { type Attitude, UPRIGHT } from './level.ts';
import { interspaceOf, largestPart, type Spot, thinPlaces } from './parts.ts';
import { centreOf, levelOf, type Profile } from './profile.ts';
import { type Standing, type StandOptions, standingOf } from './stand.ts';
import type { PlaceRow, TankResult } from './tank-result.ts';
import type { Ullage } from './ullage.ts';
import { wettedShare } from './wetted.ts';

export interface TankOptions {
  /** Wall, mm, its density, kg/m3, and by what share it may be thicker or thinner than asked. */
  readonly wall: number;
  readonly wallDensity: number;
  readonly wallTolerance?: number;
  /** Least inside radius of the cavity, mm. */
  readonly leastRadius?: number | null;
  /** A second wall inside the first, `gap` mm off it. */
  readonly inner?: { readonly gap: number; readonly wall: number };
  /** Shares of the cavity that foam or baffles take up, and of the fill that they hold back. */
  readonly foam?: { readonly takes: number; readonly holds: number };
  /** Holes through the body for tubes. */
  readonly bores?: readonly Bore[];
  /** Depth in the body, mm, where several walls are tried in the same one (see depthIn); bores leave another body, so not with them. */
  readonly depth?: Field;
  /** What the body measures, where others ask for it too; not with bores either. */
  readonly outer?: () => Moments;
  readonly fluid: Fluid;
  readonly ullage: Ullage;
  /** How far any surface may stand off its true place, mm: scan accuracy and placing together. */
  readonly accuracy: number;
  /** The same tank from a run at twice the step: how far the figures move is the step's part of the doubt. */
  readonly coarse?: RoughTank | Promise<RoughTank>;
  readonly stand?: Partial<StandOptions>;
  /** List places that are too thin for a cavity; costs one more distance field. Default true. */
  readonly thin?: boolean;
}

/** The volumes of a tank at twice the step. */
export type RoughTank = Pick<TankResult, 'outer_l' | 'wall_l' | 'cavity_l'>;

/** The volumes of a tank at twice the step, for the bounds of the fine one: nothing but body and cavity is worked out. */
export async function roughTank(whole: Field, options: TankOptions, context: Context): Promise<RoughTank> {
  const body = withBores(whole, options.bores ?? []);
  const hollow = { body, through: throughOf(options), leastRadius: options.leastRadius ?? 0 };
  const { volume: inside } = await once(context.pool, cavityTask, hollow);
  const outer = volume(body);
  const shells = options.inner ? await interspaceOf(body, options.wall, options.inner.gap, context) : 0;
  return { outer_l: litres(outer, 0), wall_l: litres(outer - inside - shells, 0), cavity_l: litres(inside, 0) };
}

/** All that lies between the outside and the cavity, mm. */
export const throughOf = ({ wall, inner }: Pick<TankOptions, 'wall' | 'inner'>): number => wall + (inner ? inner.gap + inner.wall : 0);

export interface TankRun {
  readonly tank: TankResult;
  /** Positive inside, a distance near its border; only the part that is filled. */
  readonly cavity: Field;
}

interface Hollow {
  readonly body: Field;
  readonly through: number;
  readonly leastRadius: number;
  readonly depth?: Field;
}

/** The cavity's largest part. */
export const cavityTask: Task<Hollow, { cavity: Field; cutOff: Spot[]; volume: number }> = {
  name: 'tank.cavity',
  run: async ({ body, through, leastRadius, depth }) =>
    largestPart(
      depth
        ? await cavityAt({ grid: depth.grid, data: depth.data.slice() }, through, leastRadius, ALONE)
        : await cavityOf(body, through, leastRadius, ALONE),
    ),
};

export const thinTask: Task<Hollow & { readonly cavity: Field }, { volume: number; places: Spot[] }> = {
  name: 'tank.thin',
  run: ({ body, cavity, ...wall }) => thinPlaces(body, cavity, wall, ALONE),
};

/** Cells for the dip chart: more would not change a printed digit. */
export const DIP_CELLS = 500_000;

/**
 * The tank that a body (positive inside, mm) makes with the given wall. Faults: `tank-wall`, `cavity-empty` (exit 3), and those of
 * the outlets and attitudes. Doubts: area times accuracy, the wall's tolerance on the inside, and the change against `coarse`.
 */
export async function tankOf(whole: Field, options: TankOptions, context: Context): Promise<TankRun> {
  checkOptions(options);
  const body = withBores(whole, options.bores ?? []);
  context.progress('cavity', 0);
  const through = throughOf(options);
  const leastRadius = options.leastRadius ?? 0;
  const { cavity, cutOff, volume: inside } = await once(context.pool, cavityTask, { body, through, leastRadius, depth: options.depth });
  if (!(inside > 0)) throw noCavity(body, options);
  context.progress('cavity', 1);
  // What follows needs nothing of each other: thin places and attitudes run beside.
  const thin = (options.thin ?? true) ? once(context.pool, thinTask, { body, cavity, through, leastRadius }) : Promise.resolve(undefined);
  const attitudes = options.stand?.attitudes ?? [UPRIGHT];
  const standing = standingOf(cavity, { within: through + 10, ...options.stand, attitudes }, context);
  const shells = options.inner ? interspaceOf(body, options.wall, options.inner.gap, context) : Promise.resolve(0);
  const parts = await Promise.all([thin, standing, shells, options.coarse]);
  const known = { thin: parts[0], standing: parts[1], shells: parts[2], coarse: parts[3] };
  const tank = assemble({ body, cavity, inside, cutOff, attitudes, ...known }, options);
  return { tank, cavity };
}

function checkOptions({ wall, inner, foam, leastRadius, accuracy }: TankOptions): void {
  const bad =
    !(wall > 0) ||
    !(accuracy >= 0) ||
    (leastRadius ?? 0) < 0 ||
    (inner !== undefined && !(inner.gap >= 0 && inner.wall > 0)) ||
    (foam !== undefined && !(foam.takes >= 0 && foam.holds >= 0 && foam.takes + foam.holds < 1));
  if (bad)
    throw new Fault({
      code: 'tank-wall',
      what: 'The wall or the foam of the tank makes no sense.',
      got: `wall ${wall} mm, inside radius ${leastRadius ?? 'none'}, ${inner ? `inner wall ${inner.wall} mm behind ${inner.gap} mm` : 'no inner wall'}, foam ${foam ? `${foam.takes} and ${foam.holds}` : 'none'}`,
      expected: 'a wall above 0 mm, nothing negative, and foam that leaves room',
    });
}

function noCavity(body: Field, { wall, leastRadius }: TankOptions): Fault {
  let deepest = 0;
  for (const v of body.data) if (v > deepest && v < Infinity) deepest = v;
  return new Fault({
    code: 'cavity-empty',
    what: 'No place in the body is deep enough for a cavity.',
    got: `wall ${wall} mm and inside radius ${leastRadius ?? 0} mm; the deepest place is about ${deepest.toFixed(1)} mm inside`,
    hint: 'a thinner wall, a smaller inside radius, or a larger envelope',
    exit: 3,
  });
}

interface Parts {
  readonly body: Field;
  readonly cavity: Field;
  /** mm3 */
  readonly inside: number;
  readonly cutOff: readonly Spot[];
  readonly thin: { volume: number; places: Spot[] } | undefined;
  readonly shells: number;
  readonly coarse: RoughTank | undefined;
  readonly attitudes: readonly Attitude[];
  readonly standing: Standing;
}

function assemble(parts: Parts, options: TankOptions): TankResult {
  const { body, cavity, inside, standing } = parts;
  const { accuracy, ullage, fluid } = options;
  const { coarse } = parts;
  const moved = (key: 'outer_l' | 'wall_l' | 'cavity_l', mm3: number): number =>
    coarse ? Math.abs(mm3 - coarse[key].value * MM3_PER_LITRE) : 0;
  const outerMoments = options.outer?.() ?? moments(body);
  const innerMoments = moments(cavity);
  const skin = outerMoments.area;
  const inner = innerMoments.area;
  const outer = outerMoments.volume;
  const slop = options.wall * (options.wallTolerance ?? 0);
  const takes = options.foam?.takes ?? 0;
  const holds = options.foam?.holds ?? 0;
  const wallMm3 = outer - inside - parts.shells;
  const insideDoubt = inner * (accuracy + slop);
  // Floods run on a thinned cavity: what they find is a share of that cavity, carried over to the full one.
  const runsIn = (mm3: number): number => (1 - takes) * inside * Math.min(1, mm3 / standing.whole);
  const brimMm3 = runsIn(standing.upright.volume);
  const brim = litres(brimMm3, insideDoubt + moved('cavity_l', inside));
  const fill = litres(runsIn(standing.fill.volume), insideDoubt + moved('cavity_l', inside));
  const rated = shareOf(least(brim, fill, 1 - ullage.share), 1);
  const cavityAmount = litres(inside, insideDoubt + moved('cavity_l', inside));
  const worst = standing.rows.reduce((m, r) => Math.max(m, r.stranded), 0);
  const stranded = strandedAmount(worst * (1 - takes) + holds * rated.value * MM3_PER_LITRE, inside, insideDoubt);
  const wall = litres(wallMm3, inner * slop + Math.abs(skin - inner) * accuracy + moved('wall_l', wallMm3));
  const dipField = thinned(cropped(cavity), DIP_CELLS);
  const liquid = inside * (1 - takes);
  const upright = dipProfile(dipField, UPRIGHT, liquid);
  const masses = massesOf(
    parts,
    { outerMoments, inner: innerMoments.centroid, upright, wallMm3, rated: rated.value * MM3_PER_LITRE },
    options,
  );
  const foam = options.foam ? litres(takes * inside, takes * insideDoubt) : undefined;
  return {
    outer_l: litres(outer, skin * accuracy + moved('outer_l', outer)),
    wall_l: wall,
    cavity_l: cavityAmount,
    brim_l: brim,
    ullage_l: shareOf(brim, ullage.share),
    vapour_l: less(shareOf(cavityAmount, 1 - takes), rated),
    rated_l: rated,
    stranded_l: stranded,
    usable_l: less(rated, stranded),
    ...(options.inner ? { interspace_l: litres(parts.shells, skin * accuracy * 0.1 + inner * slop) } : {}),
    ...(foam ? { foam_l: foam } : {}),
    ...(parts.thin ? { thin_l: parts.thin.volume / MM3_PER_LITRE, thin_places: parts.thin.places } : {}),
    cut_off: parts.cutOff,
    inside_area_dm2: significant(inner / MM2_PER_DM2, 3),
    wetted_area_dm2: significant((inner * wettedShare(cavity, masses.level)) / MM2_PER_DM2, 3),
    dry_mass_kg: masses.dry,
    full_mass_kg: masses.full,
    centre_mm: masses.centre,
    dry_centre_mm: masses.dryCentre,
    fluid,
    ullage_percent: 100 * ullage.share,
    ullage_rule: ullage.rule,
    ullage_covers_k: ullage.covers_k,
    ...standingRows(parts, rated, options),
    dip: dipRows(upright, fluid.density),
    half_fill: centreShifts(dipField, parts.attitudes, (rated.value * MM3_PER_LITRE) / 2, upright),
    notes: [...ullage.notes, ...standing.notes, ...tankNotes(parts, options, { brim, fill })],
  };
}

/** The brim less its ullage, or what runs in at the filling attitude where that is less. */
function least(brim: Bounded, fill: Bounded, share: number): Bounded {
  const room = shareOf(brim, share);
  const low = Math.min(room.low, fill.low);
  return { value: Math.min(room.value, fill.value), low, high: Math.min(room.high, fill.high) };
}

/** A pool's border is about the 2/3 power of its share of the cavity's; so is its doubt. */
const strandedAmount = (mm3: number, inside: number, doubt: number): Bounded => litres(mm3, doubt * Math.min(1, mm3 / inside) ** (2 / 3));

interface Masses {
  readonly dry: number;
  readonly full: number;
  readonly centre: Vec3;
  readonly dryCentre: Vec3;
  /** Height of the level at the rated fill, mm. */
  readonly level: number;
}

function massesOf(
  { inside, shells }: Parts,
  m: { outerMoments: Moments; inner: Vec3; upright: Profile; wallMm3: number; rated: number },
  { wallDensity, fluid }: TankOptions,
): Masses {
  const hollow = inside + shells;
  // The space between two walls is taken to lie about the cavity's own centre.
  const dryCentre = scale(sub(scale(m.outerMoments.centroid, m.outerMoments.volume), scale(m.inner, hollow)), 1 / m.wallMm3);
  const dry = (m.wallMm3 * wallDensity) / 1e9;
  const fuel = (m.rated * fluid.density) / 1e9;
  const centre = scale(add(scale(dryCentre, dry), scale(centreOf(m.upright, m.rated), fuel)), 1 / (dry + fuel));
  return { dry, full: dry + fuel, centre, dryCentre, level: levelOf(m.upright, m.rated) };
}

type StandingRows = Pick<
  TankResult,
  | 'filler_mm'
  | 'vent_mm'
  | 'pickup_mm'
  | 'proposed'
  | 'filling'
  | 'attitudes'
  | 'vent_places'
  | 'pickup_places'
  | 'second_pickup'
  | 'balance_line'
>;

function standingRows({ attitudes, standing, inside }: Parts, rated: Bounded, options: TankOptions): StandingRows {
  const takes = options.foam?.takes ?? 0;
  const held = (options.foam?.holds ?? 0) * rated.value;
  const l = (mm3: number): number => mm3 / MM3_PER_LITRE;
  const place = (p: Standing['ventPlaces'][number]): PlaceRow => {
    const a = attitudes[p.worstOf];
    return { at_mm: p.at, worst_l: l(p.worst), worst_attitude: { pitch_deg: a.pitch, lean_deg: a.lean } };
  };
  const pair = (s: Standing['secondPickup']) => (s ? { at_mm: s.at, frees_l: l(s.frees) } : null);
  const { fill } = standing;
  return {
    filler_mm: standing.filler,
    vent_mm: standing.vents,
    pickup_mm: standing.pickups,
    proposed: standing.proposed,
    filling: {
      pitch_deg: fill.attitude.pitch,
      lean_deg: fill.attitude.lean,
      fill_l: litres((1 - takes) * inside * Math.min(1, fill.volume / standing.whole), (rated.high - rated.low) * (MM3_PER_LITRE / 2)),
      trapped_l: l(fill.trapped),
    },
    attitudes: standing.rows.map((r) => ({
      ...(r.attitude.name === undefined ? {} : { name: r.attitude.name }),
      pitch_deg: r.attitude.pitch,
      lean_deg: r.attitude.lean,
      ...(r.attitude.acceleration ? { acceleration_g: r.attitude.acceleration } : {}),
      trapped_l: l(r.trapped),
      stranded_l: l(r.stranded * (1 - takes)) + held,
      usable_l: Math.max(0, rated.value - l(r.stranded * (1 - takes)) - held),
    })),
    vent_places: standing.ventPlaces.map(place),
    pickup_places: standing.pickupPlaces.map(place),
    second_pickup: pair(standing.secondPickup),
    balance_line: pair(standing.balanceLine),
  };
}

function tankNotes({ cutOff, thin, body }: Parts, options: TankOptions, { brim, fill }: { brim: Bounded; fill: Bounded }): Note[] {
  const notes: Note[] = [];
  const lost = cutOff.reduce((sum, s) => sum + s.volume_l, 0);
  if (lost > 0)
    notes.push({
      code: 'cavity-cut-off',
      text: `${lost.toFixed(2)} l of cavity in ${cutOff.length} part${cutOff.length === 1 ? '' : 's'} do not hang together with the rest and count as wall.`,
    });
  const solid = thin ? thin.volume / MM3_PER_LITRE : 0;
  if (solid >= 0.005)
    notes.push({ code: 'cavity-thin', text: `${solid.toFixed(2)} l lie in places too thin for a cavity and become wall.` });
  if (fill.value < brim.value * (1 - options.ullage.share))
    notes.push({
      code: 'fill-short',
      text: `Standing as it is filled, the tank takes ${fill.value.toFixed(2)} l; the rated volume is held to that.`,
    });
  if (!options.coarse)
    notes.push({ code: 'no-coarse-run', text: "The bounds hold no part for the cell's size: there was no run at twice the step." });
  if (options.wall < body.grid.step)
    notes.push({ code: 'wall-under-step', text: `The wall (${options.wall} mm) is thinner than a cell (${body.grid.step} mm).` });
  return notes;
}

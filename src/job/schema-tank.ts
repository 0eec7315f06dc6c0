import * as z from 'zod';
import { FLUID_NAMES, FLUIDS, type Fluid, PROCESS_NAMES, PROCESSES, TANK_DEFAULTS } from './defaults.ts';
import { type DeepReadonly, direction, length, point, section, share } from './schema-parts.ts';

const density = (hint: string) =>
  z.number({ error: 'a density in kg/m3' }).superRefine((v, context) => {
    if (v < 50 || v > 25_000)
      context.addIssue({
        code: 'custom',
        message: 'a density in kg/m3, from 50 to 25000',
        params: { hint: v > 0 && v < 25 ? hint : undefined },
      });
  });

const ownFluid = section({
  name: z.string({ error: 'a name' }).min(1).prefault('own fluid').describe('What to call it.'),
  density: density('in g/cm3 or kg/l? Multiply by 1000').describe('Density at 15 C, kg/m3.'),
  expansion: z
    .number({ error: 'a coefficient per kelvin, such as 0.0011' })
    .min(0, { error: 'a coefficient from 0 to 0.01 per kelvin' })
    .max(0.01, { error: 'a coefficient from 0 to 0.01 per kelvin' })
    .describe('Volume expansion, per kelvin; ethanol blends need their own figure.'),
});

const named = z.enum(FLUID_NAMES).transform((name): Fluid => ({ ...FLUIDS[name] }));

const celsius = () =>
  z
    .number({ error: 'a temperature in C' })
    .min(-60, { error: 'a temperature from -60 to 90 C' })
    .max(90, { error: 'a temperature from -60 to 90 C' });

/** A share; or what it is filled at and must not spill at; or the formula of ADR 4.1.1.4. */
const ullage = z.union(
  [
    share(0.5),
    section({
      fill: celsius().prefault(15).describe('Temperature at filling, C.'),
      peak: celsius().describe('Temperature at which it must not spill yet, C.'),
    }),
    z.literal('adr'),
  ],
  { error: 'a share such as "5 %" or 0.05, or { fill: 15, peak: 55 } in C, or adr' },
);

const angle = () =>
  z.number({ error: 'degrees' }).min(-90, { error: 'degrees from -90 to 90' }).max(90, { error: 'degrees from -90 to 90' });

const attitude = section({
  name: z.string({ error: 'a text' }).min(1).optional().describe('What to call it, such as "side stand".'),
  pitch: angle().prefault(0).describe('Nose up +, degrees.'),
  lean: angle().prefault(0).describe('To the right +, degrees.'),
  acceleration: z
    .tuple([z.number(), z.number(), z.number()], { error: 'three accelerations in g: forward, left, up' })
    .optional()
    .describe("The vehicle's acceleration forward, left and up, in g: braking at 0.6 g is [-0.6, 0, 0]. It tilts the apparent vertical."),
});

/** The tank that is to fill the envelope. */
const tankSection = section({
  process: z
    .enum(PROCESS_NAMES)
    .nullish()
    .describe(
      `How the wall is made. Named, it gives what is left out below (common practice): ${PROCESS_NAMES.map((n) => `${n} ${PROCESSES[n].wall} mm, ${PROCESSES[n].density} kg/m3, inside radius ${PROCESSES[n].inside_radius} mm, wall +-${100 * PROCESSES[n].tolerance} %`).join('; ')}.`,
    ),
  wall: length({ above: 0 }).nullish().describe("Thickness of the wall, mm; the process's usual one when left out."),
  wall_density: density('in g/cm3? Multiply by 1000').nullish().describe("Density of the wall, kg/m3; the process's when left out."),
  wall_tolerance: share(0.5).nullish().describe('By what share the wall may come out thicker or thinner; widens the bounds.'),
  inside_radius: length({ above: 0 }).nullish().describe('Least inside radius of the cavity, mm; sharp corners stay when left out.'),
  inner: section({
    gap: length({ least: 0 }).describe('Between the walls, mm.'),
    wall: length({ above: 0 }).describe('Of the inner wall, mm.'),
  })
    .nullish()
    .describe('A second wall inside the first.'),
  foam: section({
    takes: share(0.5).describe('Share of the cavity that it takes up.'),
    holds: share(0.5).prefault(0).describe('Share of the fill that it holds back.'),
  })
    .nullish()
    .describe('Foam or baffles; reticulated foam takes up about 3 % and holds back 1 to 3 % (common practice).'),
  bores: z
    .array(
      section({
        points: z.array(point(), { error: 'a list of points' }).min(2, { error: 'at least two points' }).describe('Centre line, mm.'),
        diameter: length({ above: 0 }).describe('Of the hole, mm: the tube or hose and its clearance on both sides.'),
      }),
      { error: 'a list of { points: [[..], [..]], diameter: .. }' },
    )
    .nullish()
    .describe('Holes and tunnels through the body for tubes and hoses that no scan shows; scanned tubes are kept clear of as they are.'),
  sender: section({
    pivot: point().describe('Where the arm turns, mm.'),
    along: direction().describe('From the pivot to the float when the arm lies level.'),
    arm: length({ above: 0 }).describe("From the pivot to the float's waterline, mm."),
    from: angle().describe('Lowest angle of its swing, degrees above level.'),
    to: angle().describe('Highest angle of its swing, degrees above level.'),
    float_radius: length({ least: 0 }).prefault(0).describe('How far the float must keep from the wall, mm.'),
  })
    .nullish()
    .describe('A float on an arm: litres against its angle are written beside the dip chart.'),
  ullage: ullage
    .prefault(TANK_DEFAULTS.ullage)
    .describe('What is left empty for expansion: a share of the cavity, "5 %" or 0.05; or { fill: 15, peak: 55 }, C; or adr.'),
  fluid: z
    .union([named, ownFluid], { error: `one of: ${FLUID_NAMES.join(', ')}; or { density: kg/m3 at 15 C, expansion: per kelvin }` })
    .prefault(TANK_DEFAULTS.fluid)
    .describe('What it holds.'),
  attitudes: z
    .array(attitude, { error: 'a list of { pitch: ..., lean: ... }' })
    .nullish()
    .describe(
      'How the vehicle stands in use; usable litres are those of the worst one, and the best places for vent and pickup are looked for.',
    ),
  filling: attitude.nullish().describe('How it stands when it is filled (side stand); upright when left out.'),
  filler: point().nullish().describe('Where the filler is, mm; proposed when left out.'),
  vents: z.array(point(), { error: 'a list of points' }).nullish().describe('Where it is vented, mm; proposed when left out.'),
  pickups: z.array(point(), { error: 'a list of points' }).nullish().describe('Where the fuel is drawn, mm; proposed when left out.'),
});

export const tank = z.union([z.literal(false), tankSection], { error: '{ wall: ..., ullage: ..., fluid: ... }, or false' });

type RawTank = z.output<typeof tankSection>;

type Given<K extends keyof RawTank> = NonNullable<RawTank[K]> | null;

/** A tank with every default filled in: wall mm, wall_density kg/m3, shares as fractions, fluid with its figures; null: not asked for. */
export type JobTank = DeepReadonly<
  Omit<
    RawTank,
    | 'process'
    | 'wall'
    | 'wall_density'
    | 'wall_tolerance'
    | 'inside_radius'
    | 'inner'
    | 'foam'
    | 'bores'
    | 'sender'
    | 'attitudes'
    | 'filling'
    | 'filler'
    | 'vents'
    | 'pickups'
  > & {
    process: Given<'process'>;
    wall: number;
    wall_density: number;
    wall_tolerance: number;
    inside_radius: number | null;
    inner: Given<'inner'>;
    foam: Given<'foam'>;
    bores: NonNullable<RawTank['bores']>;
    sender: Given<'sender'>;
    attitudes: NonNullable<RawTank['attitudes']>;
    filling: Given<'filling'>;
    filler: Given<'filler'>;
    vents: Given<'vents'>;
    pickups: Given<'pickups'>;
  }
>;

export function completeTank(raw: RawTank | false): JobTank | false {
  if (raw === false) return false;
  const usual = PROCESSES[raw.process ?? TANK_DEFAULTS.process];
  // Sharp corners and an exact wall unless a process says otherwise.
  const named = raw.process ? usual : null;
  return {
    ...raw,
    process: raw.process ?? null,
    wall: raw.wall ?? usual.wall,
    wall_density: raw.wall_density ?? usual.density,
    wall_tolerance: raw.wall_tolerance ?? named?.tolerance ?? 0,
    inside_radius: raw.inside_radius ?? named?.inside_radius ?? null,
    inner: raw.inner ?? null,
    foam: raw.foam ?? null,
    bores: raw.bores ?? [],
    sender: raw.sender ?? null,
    attitudes: raw.attitudes ?? [],
    filling: raw.filling ?? null,
    filler: raw.filler ?? null,
    vents: raw.vents ?? null,
    pickups: raw.pickups ?? null,
  };
}

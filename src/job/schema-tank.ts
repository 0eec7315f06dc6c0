import * as z from 'zod';
import { FLUID_NAMES, FLUIDS, type Fluid, PROCESS_NAMES, PROCESSES, TANK_DEFAULTS } from './defaults.ts';
import { type DeepReadonly, length, section, share } from './schema-parts.ts';

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

/** The tank that is to fill the envelope. */
const tankSection = section({
  process: z
    .enum(PROCESS_NAMES)
    .prefault(TANK_DEFAULTS.process)
    .describe(
      `How the wall is made; gives its usual thickness and density (common practice): ${PROCESS_NAMES.map((n) => `${n} ${PROCESSES[n].wall} mm, ${PROCESSES[n].density} kg/m3`).join('; ')}.`,
    ),
  wall: length({ above: 0 }).nullish().describe("Thickness of the wall, mm; the process's usual one when left out."),
  wall_density: density('in g/cm3? Multiply by 1000').nullish().describe("Density of the wall, kg/m3; the process's when left out."),
  ullage: share(0.5).prefault(TANK_DEFAULTS.ullage).describe('Share of the cavity left empty for expansion, "5 %" or 0.05.'),
  fluid: z
    .union([named, ownFluid], { error: `one of: ${FLUID_NAMES.join(', ')}; or { density: kg/m3 at 15 C, expansion: per kelvin }` })
    .prefault(TANK_DEFAULTS.fluid)
    .describe('What it holds.'),
});

export const tank = z.union([z.literal(false), tankSection], { error: '{ wall: ..., ullage: ..., fluid: ... }, or false' });

type RawTank = z.output<typeof tankSection>;

/** A tank with every default filled in: wall mm, wall_density kg/m3, ullage as a fraction, fluid with its figures. */
export type JobTank = DeepReadonly<Omit<RawTank, 'wall' | 'wall_density'> & { wall: number; wall_density: number }>;

export function completeTank(raw: RawTank | false): JobTank | false {
  if (raw === false) return false;
  const process = PROCESSES[raw.process];
  return {
    process: raw.process,
    wall: raw.wall ?? process.wall,
    wall_density: raw.wall_density ?? process.density,
    ullage: raw.ullage,
    fluid: raw.fluid,
  };
}

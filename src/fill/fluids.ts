import { Fault } from '../core/fault.ts';

/**
 * How a fluid's volume follows its temperature.
 * `table54b`: refined products by their density at 15 C; `water`: by its measured density; `linear`: by a stated coefficient.
 */
export type Expansion = { readonly law: 'table54b' } | { readonly law: 'water' } | { readonly law: 'linear'; readonly perKelvin: number };

export interface Fluid {
  readonly name: string;
  /** Density at 15 C, kg/m3. */
  readonly density: number;
  readonly expansion: Expansion;
}

/** What a job or a caller may say of a fluid; whatever is left out comes from the fluid of that name. */
export interface FluidSpec {
  readonly name: string;
  /** Density at 15 C, kg/m3. */
  readonly density?: number;
  /** Mean volume expansion near 15 C, per kelvin; needed for everything but petrol, diesel and water. */
  readonly expansion?: number;
}

/** Density at 15 C that is taken when none is given, and the range its standard allows, kg/m3: petrol EN 228, diesel EN 590. */
export const FUEL_DENSITY = { petrol: { usual: 745, least: 720, most: 775 }, diesel: { usual: 835, least: 820, most: 845 } } as const;

/** All volumes refer to this temperature, C. */
export const BASE_TEMPERATURE = 15;

/** Temperatures that Table 54B is used for, C: the span of the 2004 edition (recalled, original not seen); the 1980 edition stops sooner. */
const TABLE_54B_SPAN = { least: -50, most: 150 } as const;
/** Liquid water at one atmosphere, C. */
const WATER_SPAN = { least: 0, most: 100 } as const;

/**
 * A complete fluid from what was said of it. Petrol and diesel follow Table 54B and water its own density unless a coefficient is given;
 * any other name, ethanol blends among them, must bring both density and coefficient.
 * Faults: `fluid-unknown`, `fluid-density`, `fluid-expansion`.
 */
export function fluidOf(spec: FluidSpec): Fluid {
  const { name } = spec;
  const known = name === 'petrol' || name === 'diesel';
  const density = spec.density ?? (known ? FUEL_DENSITY[name].usual : name === 'water' ? waterDensity(BASE_TEMPERATURE) : undefined);
  if (density === undefined || (spec.expansion === undefined && !known && name !== 'water'))
    throw new Fault({
      code: 'fluid-unknown',
      what: `The fluid "${name}" needs its density at 15 C and its coefficient of expansion.`,
      expected: 'petrol, diesel, water, or a density in kg/m3 with an expansion per kelvin',
      hint: 'ethanol blends lie outside the petroleum tables; pure ethanol is near 794 kg/m3 and 0.0011 per kelvin, take the blend from its data sheet',
    });
  if (!(density >= 50 && density <= 25_000))
    throw new Fault({
      code: 'fluid-density',
      what: `The density of "${name}" is not one.`,
      got: `${density}`,
      expected: '50 to 25000 kg/m3',
    });
  if (spec.expansion !== undefined) {
    if (!(spec.expansion >= 0 && spec.expansion <= 0.01))
      throw new Fault({
        code: 'fluid-expansion',
        what: `The coefficient of expansion of "${name}" is not one.`,
        got: `${spec.expansion}`,
        expected: '0 to 0.01 per kelvin',
      });
    return { name, density, expansion: { law: 'linear', perKelvin: spec.expansion } };
  }
  if (!known) return { name, density, expansion: { law: 'water' } };
  table54bCoefficient(density);
  return { name, density, expansion: { law: 'table54b' } };
}

/** The fluid of a job: petrol, diesel and water by their name follow their own laws, whatever mean coefficient the job lists beside them. */
export function fluidOfJob(f: { readonly name: string; readonly density: number; readonly expansion: number }): Fluid {
  const named = f.name === 'petrol' || f.name === 'diesel' || f.name === 'water';
  return fluidOf(named ? { name: f.name, density: f.density } : f);
}

/**
 * Coefficient a of ASTM D1250-80 / API MPMS 11.1 Table 54B (refined products), per kelvin, from the density at 15 C in kg/m3.
 * The bands' constants are those of many independent programs; the standard itself was not seen. The bands for degrees Fahrenheit
 * (Table 6B) have others. Fault `fluid-band` outside 653 to 1075 kg/m3.
 */
export function table54bCoefficient(density: number): number {
  const d = density;
  if (d >= 653 && d < 770.5) return 346.4228 / (d * d) + 0.4388 / d;
  if (d >= 770.5 && d < 787.5) return 2680.3206 / (d * d) - 0.00336312;
  if (d >= 787.5 && d < 839) return 594.5418 / (d * d);
  if (d >= 839 && d <= 1075) return 186.9696 / (d * d) + 0.4862 / d;
  throw new Fault({
    code: 'fluid-band',
    what: 'The density is outside the table of refined products.',
    got: `${density} kg/m3 at 15 C`,
    expected: '653 to 1075 kg/m3',
    hint: 'check the unit, or give the fluid its own coefficient of expansion',
  });
}

/** Density of air-free water at one atmosphere, kg/m3, 0 to 100 C: Kell, J. Chem. Eng. Data 20 (1975); coefficients recalled. */
export function waterDensity(celsius: number): number {
  const t = celsius;
  const top = 999.83952 + t * (16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12))));
  return top / (1 + 16.87985e-3 * t);
}

/**
 * Volume correction factor at `celsius`: V(t) = V15 / VCF. Table 54B: exp(-a dT (1 + 0.8 a dT)), dT = t - 15.
 * Fault `fluid-temperature` where the law does not reach.
 */
export function vcf(fluid: Fluid, celsius: number): number {
  const { expansion } = fluid;
  const dt = celsius - BASE_TEMPERATURE;
  const span = spanOf(fluid);
  if (!(celsius >= span.least && celsius <= span.most))
    throw new Fault({
      code: 'fluid-temperature',
      what: `The expansion of ${fluid.name} is not known at that temperature.`,
      got: `${celsius} C`,
      expected: `${span.least} to ${span.most} C`,
    });
  if (expansion.law === 'linear') return 1 / (1 + expansion.perKelvin * dt);
  if (expansion.law === 'water') return waterDensity(celsius) / waterDensity(BASE_TEMPERATURE);
  const x = table54bCoefficient(fluid.density) * dt;
  return Math.exp(-x * (1 + 0.8 * x));
}

/** Temperatures at which the fluid's law holds, C. */
export const spanOf = (fluid: Fluid): { readonly least: number; readonly most: number } =>
  fluid.expansion.law === 'water' ? WATER_SPAN : TABLE_54B_SPAN;

/** Density at `celsius`, kg/m3. */
export const densityAt = (fluid: Fluid, celsius: number): number => fluid.density * vcf(fluid, celsius);

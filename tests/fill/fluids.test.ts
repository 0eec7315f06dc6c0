import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { densityAt, type Fluid, fluidOf, fluidOfJob, table54bCoefficient, vcf, waterDensity } from '../../src/fill/fluids.ts';
import { FLUIDS } from '../../src/job/defaults.ts';

const code = (run: () => unknown): string => {
  try {
    run();
  } catch (e) {
    if (e instanceof Fault) return e.code;
    throw e;
  }
  return 'none';
};

const product = (density: number): Fluid => ({ name: 'refined product', density, expansion: { law: 'table54b' } });

// ASTM D1250-80 / API MPMS 11.1 Table 54B: band constants as published by many independent programs (the standard not seen);
// the factors below follow from them by an independent computation and are given to the digits printed here.
const TABLE_54B: [number, number, Record<number, number>][] = [
  [720, 0.0012777, { 0: 1.01905, 25: 0.98718, 35: 0.97426, 50: 0.95474, 55: 0.94819 }],
  [745, 0.0012132, { 0: 1.01809, 25: 0.98783, 35: 0.97557, 50: 0.95705, 55: 0.95084 }],
  [775, 0.0010994, { 0: 1.01641, 25: 0.98897, 35: 0.97787, 50: 0.96111, 55: 0.9555 }],
  [820, 0.0008842, { 0: 1.01321, 25: 0.99113, 35: 0.98223, 50: 0.96878, 55: 0.96428 }],
  [845, 0.0008372, { 0: 1.01251, 25: 0.99161, 35: 0.98317, 50: 0.97045, 55: 0.9662 }],
];

describe('volume correction by Table 54B', () => {
  for (const [density, a, factors] of TABLE_54B)
    it(`density ${density}`, () => {
      expect(table54bCoefficient(density)).toBeCloseTo(a, 7);
      for (const [t, f] of Object.entries(factors))
        expect(Math.abs(vcf(product(density), Number(t)) - f)).toBeLessThanOrEqual(0.5000001e-5);
      expect(vcf(product(density), 15)).toBe(1);
    });

  it('joins its bands without a jump that matters and falls with density', () => {
    for (const edge of [770.5, 787.5, 839]) {
      const jump = Math.abs(table54bCoefficient(edge) / table54bCoefficient(edge - 1e-6) - 1);
      expect(jump).toBeLessThan(0.002);
    }
    for (let d = 653; d < 1075; d += 0.5) expect(table54bCoefficient(d + 0.5)).toBeLessThan(table54bCoefficient(d) * 1.0001);
  });

  it('refuses what the table does not hold', () => {
    for (const d of [652.9, 1075.1, 0.745, Number.NaN]) expect(code(() => table54bCoefficient(d))).toBe('fluid-band');
    expect(code(() => vcf(product(745), 200))).toBe('fluid-temperature');
    expect(code(() => fluidOf({ name: 'petrol', density: 600 }))).toBe('fluid-band');
  });
});

describe('fluids', () => {
  it('water follows its density at 15, 20 and 40 C (recalled handbook values)', () => {
    expect(waterDensity(15)).toBeCloseTo(999.1, 2);
    expect(Math.abs(waterDensity(20) - 998.21)).toBeLessThan(0.01);
    expect(Math.abs(waterDensity(40) - 992.22)).toBeLessThan(0.01);
    const water = fluidOf({ name: 'water' });
    expect(densityAt(water, 40)).toBeCloseTo(waterDensity(40), 9);
    expect(code(() => vcf(water, -1))).toBe('fluid-temperature');
  });

  it('a blend needs its own figures and then follows its coefficient', () => {
    expect(code(() => fluidOf({ name: 'E85' }))).toBe('fluid-unknown');
    expect(code(() => fluidOf({ name: 'E85', density: 780 }))).toBe('fluid-unknown');
    const e85 = fluidOf({ name: 'E85', density: 780, expansion: 0.0011 });
    expect(1 / vcf(e85, 35)).toBeCloseTo(1.022, 12);
    expect(code(() => fluidOf({ name: 'E85', density: 780, expansion: 0.11 }))).toBe('fluid-expansion');
    expect(code(() => fluidOf({ name: 'E85', density: -1, expansion: 0.001 }))).toBe('fluid-density');
  });

  it('petrol and diesel bring their usual densities and the table', () => {
    expect(fluidOf({ name: 'petrol' })).toEqual(product745());
    expect(fluidOf({ name: 'diesel' }).density).toBe(835);
    expect(fluidOfJob(FLUIDS.petrol)).toEqual(product745());
    expect(fluidOfJob(FLUIDS.water).expansion).toEqual({ law: 'water' });
    expect(fluidOfJob({ name: 'E85', density: 780, expansion: 0.0011 }).expansion).toEqual({ law: 'linear', perKelvin: 0.0011 });
  });
});

const product745 = (): Fluid => ({ name: 'petrol', density: 745, expansion: { law: 'table54b' } });

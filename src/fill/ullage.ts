import { Fault, type Note } from '../core/fault.ts';
import { BASE_TEMPERATURE, densityAt, type Fluid, FUEL_DENSITY, spanOf, vcf } from './fluids.ts';

/**
 * How much of the cavity stays empty. `share`: a fraction of it; `expansion`: filled at `fill`, it must not spill at `peak` (C);
 * `adr`: the highest degree of filling of ADR 4.1.1.4, filled at `fill` (15 C when left out).
 */
export type UllageRule =
  | { readonly by: 'share'; readonly share: number }
  | { readonly by: 'expansion'; readonly fill: number; readonly peak: number }
  | { readonly by: 'adr'; readonly fill?: number };

/** Ullage as a fraction of the brim volume, with what it covers. */
export interface Ullage {
  readonly share: number;
  readonly rule: string;
  /** Warming from 15 C that the full tank stands without spilling, K, the tank taken as rigid; null where it covers all that the fluid's law reaches. */
  readonly covers_k: number | null;
  readonly notes: readonly Note[];
}

/** Expansion space under this share is warned of: 14 CFR 23.969 and 46 CFR 58.50-1(c) ask for at least 2 %. */
const LEAST_ULLAGE = 0.02;

/** The ullage by the given rule. Faults: `ullage-share`, `ullage-temperature`, and those of the fluid. */
export function ullageOf(fluid: Fluid, rule: UllageRule): Ullage {
  const share = ullageShare(fluid, rule);
  if (!(share >= 0 && share < 1))
    throw new Fault({ code: 'ullage-share', what: 'The ullage leaves no room to fill.', got: `${share}`, expected: 'at least 0, under 1' });
  const covers = riseCovered(fluid, share);
  return { share, rule: ruleText(rule), covers_k: covers, notes: [...ullageNotes(share, covers), ...densityNotes(fluid)] };
}

function ullageShare(fluid: Fluid, rule: UllageRule): number {
  if (rule.by === 'share') return rule.share;
  if (rule.by === 'adr') return 1 - adrFillShare(fluid, rule.fill);
  if (!(rule.peak > rule.fill))
    throw new Fault({
      code: 'ullage-temperature',
      what: 'The tank must get warmer than it was when filled.',
      got: `filled at ${rule.fill} C, hottest at ${rule.peak} C`,
      expected: 'a peak above the filling temperature',
    });
  return expansionShare(fluid, rule.fill, rule.peak);
}

/** Share of a rigid tank that must stay empty when filled at `fill` so that it does not spill up to `peak`, C. */
export function expansionShare(fluid: Fluid, fill: number, peak: number): number {
  // The fill grows by VCF(fill) / VCF(t); water is densest near 4 C, so a cold fill may shrink first: never less than none.
  return Math.max(0, 1 - vcf(fluid, peak) / vcf(fluid, fill));
}

/**
 * Highest degree of filling, a fraction: 98 / (1 + a (50 - tF)) %, a = (d15 - d50) / (35 d50), with d the density at 15 and 50 C
 * (ADR 4.1.1.4, for liquids in packagings and tanks filled at `fill` C). Fault `ullage-temperature` above 50 C.
 */
export function adrFillShare(fluid: Fluid, fill: number = BASE_TEMPERATURE): number {
  if (!(fill <= 50))
    throw new Fault({
      code: 'ullage-temperature',
      what: 'The ADR formula reckons with 50 C at most.',
      got: `filled at ${fill} C`,
      expected: 'at most 50 C',
    });
  const d15 = fluid.density;
  const d50 = densityAt(fluid, 50);
  const a = (d15 - d50) / (35 * d50);
  return 0.98 / (1 + a * (50 - fill));
}

/** Warming from 15 C, K, that takes up the whole ullage of a rigid tank; null when the fluid's law ends before that. */
export function riseCovered(fluid: Fluid, share: number): number | null {
  const grown = (t: number): number => 1 - vcf(fluid, t);
  const top = spanOf(fluid).most;
  if (grown(top) < share) return null;
  let lo = BASE_TEMPERATURE;
  let hi = top;
  // Every law is monotone above 15 C, so halving finds the one temperature.
  for (let i = 0; i < 60; i++) {
    const mid = (lo + hi) / 2;
    if (grown(mid) <= share) lo = mid;
    else hi = mid;
  }
  return lo - BASE_TEMPERATURE;
}

function ruleText(rule: UllageRule): string {
  if (rule.by === 'share') return 'a set share of the cavity';
  if (rule.by === 'adr') return `highest degree of filling by ADR 4.1.1.4, filled at ${rule.fill ?? BASE_TEMPERATURE} C`;
  return `filled at ${rule.fill} C, must not spill at ${rule.peak} C`;
}

function ullageNotes(share: number, covers: number | null): Note[] {
  if (share >= LEAST_ULLAGE) return [];
  const rise = covers === null ? '' : `; full at 15 C it spills after warming by ${covers.toFixed(1)} K`;
  return [
    {
      code: 'ullage-low',
      text: `The ullage is ${(100 * share).toFixed(1)} % of the cavity, under the 2 % that rules for fuel tanks commonly ask for${rise}.`,
    },
  ];
}

/** A fuel named petrol or diesel whose density its standard would not allow is still computed, and said. */
function densityNotes(fluid: Fluid): Note[] {
  const usual = fluid.name === 'petrol' || fluid.name === 'diesel' ? FUEL_DENSITY[fluid.name] : undefined;
  if (!usual || (fluid.density >= usual.least && fluid.density <= usual.most)) return [];
  return [
    {
      code: 'fluid-density-unusual',
      text: `${fluid.name} of ${fluid.density} kg/m3 at 15 C is outside the ${usual.least} to ${usual.most} that is usual.`,
    },
  ];
}

import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { type Fluid, fluidOf, vcf } from '../../src/fill/fluids.ts';
import { adrFillShare, expansionShare, riseCovered, ullageOf } from '../../src/fill/ullage.ts';

const petrol = fluidOf({ name: 'petrol' });
const diesel = fluidOf({ name: 'diesel' });

const code = (run: () => unknown): string => {
  try {
    run();
  } catch (e) {
    if (e instanceof Fault) return e.code;
    throw e;
  }
  return 'none';
};

describe('ullage', () => {
  // Computed outside from ASTM D1250-80 Table 54B for a rigid tank, from 15 C.
  it.each([
    ['petrol', petrol, [16.4, 24.5, 40.7, 64.7]],
    ['diesel', diesel, [23.3, 34.9, 57.9, 92.0]],
  ] as [string, Fluid, number[]][])('rise covered by 2, 3, 5 and 8 %%: %s', (_, fluid, rises) => {
    [0.02, 0.03, 0.05, 0.08].forEach((share, i) => {
      expect(Math.abs(riseCovered(fluid, share)! - rises[i])).toBeLessThanOrEqual(0.05001);
      expect(ullageOf(fluid, { by: 'share', share }).covers_k).toBe(riseCovered(fluid, share));
    });
  });

  it('from filling and peak temperature: petrol 745 needs 4.30 % from 15 to 50 C, 5.44 % from 5 to 50 C (computed outside)', () => {
    expect(100 * expansionShare(petrol, 15, 50)).toBeCloseTo(4.3, 2);
    expect(100 * expansionShare(petrol, 5, 50)).toBeCloseTo(5.44, 2);
    const u = ullageOf(petrol, { by: 'expansion', fill: 15, peak: 50 });
    expect(u.covers_k).toBeCloseTo(35, 6);
  });

  it('by the ADR formula, 4.1.1.4: petrol 745 filled at 15 C 93.79 %, diesel 835 95.05 %', () => {
    expect(100 * adrFillShare(petrol)).toBeCloseTo(93.79, 2);
    expect(100 * adrFillShare(diesel)).toBeCloseTo(95.05, 2);
    expect(adrFillShare(petrol, 50)).toBeCloseTo(0.98, 12);
    expect(ullageOf(petrol, { by: 'adr' }).share).toBeCloseTo(0.0621, 4);
    expect(code(() => adrFillShare(petrol, 60))).toBe('ullage-temperature');
  });

  it('a full tank is just full at the end of the covered rise', () => {
    for (const share of [0.01, 0.05, 0.08]) {
      const rise = riseCovered(petrol, share)!;
      expect((1 - share) / vcf(petrol, 15 + rise)).toBeCloseTo(1, 9);
    }
  });

  it('warns under 2 % and only there', () => {
    expect(ullageOf(petrol, { by: 'share', share: 0.0199 }).notes.map((n) => n.code)).toEqual(['ullage-low']);
    expect(ullageOf(petrol, { by: 'share', share: 0.02 }).notes).toEqual([]);
    expect(ullageOf(fluidOf({ name: 'petrol', density: 700 }), { by: 'share', share: 0.05 }).notes.map((n) => n.code)).toEqual([
      'fluid-density-unusual',
    ]);
  });

  it('refuses senseless rules, and says when the law ends before the ullage does', () => {
    expect(code(() => ullageOf(petrol, { by: 'share', share: 1 }))).toBe('ullage-share');
    expect(code(() => ullageOf(petrol, { by: 'share', share: -0.1 }))).toBe('ullage-share');
    expect(code(() => ullageOf(petrol, { by: 'expansion', fill: 30, peak: 20 }))).toBe('ullage-temperature');
    expect(ullageOf(fluidOf({ name: 'water' }), { by: 'share', share: 0.2 }).covers_k).toBeNull();
  });

  it('water from 1 to 3 C shrinks: no room is asked for', () => {
    expect(expansionShare(fluidOf({ name: 'water' }), 1, 3)).toBe(0);
  });
});

import type { JobMould } from '../job/schema-mould.ts';

/** Figures of a way of making a part. Where a field is null, the process has none that is usual. */
export interface Process {
  readonly name: string;
  /** Shrinkage of length from mould to part, percent: usual range. */
  readonly shrinkage_percent: readonly [number, number];
  /** Least usual draft, degrees. */
  readonly draft_deg: number | null;
  /** Least usual inside radius, mm. */
  readonly inside_radius_mm: number | null;
  /** Where the figures come from, in words that go into every output. */
  readonly source: string;
}

const PRACTICE = 'common practice: ask whoever makes it';

/**
 * Rotomoulding: shrinkage, inside radius (6 to 13 mm) and draft (1 to 2 degrees) of polyethylene from a maker's design guide. Vacuum-formed ABS,
 * laminates that cure without heat to speak of, and welded sheet: common practice.
 */
export const PROCESS_FIGURES: Readonly<Record<JobMould['process'], Process>> = {
  rotomoulded: {
    name: 'rotomoulded polyethylene',
    shrinkage_percent: [1.5, 3],
    draft_deg: 1,
    inside_radius_mm: 6,
    source: `a maker's design guide, and ${PRACTICE}`,
  },
  'vacuum-formed': { name: 'vacuum-formed ABS', shrinkage_percent: [0.5, 0.7], draft_deg: 2, inside_radius_mm: null, source: PRACTICE },
  laminated: {
    name: 'laminate (carbon or glass with epoxy)',
    shrinkage_percent: [0, 0],
    draft_deg: 1,
    inside_radius_mm: null,
    source: PRACTICE,
  },
  welded: { name: 'welded sheet', shrinkage_percent: [0, 0], draft_deg: null, inside_radius_mm: null, source: PRACTICE },
};

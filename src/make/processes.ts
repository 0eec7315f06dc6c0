import { PROCESSES, type ProcessName } from '../job/defaults.ts';

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

function figuresOf(name: ProcessName, own: Pick<Process, 'draft_deg' | 'inside_radius_mm'> & { readonly source?: string }): Process {
  const { title, shrinkage } = PROCESSES[name];
  const [from, to] = shrinkage ?? [0, 0];
  const percent = (share: number): number => +(100 * share).toFixed(3);
  return { name: title, shrinkage_percent: [percent(from), percent(to)], source: PRACTICE, ...own };
}

/**
 * Rotomoulding: shrinkage, inside radius (6 to 13 mm) and draft (1 to 2 degrees) of polyethylene from a maker's design guide. Vacuum-formed ABS,
 * laminates that cure without heat to speak of, and welded sheet: common practice.
 */
export const PROCESS_FIGURES: Readonly<Record<ProcessName, Process>> = {
  rotomoulded: figuresOf('rotomoulded', { draft_deg: 1, inside_radius_mm: 6, source: `a maker's design guide, and ${PRACTICE}` }),
  vacuum_formed: figuresOf('vacuum_formed', { draft_deg: 2, inside_radius_mm: null }),
  laminate: figuresOf('laminate', { draft_deg: 1, inside_radius_mm: null }),
  welded_aluminium: figuresOf('welded_aluminium', { draft_deg: null, inside_radius_mm: null }),
};

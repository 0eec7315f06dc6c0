/** Every default of a job, in one place: the job file, the command line's help and the written template take them from here. */

/** Version of the job file format that this program reads. */
export const JOB_VERSION = 1;

export const JOB_DEFAULTS = {
  /** Unit of scan files that carry none. */
  units: 'mm',
  /** Fine cell, mm. */
  step: 2,
  /** Accuracy of the scans (largest systematic error of a surface), mm; hand-held scanners are sold as about 0.25 mm (common practice). */
  accuracy: 0.25,
  /** Memory budget, GB (1e9 bytes). */
  memory: 2,
  /** Clearance of obstacles that name none, mm; fixed frame parts get 3 to 5 mm (common practice). */
  clearance: 5,
  /** Radius of the ball that must reach every corner of the envelope, mm. */
  least_radius: 8,
} as const;

export const REGION_DEFAULTS = {
  /** Radius of the ball that is rolled over the outside, mm. */
  skin: 150,
  /** Nearness to the removed part, mm. */
  within: 50,
} as const;

export const TANK_DEFAULTS = {
  /** Share of the cavity left for expansion: normal filling at most 95 % of the liquid capacity, as 49 CFR 393.67(c)(12) asks (recalled, original not seen). */
  ullage: 0.05,
  fluid: 'petrol',
  process: 'rotomoulded',
} as const;

/**
 * A way of making the tank's wall: usual wall thickness, mm, density of the wall, kg/m3, least inside radius of the cavity, mm, and by what
 * share the wall may come out thicker or thinner.
 */
export interface Process {
  readonly wall: number;
  readonly density: number;
  readonly inside_radius: number;
  readonly tolerance: number;
  /** How much smaller a part comes out than its mould, share, from and to; null where nothing shrinks in a mould. For information. */
  readonly shrinkage: readonly [number, number] | null;
  readonly title: string;
}

/** Common practice, not claims, and the maker's own figures go before them: rotomoulded polyethylene runs from 3 to 10 mm, welded aluminium and carbon laminate from 2 to 3 mm; polyethylene shrinks by 1.5 to 3 %, vacuum-formed ABS by 0.5 to 0.7 %. */
export const PROCESSES = {
  rotomoulded: {
    wall: 4,
    density: 940,
    inside_radius: 8,
    tolerance: 0.2,
    shrinkage: [0.015, 0.03],
    title: 'rotationally moulded polyethylene',
  },
  welded_aluminium: { wall: 2.5, density: 2700, inside_radius: 4, tolerance: 0.05, shrinkage: null, title: 'welded aluminium sheet' },
  laminate: { wall: 2.5, density: 1550, inside_radius: 5, tolerance: 0.15, shrinkage: null, title: 'carbon and epoxy laminate' },
  vacuum_formed: { wall: 4, density: 1050, inside_radius: 4, tolerance: 0.3, shrinkage: [0.005, 0.007], title: 'vacuum-formed ABS' },
} as const satisfies Record<string, Process>;

export type ProcessName = keyof typeof PROCESSES;
export const PROCESS_NAMES = Object.keys(PROCESSES) as ProcessName[];

/** What the tank is filled with: density at 15 C, kg/m3, and volume expansion near 15 C, per kelvin. */
export interface Fluid {
  readonly name: string;
  readonly density: number;
  readonly expansion: number;
}

/**
 * Petrol: EN 228 allows 720 to 775 kg/m3; diesel: EN 590 allows 820 to 845. Their expansion is the coefficient of ASTM D1250-80
 * Table 54B at that density. Water: 999.10 kg/m3 at 15 C and 992.22 at 40 C (recalled), the mean coefficient between them.
 */
export const FLUIDS = {
  petrol: { name: 'petrol', density: 745, expansion: 346.4228 / 745 ** 2 + 0.4388 / 745 },
  diesel: { name: 'diesel', density: 835, expansion: 594.5418 / 835 ** 2 },
  water: { name: 'water', density: 999.1, expansion: (999.1 / 992.22 - 1) / 25 },
} as const satisfies Record<string, Fluid>;

export type FluidName = keyof typeof FLUIDS;
export const FLUID_NAMES = Object.keys(FLUIDS) as FluidName[];

import { PROCESSES, type ProcessName } from '../job/defaults.ts';

/**
 * What a way of making the wall brings with it. All figures are common practice, for a first estimate, and no claim; the maker's own
 * figures go before them. Only the rotomoulded tolerance and shrinkage were seen in a maker's design guide.
 */
export interface WallProcess {
  readonly title: string;
  /** Usual wall, mm, and the density of the wall, kg/m3. */
  readonly wall: number;
  readonly density: number;
  /** Least inside radius of the cavity, mm. */
  readonly leastRadius: number;
  /** The wall may be thicker or thinner by this share. */
  readonly tolerance: number;
}

const EXTRA: Record<ProcessName, { leastRadius: number; tolerance: number }> = {
  rotomoulded: { leastRadius: 8, tolerance: 0.2 },
  welded_aluminium: { leastRadius: 4, tolerance: 0.05 },
  laminate: { leastRadius: 5, tolerance: 0.15 },
  vacuum_formed: { leastRadius: 4, tolerance: 0.3 },
};

/** The figures of one process. */
export const wallProcess = (name: ProcessName): WallProcess => ({ ...PROCESSES[name], ...EXTRA[name] });

/** Open-celled foam: share of the volume it takes up, and share it holds back when the tank is emptied (common practice; the first seen in print). */
export const FOAM = { takes: 0.03, holds: 0.02 } as const;

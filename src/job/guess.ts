import { type LengthUnit, MM_PER } from '../core/units.ts';
import { type Box3, boxSize } from '../core/vec.ts';

/** Length of a whole vehicle of the kind this program is for, mm: from a small moped to a long buggy (common practice). */
export const VEHICLE_MM = { least: 500, most: 5000 } as const;

export interface UnitGuess {
  readonly unit: LengthUnit;
  /** One line for the user: what speaks for it. */
  readonly reason: string;
  /** False when another unit would do as well, or none does. */
  readonly sure: boolean;
}

/** Units that scan files come in, the commonest first. */
const USUAL: readonly LengthUnit[] = ['mm', 'm', 'in', 'cm'];

/**
 * The unit that makes a set of scans as long as a vehicle. `box` holds them all, in the unit of their files.
 * A rule of thumb for a template or a warning, never for a measurement.
 */
export function guessUnit(box: Box3): UnitGuess {
  const long = Math.max(...boxSize(box));
  const metres = (unit: LengthUnit): string => `${digits((long * MM_PER[unit]) / 1000)} m`;
  const fitting = USUAL.filter((u) => long * MM_PER[u] >= VEHICLE_MM.least && long * MM_PER[u] <= VEHICLE_MM.most);
  const span = `the scans are ${digits(long)} units across`;
  const rule = `a whole vehicle is ${VEHICLE_MM.least / 1000} to ${VEHICLE_MM.most / 1000} m`;
  if (fitting.length === 0) {
    const off = (u: LengthUnit): number => Math.abs(Math.log((long * MM_PER[u]) / 1600));
    const unit = [...USUAL].sort((a, b) => off(a) - off(b))[0];
    return {
      unit,
      sure: false,
      reason: `${span}: ${metres(unit)} in ${unit}, although ${rule}; a single part is smaller, else check the unit`,
    };
  }
  const [unit, ...others] = fitting;
  const also = others.map((u) => `${metres(u)} in ${u}`).join(', ');
  return {
    unit,
    sure: others.length === 0,
    reason: `${span}: ${metres(unit)} in ${unit}${also ? ` (but ${also} is possible too)` : ''}; ${rule}`,
  };
}

/** A number with three significant digits, without an exponent for usual sizes. */
const digits = (v: number): string => String(Number(v.toPrecision(3)));

import type { DatumResult } from '../src/scan/datum.ts';
import { num, sized, wrap } from './lines.ts';

/** The frame that the coordinates are in, when the job has one of its own. */
export function datumRows(datum: DatumResult | undefined): string[] {
  if (!datum) return [];
  return ['', 'Datum (x forward, y left, z up)', ...wrap(text(datum), '  - ')];
}

function text(d: DatumResult): string {
  if (d.axles) {
    const { wheelbase_mm, skew_deg, aside_mm, rims_mm } = d.axles;
    const rims = rims_mm > 0 ? `; points round the rims ${sized(rims_mm)} mm (rms) off their circles` : '';
    return `from two axles ${num(Math.round(wheelbase_mm))} mm apart; ${skew_deg.toFixed(2)} degrees out of parallel, ${sized(aside_mm)} mm out of line${rims}`;
  }
  if (d.by === 'ground') return 'from three places on the ground';
  const { residual_mm: r, mirrored_percent: share, error_deg: turn, error_mm: shift } = d;
  return `from the plane of symmetry; ${Math.round(share ?? 0)} % mirrored, off by ${sized(r?.median ?? 0)} mm (median), ${sized(r?.p95 ?? 0)} mm (95 %); expected error at least ${sized(turn ?? 0)} degrees and ${sized(shift ?? 0)} mm`;
}

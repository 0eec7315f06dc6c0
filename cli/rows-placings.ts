import type { PlacingResult } from '../src/scan/placing.ts';
import { sized, wrap } from './lines.ts';

/** Scans whose place was found, one paragraph each. */
export function placingRows(placings: readonly PlacingResult[]): string[] {
  if (placings.length === 0) return [];
  return ['', 'Placings', ...placings.flatMap((p) => wrap(`${p.scan}: ${text(p)}`, '  - '))];
}

function text(p: PlacingResult): string {
  const parts = [
    p.by === 'surface'
      ? `laid onto ${p.onto}, ${Math.round(p.overlap_percent ?? 0)} % of it on the other`
      : p.by === 'targets'
        ? `by ${p.targets?.matched} of ${p.targets?.own} stickers, scale off by ${sized(p.targets?.scale_error_percent ?? 0)} %`
        : `from ${p.onto}`,
  ];
  if (p.residual_mm) parts.push(`off by ${sized(p.residual_mm.median)} mm (median), ${sized(p.residual_mm.p95)} mm (95 %)`);
  if (p.error_mm !== null) parts.push(`expected error in the region ${sized(p.error_mm)} mm`);
  if (p.weakest) parts.push(`held least: ${p.weakest.direction}`);
  return parts.join('; ');
}

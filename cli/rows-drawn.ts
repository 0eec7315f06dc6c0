import type { Drawn } from '../src/pipeline/drawings.ts';
import { num, wrap } from './lines.ts';

/** Lines of the table on sections and the rib kit. */
export function drawnLines({ sections, ribs }: Drawn): string[] {
  const out: string[] = [];
  if (sections) {
    const at = sections.stations_mm;
    out.push(
      '',
      ...wrap(
        `Sections: ${at.length} stations from ${num(at[0])} to ${num(at[at.length - 1])} mm; arcs within ${sections.deviation_mm.toFixed(2)} mm of the outlines`,
        '',
      ),
    );
  }
  if (ribs) {
    out.push(
      '',
      ...wrap(
        `Rib kit: ${ribs.ribs.length} ribs on ${ribs.sheets} ${ribs.sheets === 1 ? 'sheet' : 'sheets'} of ${ribs.sheet_mm.join(' x ')} mm, ${ribs.cut_length_m.toFixed(1)} m of cut`,
        '',
      ),
      ...wrap(
        `every rib lies inside the body over its whole thickness; ${ribs.joints} joints meet; no rib is in another's way while it goes on; ${ribs.covered_percent.toFixed(0)} % of the surface is within 5 mm of a rib's edge`,
        '  ',
      ),
    );
  }
  return out;
}

import type { RouteResult, TubeResult, WayResult, WaysSearch } from '../src/fit/result.ts';
import type { Result } from '../src/report/result.ts';
import type { StowageResult } from '../src/stow/result.ts';
import { at, count, decimals, num, row, sized, wrap } from './lines.ts';

/** Obstacles, bores and tubes that are named; the result file has them all. */
const NAMED = 3;
const TUBES = 8;

/** What was asked besides the envelope and the tank. */
export const moreRows = (result: Result): string[] => [
  ...(result.stowage ? stowageRows(result.stowage) : []),
  ...(result.ways_in && result.ways_search ? waysRows(result.ways_in, result.ways_search, decimals(result.envelope.volume_l)) : []),
  ...(result.tubes ? tubeRows(result.tubes) : []),
  ...(result.routes ? routeRows(result.routes) : []),
];

function stowageRows(s: StowageResult): string[] {
  const lines = ['', `Stowage${s.lining_mm > 0 ? `, inside a lining of ${num(s.lining_mm)} mm` : ''}`];
  const { largest } = s;
  const sides = (v: readonly number[]): string => v.map((x) => Math.floor(x)).join(' x ');
  if (largest) {
    const { ball, cylinder, box, box_turned: turned } = largest;
    lines.push(row('  largest ball', ball ? `${sized(2 * ball.radius_mm)} mm across` : 'none'));
    const tall =
      cylinder && `${Math.floor(2 * cylinder.radius_mm)} across, ${Math.floor(cylinder.height_mm)} high, ${sized(cylinder.volume_l)} l`;
    lines.push(row('  largest upright cylinder', tall ?? 'none'));
    lines.push(row('  largest box along the axes', box ? `${sides(box.size_mm)} mm, ${sized(box.volume_l)} l` : 'none'));
    if (turned && (!box || turned.volume_l > 1.01 * box.volume_l))
      lines.push(row('  largest box, turned', `${sides(turned.size_mm)} mm, ${sized(turned.volume_l)} l`));
  }
  if (s.blocks_l !== undefined)
    lines.push(
      row(
        '  blocks of 200 x 100 x 50 mm',
        `${s.blocks_l}`,
        s.blocks_bound_l === s.blocks_l ? '(no more can)' : `(at most ${s.blocks_bound_l})`,
      ),
    );
  for (const i of [...(s.items ?? []), ...(s.luggage ?? []).filter((x) => x.fits > 0)])
    lines.push(row(`  ${i.name}`, `${i.fits} of ${i.asked}`));
  return lines;
}

function waysRows(ways: readonly WayResult[], search: WaysSearch, digits: number): string[] {
  const off = search.off.length > 0 ? `with ${search.off.join(', ')} off` : 'with nothing taken off';
  const lines = [
    '',
    ...wrap(`Ways in, ${off}, ${num(search.clearance_mm)} mm kept while it slides`, ''),
    row('  slides out, degrees to the side', 'litres', 'kept'),
  ];
  for (const w of ways) {
    lines.push(row(`  ${directionText(w.direction)}`, w.volume_l.value.toFixed(digits), `${w.kept_percent.toFixed(0)} %`));
    const stops = w.blockers.filter((b) => b.stops_percent >= 0.5).slice(0, NAMED);
    for (const b of stops) {
      const freed = w.without.find((x) => x.obstacle === b.obstacle);
      const more = freed ? `; without it about ${freed.kept_percent.toFixed(0)} % is kept` : '';
      lines.push(...wrap(`${b.obstacle} stops ${b.stops_percent.toFixed(0)} %, first at ${at(b.at_mm)}${more}`, '      '));
    }
  }
  const two = search.two_step;
  if (two)
    lines.push(
      ...wrap(
        `In two steps: ${num(Math.round(two.length_mm))} mm along ${directionText(two.first_along)}, then along ${directionText(two.then_along)}: ${two.volume_l.value.toFixed(digits)} l, ${two.kept_percent.toFixed(0)} % kept`,
        '  ',
      ),
    );
  return lines;
}

const SIDES = [
  ['forward', 'back'],
  ['left', 'right'],
  ['up', 'down'],
] as const;

/** A direction as a fabricator says it: the main side, and how far it tips to the others. */
export function directionText(d: readonly number[]): string {
  const order = [0, 1, 2].sort((a, b) => Math.abs(d[b]) - Math.abs(d[a]));
  const side = (a: number): string => SIDES[a][d[a] >= 0 ? 0 : 1];
  const tips = order.slice(1).flatMap((a) => {
    const degrees = Math.round((Math.atan2(Math.abs(d[a]), Math.abs(d[order[0]])) * 180) / Math.PI);
    return degrees >= 2 ? [`${degrees} ${side(a)}`] : [];
  });
  return [side(order[0]), ...tips].join(', ');
}

function tubeRows(tubes: readonly TubeResult[]): string[] {
  if (tubes.length === 0) return ['', 'Tubes: none was told along or through the envelope'];
  const lines = [
    '',
    'Tubes along and through the envelope',
    row('  tube, its outside diameter', 'bore, mm', 'long, mm', 'costs, l', 'web, mm'),
  ];
  for (const t of tubes.slice(0, TUBES)) {
    for (const b of t.bores) {
      const how = b.enclosed ? 'enclosed' : `open ${Math.round(b.open_deg)} deg`;
      const name = `  ${t.scan}, ${t.diameter_mm.toFixed(1)}: ${how}${t.comes_off ? ', comes off' : ''}`;
      lines.push(
        row(name, b.bore_mm.toFixed(1), `${Math.round(b.length_mm)}`, b.cost_l.toFixed(2), b.web_mm === null ? '-' : b.web_mm.toFixed(0)),
      );
    }
  }
  if (tubes.length > TUBES) lines.push(`  ${count(tubes.length - TUBES, 'more tube')} in result.json`);
  return lines;
}

function routeRows(routes: readonly RouteResult[]): string[] {
  const lines = ['', 'Hoses and looms', row('  name, diameter, mm', 'long, mm', 'bends', 'gap, mm', 'costs, l')];
  for (const r of routes) {
    const name = `  ${r.name}, ${num(r.diameter_mm)}`;
    const gap = r.least_gap_mm === null ? '-' : (Math.floor(10 * r.least_gap_mm + 0.7) / 10).toFixed(1);
    if (r.ok) lines.push(row(name, `${Math.round(r.length_mm)}`, `${r.bends.length}`, gap, r.cost_l.toFixed(2)));
    else lines.push(row(name, 'no way'), ...wrap(r.why ?? '', '      '));
    const b = r.bottleneck;
    if (b && b.diameter_mm > 0)
      lines.push(
        ...wrap(
          `up to about ${Math.floor(b.diameter_mm)} mm pass; narrowest at ${at(b.at_mm)}, between ${b.between.join(' and ')}`,
          '      ',
        ),
      );
    if (r.tightest_mm) lines.push(...wrap(`nearest to ${r.tightest_to} at ${at(r.tightest_mm)}`, '      '));
  }
  return lines;
}

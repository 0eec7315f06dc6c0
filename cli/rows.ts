import type { RouteResult, TubeResult, WayResult, WaysSearch } from '../src/fit/result.ts';
import type { Result } from '../src/report/result.ts';
import { at, boundedText, count, num, row, wrap } from './lines.ts';
import { stowageRows } from './rows-stowage.ts';

/** Obstacles, bores and tubes that are named; the result file has them all. */
const NAMED = 3;
const TUBES = 8;

/** What was asked besides the envelope and the tank. */
export const moreRows = (result: Result): string[] => [
  ...(result.stowage ? stowageRows(result.stowage, directionText) : []),
  ...(result.ways_in && result.ways_search ? waysRows(result.ways_in, result.ways_search) : []),
  ...(result.tubes ? tubeRows(result.tubes) : []),
  ...(result.routes ? routeRows(result.routes) : []),
];

/** Below this share kept, percent, what was not tried is worth a word. */
const ENOUGH = 90;

function waysRows(ways: readonly WayResult[], search: WaysSearch): string[] {
  const off = search.off.length > 0 ? `with ${search.off.join(', ')} off` : 'with nothing taken off';
  const lines = ['', ...wrap(`Ways in, ${off}, ${num(search.clearance_mm)} mm kept while it slides`, '')];
  if (ways.length === 0) lines.push('  Nothing of the envelope slides out straight.');
  else lines.push(row('  slides out, degrees to the side', 'litres', 'from', 'to', 'kept'));
  for (const w of ways) {
    lines.push(row(`  ${directionText(w.direction)}`, ...boundedText(w.volume_l), `${w.kept_percent.toFixed(0)} %`));
    for (const b of w.blockers.filter((x) => x.stops_percent >= 0.5).slice(0, NAMED)) lines.push(...blockerRow(b, w.without));
  }
  const { used, two_step: two } = search;
  if (used)
    lines.push(
      ...wrap(
        `The body is what slides out along ${directionText(used.direction)}: ${litresText(used.volume_l)}, ${used.kept_percent.toFixed(0)} % of the envelope`,
        '  ',
      ),
    );
  if (two)
    lines.push(
      ...wrap(
        `In two steps: ${num(Math.round(two.length_mm))} mm along ${directionText(two.first_along)}, then along ${directionText(two.then_along)}: ${litresText(two.volume_l)}, ${two.kept_percent.toFixed(0)} % kept`,
        '  ',
      ),
    );
  const most = Math.max(0, two?.kept_percent ?? 0, ...ways.map((w) => w.kept_percent));
  if (most < ENOUGH)
    lines.push(
      ...wrap('Only straight ways were tried, in one step or two; none found is not impossible: a body that turns may keep more.', '  '),
    );
  return lines;
}

const litresText = (litres: WayResult['volume_l']): string => {
  const [value, low, high] = boundedText(litres);
  return `${value} l (${low} to ${high})`;
};

/** What stands in the way: where it is met, how far it would have to give, and what one more part off would free. */
function blockerRow(b: WayResult['blockers'][number], without: WayResult['without']): string[] {
  const freed = without.find((x) => x.obstacle === b.obstacle);
  const more = freed ? `; without it about ${freed.kept_percent.toFixed(0)} % is kept` : '';
  const met = `first at ${at(b.at_mm)} after ${Math.round(b.after_mm)} mm`;
  return wrap(
    `${b.obstacle} stops ${b.stops_percent.toFixed(0)} %, ${met}, and would have to give about ${Math.ceil(b.give_mm)} mm${more}`,
    '      ',
  );
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
    lines.push(...wrap(aboutTube(t), '      '));
  }
  if (tubes.length > TUBES) lines.push(`  ${count(tubes.length - TUBES, 'more tube')} in result.json`);
  return lines;
}

/** How sure the diameter is, what is sold of that size (hints only), and how it is bent. */
function aboutTube(t: TubeResult): string {
  const sizes = t.nearest_sizes.map((s) => s.size).join(' or ');
  const straight = t.straights_mm.map((v) => Math.round(v)).join(', ');
  const bends = t.bends.map((b) => `${Math.round(b.angle_deg)} deg at ${Math.round(b.radius_mm)} mm`).join(', ');
  return [
    `+-${Math.max(0.01, t.diameter_error_mm).toFixed(2)} mm, seen over ${Math.round(t.arc_seen_deg)} deg`,
    sizes && `about ${sizes}`,
    straight && `straight ${straight} mm`,
    bends && `bent ${bends}`,
  ]
    .filter(Boolean)
    .join('; ');
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
      lines.push(...wrap(`up to ${widthText(b)} mm pass; narrowest at ${at(b.at_mm)}, between ${b.between.join(' and ')}`, '      '));
    if (r.tightest_mm) lines.push(...wrap(`nearest to ${r.tightest_to} at ${at(r.tightest_mm)}`, '      '));
  }
  return lines;
}

/** A diameter with the digit that its bound allows, never more than passes. */
const widthText = ({ diameter_mm: d, error_mm: e }: NonNullable<RouteResult['bottleneck']>): string =>
  e > 0.5 ? `about ${Math.floor(d)}` : (Math.floor(10 * d) / 10).toFixed(1);

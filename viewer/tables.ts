import { make } from './dom.ts';
import { bounded } from './figures.ts';
import type { Bounded, ResultFile } from './result.ts';

/** A table of the sheet: heading words and rows of texts. */
export interface Table {
  readonly id: string;
  readonly title: string;
  readonly heads: readonly string[];
  readonly rows: readonly (readonly string[])[];
  /** What must be known to read it. */
  readonly note?: string;
  /** A direction to look along, one a row. */
  readonly along?: readonly (readonly number[])[];
}

const one = (v: number): string => v.toFixed(1);
const whole = (v: number): string => v.toFixed(0);
const place = (p: readonly number[] | undefined): string => (p ? p.map(whole).join(', ') : '');
/** Bounded or plain litres. */
const litres = (v: Bounded | number): string => (typeof v === 'number' ? v.toFixed(2) : `${bounded(v).value} (${bounded(v).bounds})`);

/** The tables that a result holds. */
export function tablesOf(r: ResultFile): Table[] {
  const out: Table[] = [];
  const put = (t: Table): void => {
    if (t.rows.length > 0) out.push(t);
  };
  const ways = r.ways_in ?? [];
  put({
    id: 'ways',
    title: 'Ways in',
    heads: ['along (forward, left, up)', 'kept, %', 'litres'],
    rows: ways.map((w) => [w.direction.map((v) => v.toFixed(2)).join(', '), whole(w.kept_percent), litres(w.volume_l.value)]),
    along: ways.map((w) => w.direction),
  });
  put({
    id: 'blockers',
    title: 'What stands in the way',
    heads: ['way in', 'obstacle', 'met after, mm', 'would have to give, mm', 'stops, %', 'kept with it off, %'],
    rows: ways.flatMap((w, i) =>
      w.blockers.map((b) => {
        const off = w.without.find((o) => o.obstacle === b.obstacle);
        return [
          String(i + 1),
          b.obstacle,
          whole(b.after_mm),
          one(b.give_mm),
          b.stops_percent < 1 ? 'under 1' : whole(b.stops_percent),
          off ? whole(off.kept_percent) : '',
        ];
      }),
    ),
  });
  put({
    id: 'closest',
    title: 'Nearest to each neighbour',
    heads: ['neighbour', 'gap, mm', 'asked, mm', 'place (forward, left, up), mm'],
    rows: (r.closest ?? []).map((c) => [c.scan, c.gap_mm.toFixed(2), String(c.asked_mm), place(c.at_mm)]),
    note: closestNote(r.closest ?? []),
  });
  put({
    id: 'attitudes',
    title: 'Attitudes',
    heads: ['pitch, lean', 'trapped, l', 'stranded, l', 'usable, l'],
    rows: (r.tank?.attitudes ?? []).map((a) => [
      `${a.pitch_deg}°, ${a.lean_deg}°`,
      litres(a.trapped_l),
      litres(a.stranded_l),
      litres(a.usable_l),
    ]),
  });
  put({
    id: 'tubes',
    title: 'Tubes',
    heads: ['part of', 'across, mm', 'near size', 'long, mm', 'bore, mm', 'costs, l', 'bore is', 'thinnest web, mm'],
    rows: (r.tubes ?? []).flatMap((t) =>
      t.bores.map((b) => [
        t.scan,
        one(t.diameter_mm),
        t.nearest_sizes[0]?.size ?? '',
        whole(b.length_mm),
        one(b.bore_mm),
        litres(b.cost_l),
        b.enclosed ? 'enclosed' : `open ${whole(b.open_deg)}°`,
        b.web_mm === null ? '' : one(b.web_mm),
      ]),
    ),
  });
  put({
    id: 'routes',
    title: 'Hose routes',
    heads: ['name', 'goes', 'long, mm', 'least gap, mm'],
    rows: (r.routes ?? []).map((t) => [
      t.name,
      t.ok ? 'yes' : 'no',
      t.ok ? whole(t.length_mm) : '',
      t.least_gap_mm === null ? (t.why ?? '') : one(t.least_gap_mm),
    ]),
  });
  put({
    id: 'items',
    title: 'Stowage',
    heads: ['what', 'fits', 'lowest corner, mm'],
    rows: r.stowage ? stowed(r.stowage) : [],
  });
  put({
    id: 'placings',
    title: 'Scans that were placed',
    heads: ['scan', 'placed by', 'left between, mm', 'error in the region, mm'],
    rows: (r.placings ?? []).map((p) => [
      p.scan,
      p.by === 'surface' ? `its surface, onto ${p.onto}` : p.by === 'targets' ? 'stickers' : p.onto,
      p.residual_mm ? `${p.residual_mm.median.toFixed(2)}; 95 % under ${p.residual_mm.p95.toFixed(2)}` : '',
      p.error_mm === null ? 'not known' : p.error_mm.toFixed(2),
    ]),
  });
  return out;
}

/** The envelope's own faces may stand a little inside a clearance: say so, and by how much. */
function closestNote(closest: NonNullable<ResultFile['closest']>): string {
  const inside = Math.max(0, ...closest.map((c) => c.asked_mm - c.gap_mm));
  const here = inside < 0.005 ? 'here nowhere' : `here by ${inside.toFixed(2)} mm at most`;
  return (
    `Measured on the envelope as it was found, before trimming: between the cells its faces may stand inside a clearance, ${here}. ` +
    'The seed mesh that "voidgauge make" writes is trimmed until it keeps every clearance, and its certificate says so.'
  );
}

function stowed(s: NonNullable<ResultFile['stowage']>): string[][] {
  const rows: string[][] = [];
  const size = (v: readonly number[]): string => `${v.map((x) => whole(Math.floor(x))).join(' x ')} mm`;
  if (s.largest?.ball) rows.push(['largest ball', `${whole(2 * s.largest.ball.radius_mm)} mm across`, '']);
  const up = s.largest?.cylinder;
  if (up)
    rows.push([
      'largest upright cylinder',
      `${whole(Math.floor(2 * up.radius_mm))} mm across, ${whole(Math.floor(up.height_mm))} high`,
      '',
    ]);
  if (s.largest?.box) rows.push(['largest box', size(s.largest.box.size_mm), '']);
  if (s.largest?.box_turned) rows.push(['largest box, turned any way', size(s.largest.box_turned.size_mm), '']);
  if (s.blocks_l !== undefined) rows.push(['blocks of one litre', `${s.blocks_l} (at most ${s.blocks_bound_l})`, '']);
  for (const i of [...(s.items ?? []), ...(s.luggage ?? [])])
    rows.push([i.name, `${i.fits} of ${i.asked}`, i.places.map((p) => place(p.at_mm)).join('; ')]);
  return rows;
}

/** Builds a table; `look` is called with the row's direction where it has one. */
export function tableElement(t: Table, look?: (along: readonly number[]) => void): HTMLElement {
  const rows = t.rows.map((cells, i) => {
    const row = make('tr', {}, ...cells.map((c) => make('td', {}, c)));
    const along = t.along?.[i];
    if (along && look) {
      const button = make('button', { type: 'button' }, 'look along');
      button.addEventListener('click', () => look(along));
      row.append(make('td', {}, button));
    }
    return row;
  });
  const heads = [...t.heads.map((h) => make('th', { scope: 'col' }, h)), ...(t.along && look ? [make('td', {})] : [])];
  return make(
    'table',
    { 'data-table': t.id },
    make('caption', {}, t.title),
    make('thead', {}, make('tr', {}, ...heads)),
    make('tbody', {}, ...rows),
    ...(t.note ? [make('tfoot', {}, make('tr', {}, make('td', { colspan: String(t.heads.length) }, t.note)))] : []),
  );
}

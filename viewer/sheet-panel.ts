import { make, part } from './dom.ts';
import { CAUTION, type Figure, figuresOf, hasFuel, quickFigures } from './figures.ts';
import type { Dials, QuickResult } from './quick.ts';
import type { ResultFile } from './result.ts';

const RANKS = ['main', 'line', 'small'] as const;

/** The written part of the sheet: name, figures with bounds, cautions, notes, provenance. */
export function sheetPanel(r: ResultFile): void {
  part('job').textContent = r.job.name;
  document.title = `${r.job.name} - Voidgauge sheet`;
  part('about').textContent = aboutOf(r);
  part('cell').textContent = r.grid ? `${r.grid.step_mm} mm` : 'not said';
  part('tool').textContent = r.tool ? `${r.tool.name} ${r.tool.version}` : 'Voidgauge';
  showFigures(r);
  showCautions(r.cautions ?? [], hasFuel(r));
  part('notes').append(notesElement(r.notes ?? []));
}

type Notes = NonNullable<ResultFile['notes']>;

/**
 * The notes, the rarer kinds first. Where many say the same kind of thing, all but the first lie under a fold, or are only counted
 * (`short`, for a place that is followed by all of them).
 */
export function notesElement(notes: Notes, how: 'fold' | 'short' | 'all' = 'fold'): HTMLElement {
  if (notes.length === 0) return make('p', {}, 'None.');
  const line = (n: Notes[number]): HTMLElement =>
    make('li', { 'data-note': n.code }, n.text, n.where && !n.text.includes(n.where) ? make('small', {}, ` ${n.where}`) : '');
  const list = make('ul', {});
  const kinds = [...new Set(notes.map((n) => n.code))].map((code) => notes.filter((n) => n.code === code));
  for (const same of kinds.sort((a, b) => a.length - b.length)) {
    const open = how !== 'all' && same.length > MOST_ALIKE ? 1 : same.length;
    list.append(...same.slice(0, open).map(line));
    const rest = same.slice(open);
    if (rest.length === 0) continue;
    const words = `and ${rest.length} more of this kind`;
    list.append(
      make(
        'li',
        {},
        how === 'short'
          ? `${words}, listed at the end`
          : make('details', {}, make('summary', {}, words), make('ul', {}, ...rest.map(line))),
      ),
    );
  }
  return list;
}

const MOST_ALIKE = 4;

/** Whether a list that is not written out whole leaves any of these notes out. */
export const foldsAny = (notes: Notes): boolean => notes.some((n) => notes.filter((m) => m.code === n.code).length > MOST_ALIKE);

/** What was reckoned again for turned dials. */
export interface Again {
  readonly result: QuickResult;
  readonly dials: Dials;
  /** Nothing more will come. */
  readonly done: boolean;
}

/** The fine run's figures, or for turned dials the quick ones alone: what was not reckoned again is left out. */
export function showFigures(r: ResultFile, again?: Again): void {
  const figures = again ? withStale(quickFigures(again.result), again) : figuresOf(r);
  shown = figures;
  part('rows').replaceChildren(
    ...RANKS.map((rank) =>
      figureList(
        figures.filter((f) => f.rank === rank),
        rank,
      ),
    ),
  );
  part('rows').toggleAttribute('data-quick', again !== undefined);
  const quick = part('quick');
  quick.hidden = !again;
  if (again) quick.textContent = quickWords(again);
}

/** Those on the sheet, to stay in their places until the newer ones come. */
let shown: readonly Figure[] = [];

/** While more is to come, figures that are not there yet stay as they were, marked as such, so that the sheet does not jump. */
function withStale(now: readonly Figure[], { done, result }: Again): Figure[] {
  if (done || result.none !== undefined) return [...now];
  const missing = shown.filter((f) => QUICK_ORDER.includes(f.key) && !now.some((g) => g.key === f.key));
  return [...now, ...missing.map((f) => ({ ...f, stale: true }))].sort((a, b) => QUICK_ORDER.indexOf(a.key) - QUICK_ORDER.indexOf(b.key));
}

/** The quick figures as they stand on the sheet; the tank's come after the envelope's. */
const QUICK_ORDER = ['envelope', 'rated_l', 'usable_l', 'brim_l', 'ullage_l', 'wall_l', 'inside', 'trapped', 'stranded'];

function quickWords({ result, done }: Again): string {
  if (result.none !== undefined)
    return `Quick look at ${result.step} mm cells: no envelope for this ball. The largest that fits has a radius of about ${result.none.toFixed(0)} mm.`;
  const more = done ? '' : ' More is being reckoned…';
  return `Quick figures from ${result.step} mm cells for the dials below; the bounds say what the coarse cells may cost.${more}`;
}

function aboutOf(r: ResultFile): string {
  const scans = r.inputs?.length ?? 0;
  const radius = r.envelope?.least_radius_mm ?? r.job.least_radius;
  const says = [];
  if (scans) says.push(`${scans} ${scans === 1 ? 'scan' : 'scans'}`);
  if (radius !== undefined) says.push(`least radius ${radius} mm`);
  return says.join(', ');
}

export function figureList(figures: readonly Figure[], kind: string): HTMLElement {
  return make(
    'dl',
    { class: kind },
    ...figures.map((f) =>
      make(
        'div',
        { 'data-figure': f.key, class: f.stale ? 'stale' : '' },
        make('dt', {}, f.label),
        make(
          'dd',
          {},
          make('b', {}, f.value),
          f.unit ? make('span', { class: 'unit' }, ` ${f.unit}`) : '',
          f.bounds ? make('small', {}, f.unit === 'l' ? `(${f.bounds})` : f.bounds) : '',
        ),
      ),
    ),
  );
}

/** Always in sight; the result's own, or where it has none and litres of fuel are shown, the page's. */
export function showCautions(own: readonly string[], fuel: boolean): void {
  const lines = own.length > 0 ? own : fuel ? [CAUTION] : [];
  part('cautions').replaceChildren(...lines.map((c) => make('p', {}, c)));
  part('cautions').hidden = lines.length === 0;
}

import { Box3, Sphere } from 'three';
import type { Curve } from './curve.ts';
import type { Source } from './data.ts';
import { make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { figuresOf, MEANINGS } from './figures.ts';
import { FEW_HOLES, placesOf } from './places.ts';
import type { ResultFile } from './result.ts';
import { foldsAny, notesElement } from './sheet-panel.ts';
import { tableElement, tablesOf } from './tables.ts';
import { VIEWS } from './views.ts';

/**
 * The sheet for the printer, A4 or Letter: made when the browser is about to print, from the same result and the same drawing.
 * Doubts first, then figures with what they mean, cautions, the drawing with dimensions and sections, views, curves, tables, and where it comes from.
 */
export function printSheet(r: ResultFile, drawing: Drawing, curves: readonly Curve[], page?: HTMLImageElement): void {
  const button = make('button', { type: 'button' }, 'print the sheet');
  button.addEventListener('click', () => print());
  part('measure').querySelector('.words')?.append(button);
  let paper: string | undefined;
  addEventListener('beforeprint', () => {
    // Printed paper is white whatever the screen shows.
    paper = document.documentElement.dataset.paper;
    document.documentElement.dataset.paper = 'bright';
    drawing.recolour();
    for (const c of curves) c.draw();
    part('print').replaceChildren(...contents(r, drawing, page));
    // Curves are drawn when this turn ends; their copies are taken right after.
    queueMicrotask(() => queueMicrotask(copyCurves));
  });
  addEventListener('afterprint', () => {
    document.documentElement.dataset.paper = paper;
    drawing.recolour();
    for (const c of curves) c.draw();
    part('print').replaceChildren();
  });
}

function contents(r: ResultFile, drawing: Drawing, page: HTMLImageElement | undefined): HTMLElement[] {
  const h = (text: string): HTMLElement => make('h2', {}, text);
  const out: HTMLElement[] = [
    make('h1', {}, r.job.name),
    make('p', {}, HOW_TO_READ),
    h('Doubts and notes'),
    notesElement(r.notes ?? [], 'short'),
    h('Figures'),
    figureTable(r),
    make('div', { class: 'whole' }, h('Cautions'), ...[...part('cautions').children].map((c) => make('p', {}, c.textContent ?? ''))),
  ];
  if (page)
    out.push(
      h('Drawing'),
      make(
        'figure',
        { class: 'page' },
        page,
        make('figcaption', {}, 'Three views of the envelope with its size in mm, and sections across it; the inner line is the cavity.'),
      ),
    );
  out.push(h('Views'), views(drawing));
  const off = Math.max(0, ...drawing.things.map((t) => t.thing.error ?? 0));
  if (off > 0)
    out.push(make('p', {}, `Drawn with fewer faces than scanned, at most ${off.toFixed(2)} mm off; figures come from the whole scans.`));
  out.push(make('div', { class: 'views', id: 'print-curves' }));
  out.push(...placeList(r));
  for (const t of tablesOf(r)) out.push(tableElement(t));
  const notes = r.notes ?? [];
  if (foldsAny(notes)) out.push(h('All notes'), notesElement(notes, 'all'));
  out.push(make('div', { class: 'whole' }, h('Where this comes from'), provenance(r)));
  return out;
}

function placeList(r: ResultFile): HTMLElement[] {
  const all = placesOf(r);
  if (all.length === 0) return [];
  const holes = all.filter((p) => p.hole);
  const places = [...all.filter((p) => !p.hole), ...holes.slice(0, FEW_HOLES)];
  const more = all.length - places.length;
  return [
    make('h2', {}, 'Places, mm: forward, left, up'),
    make('ol', {}, ...places.map((p) => make('li', {}, `${p.words}, at ${p.at.map((v) => v.toFixed(0)).join(', ')}`))),
    ...(more > 0 ? [make('p', {}, `${more} more holes, farther off or smaller, are in the page and in result.json.`)] : []),
  ];
}

/** For someone who was not there: what the numbers say and what they do not. */
const HOW_TO_READ =
  'How much room the scanned neighbours leave, each kept at its clearance, and what that room would hold. Every figure stands with the two values that it lies between: ' +
  'how far the scanned surfaces may be off, what the size of the cells costs, and how well scans were placed are in them; bent parts, wrong clearances and what was not scanned are not. ' +
  'No more digits are printed than these bounds carry.';

function figureTable(r: ResultFile): HTMLElement {
  const rows = figuresOf(r).map((f) =>
    make(
      'tr',
      {},
      make('th', { scope: 'row' }, f.label),
      make('td', {}, make('b', {}, f.value), f.unit ? ` ${f.unit}` : ''),
      make('td', {}, f.unit === 'l' ? f.bounds : ''),
      make('td', {}, MEANINGS[f.key] ?? f.bounds),
    ),
  );
  const heads = ['', 'figure', 'between', 'what it means'].map((t) => make('th', { scope: 'col' }, t));
  return make('table', { class: 'figures' }, make('thead', {}, make('tr', {}, ...heads)), make('tbody', {}, ...rows));
}

/** Three views at one scale, and three cuts through the middle of the envelope. */
function views(drawing: Drawing): HTMLElement {
  const { stage } = drawing;
  const eye = stage.eye();
  const cut = drawing.cut.current;
  const box = drawing.things.find((t) => t.thing.kind === 'envelope')?.thing.geometry.boundingBox ?? new Box3();
  const near = drawing.near();
  const shot = (view: string, says: string): HTMLElement => {
    stage.fit(VIEWS[view], new Sphere(near.center, near.radius * 0.75));
    return make('figure', {}, copy(stage.drawNow()), make('figcaption', {}, says));
  };
  drawing.setCut(undefined);
  const out = [shot('left side', 'From the left side.'), shot('from above', 'From above.'), shot('from behind', 'From behind.')];
  const cuts = [
    [1, -1, 'left side', 'Cut lengthways'],
    [0, 1, 'from behind', 'Cut crossways'],
    [2, -1, 'from above', 'Cut level'],
  ] as const;
  for (const [axis, keep, view, words] of cuts) {
    const middle = box.isEmpty() ? 0 : (box.min.getComponent(axis) + box.max.getComponent(axis)) / 2;
    drawing.setCut({ axis, at: middle, keep });
    out.push(shot(view, `${words} at ${Math.round(middle)} mm, ${view === 'left side' ? 'from the left side' : view}.`));
  }
  drawing.setCut(cut);
  stage.setEye(eye);
  stage.drawNow();
  return make('div', { class: 'views' }, ...out);
}

/** The drawing page of a result as a picture, when there is one; ready before the printer asks. */
export async function drawingPicture(source: Source): Promise<HTMLImageElement | undefined> {
  if (!source.names.includes('drawing.svg')) return undefined;
  const url = URL.createObjectURL(new Blob([await source.read('drawing.svg')], { type: 'image/svg+xml' }));
  const picture = make('img', { src: url, alt: 'Three views and sections of the envelope, with dimensions' });
  await picture.decode();
  return picture;
}

/** A copy of a canvas as it looks now. */
function copy(from: HTMLCanvasElement): HTMLCanvasElement {
  const to = document.createElement('canvas');
  to.width = from.width;
  to.height = from.height;
  to.getContext('2d')?.drawImage(from, 0, 0);
  return to;
}

function copyCurves(): void {
  const copies = [...document.querySelectorAll<HTMLElement>('#curves .curve')].flatMap((figure) => {
    const canvas = figure.querySelector('canvas');
    const says = `${figure.dataset.title ?? ''}. ${figure.querySelector('[aria-label]')?.getAttribute('aria-label') ?? ''}`;
    return canvas ? [make('figure', {}, copy(canvas), make('figcaption', {}, says))] : [];
  });
  part('print-curves').replaceChildren(...copies);
}

function provenance(r: ResultFile): HTMLElement {
  const rows = (r.inputs ?? []).map((i) =>
    make('tr', {}, make('td', {}, i.scan), make('td', {}, i.file), make('td', { class: 'hash' }, i.sha256)),
  );
  const tool = r.tool ? `${r.tool.name} ${r.tool.version}` : 'Voidgauge';
  const grid = r.grid ? `, ${r.grid.step_mm} mm cells, ${r.grid.cells.toLocaleString('en')} of them` : '';
  return make(
    'div',
    {},
    make(
      'p',
      {},
      `Made with ${tool}${grid}. Least radius ${r.envelope?.least_radius_mm ?? r.job.least_radius ?? '?'} mm, scan accuracy ${r.job.accuracy ?? '?'} mm.`,
    ),
    make(
      'table',
      {},
      make('thead', {}, make('tr', {}, ...['scan', 'file', 'SHA-256'].map((t) => make('th', { scope: 'col' }, t)))),
      make('tbody', {}, ...rows),
    ),
  );
}

import { Box3, Sphere } from 'three';
import type { Curve } from './curve.ts';
import { make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { figuresOf, MEANINGS } from './figures.ts';
import { placesOf } from './places.ts';
import type { ResultFile } from './result.ts';
import { foldsAny, notesElement } from './sheet-panel.ts';
import { tableElement, tablesOf } from './tables.ts';
import { VIEWS } from './views.ts';

/**
 * The sheet for the printer, A4 or Letter: made when the browser is about to print, from the same result and the same drawing.
 * Doubts first, then figures with what they mean, views with dimensions, a section, curves, tables, cautions, and where it comes from.
 */
export function printSheet(r: ResultFile, drawing: Drawing, curves: readonly Curve[], page?: SVGSVGElement): void {
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

function contents(r: ResultFile, drawing: Drawing, page: SVGSVGElement | undefined): HTMLElement[] {
  const h = (text: string): HTMLElement => make('h2', {}, text);
  const out: HTMLElement[] = [
    make('h1', {}, r.job.name),
    h('Doubts and notes'),
    notesElement(r.notes ?? [], 'short'),
    h('Figures'),
    figureTable(r),
  ];
  out.push(h('Views'), views(drawing));
  if (page)
    out.push(h('Drawing page, fitted to this sheet: measure on the file itself'), make('figure', { class: 'page' }, page.cloneNode(true)));
  const off = Math.max(0, ...drawing.things.map((t) => t.thing.error ?? 0));
  if (off > 0)
    out.push(make('p', {}, `Drawn with fewer faces than scanned, at most ${off.toFixed(2)} mm off; figures come from the whole scans.`));
  out.push(make('div', { class: 'views', id: 'print-curves' }));
  const places = placesOf(r);
  if (places.length)
    out.push(
      h('Places, mm: forward, left, up'),
      make('ol', {}, ...places.map((p) => make('li', {}, `${p.words}, at ${p.at.map((v) => v.toFixed(0)).join(', ')}`))),
    );
  for (const t of tablesOf(r)) out.push(tableElement(t));
  const notes = r.notes ?? [];
  if (foldsAny(notes)) out.push(h('All notes'), notesElement(notes, 'all'));
  out.push(
    h('Cautions'),
    ...[...part('cautions').children].map((c) => make('p', {}, c.textContent ?? '')),
    h('Where this comes from'),
    provenance(r),
  );
  return out;
}

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
  return make('table', {}, make('thead', {}, make('tr', {}, ...heads)), make('tbody', {}, ...rows));
}

/** Three views at one scale with the envelope's size, and the section lengthways through its middle. */
function views(drawing: Drawing): HTMLElement {
  const { stage } = drawing;
  const eye = stage.eye();
  const cut = drawing.cut.current;
  const box = drawing.things.find((t) => t.thing.kind === 'envelope')?.thing.geometry.boundingBox ?? new Box3();
  const near = drawing.near();
  const size = [0, 1, 2].map((a) => (box.isEmpty() ? 0 : box.max.getComponent(a) - box.min.getComponent(a)));
  const shot = (view: string, says: string, sizes?: readonly [number, number]): HTMLElement => {
    stage.fit(VIEWS[view], new Sphere(near.center, near.radius * 0.75));
    const picture = copy(stage.drawNow());
    if (sizes && !box.isEmpty()) dimension(picture, drawing, box, sizes);
    return make('figure', {}, picture, make('figcaption', {}, says));
  };
  drawing.setCut(undefined);
  const out = [
    shot('left side', 'From the left side; size of the envelope in mm.', [size[0], size[2]]),
    shot('from above', 'From above.', [size[1], size[0]]),
    shot('from behind', 'From behind.', [size[1], size[2]]),
  ];
  const middle = box.isEmpty() ? 0 : (box.min.y + box.max.y) / 2;
  drawing.setCut({ axis: 1, at: middle, keep: -1 });
  out.push(shot('left side', `Cut lengthways at ${Math.round(middle)} mm, from the left side.`));
  drawing.setCut(cut);
  stage.setEye(eye);
  stage.drawNow();
  return make('div', { class: 'views' }, ...out);
}

/** Draws the envelope's width and height on a view, as dimension lines below it and to its left (ISO 129-1: arrows, text along the line). */
function dimension(picture: HTMLCanvasElement, { stage }: Drawing, box: Box3, [wide, high]: readonly [number, number]): void {
  const pen = picture.getContext('2d');
  if (!pen) return;
  const k = picture.width / stage.size.width;
  const ends = [box.min, box.max].map((p) => stage.toScreen([p.x, p.y, p.z]));
  const [x0, x1] = [Math.min(ends[0].x, ends[1].x) * k, Math.max(ends[0].x, ends[1].x) * k];
  const [y0, y1] = [Math.min(ends[0].y, ends[1].y) * k, Math.max(ends[0].y, ends[1].y) * k];
  const off = 26 * k;
  pen.font = `${20 * k}px sans-serif`;
  pen.textAlign = 'center';
  pen.lineWidth = 1.5 * k;
  // Along x, then turned a quarter for the height.
  const line = (from: number, to: number, at: number, text: string): void => {
    const a = 9 * k;
    pen.beginPath();
    for (const [end, s] of [
      [from, 1],
      [to, -1],
    ]) {
      pen.moveTo(end, at - off);
      pen.lineTo(end, at + a);
      pen.moveTo(end + s * a, at - a / 3);
      pen.lineTo(end, at);
      pen.lineTo(end + s * a, at + a / 3);
    }
    pen.moveTo(from, at);
    pen.lineTo(to, at);
    pen.strokeStyle = '#000';
    pen.stroke();
    const width = pen.measureText(text).width;
    pen.fillStyle = '#fff';
    pen.fillRect((from + to - width) / 2 - 4 * k, at - 11 * k, width + 8 * k, 22 * k);
    pen.fillStyle = '#000';
    pen.fillText(text, (from + to) / 2, at + 7 * k);
  };
  line(x0, x1, y1 + off, wide.toFixed(0));
  pen.save();
  pen.rotate(Math.PI / 2);
  line(y0, y1, -x0 + off, high.toFixed(0));
  pen.restore();
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

import type { Field } from '../core/field.ts';
import { surface } from '../field/surface.ts';
import { escaped, pathOf } from './draft.ts';
import { axisName, type Section, type Sections } from './sections.ts';
import { VIEWS, type View, viewOf } from './views.ts';

/** Sheets lying, mm (ISO 216). */
export const PAPERS = { A4: [297, 210], A3: [420, 297] } as const;

export interface DrawingOptions {
  readonly paper: keyof typeof PAPERS;
  /** Largest text of the title block. */
  readonly title: string;
  /** Lines below it, such as volume and step. */
  readonly facts: readonly string[];
}

/** Reductions of ISO 5455 (recalled, original not seen), and 1:2.5 and 1:4 between them (common practice). */
const SCALES = [1, 2, 2.5, 4, 5, 10, 20, 50, 100];

/** mm of paper: edge, room for dimensions between views, text and line widths. */
const EDGE = 10;
const GAP = 20;
const TITLE = { width: 110, height: 34 };
const TEXT = 3.2;
const INK = '#1d1f24';
const SECOND = '#a8320a';

interface Page {
  readonly width: number;
  readonly height: number;
  readonly scale: number;
  readonly out: string[];
}

/**
 * A drawing page as one SVG: the body from the left, from the front and from above with its main dimensions, sections with theirs, a scale bar
 * and a title block. The largest scale at which all three views and one section fit is taken; as many sections follow as have room.
 */
export function drawingPage(body: Field, cut: Sections | undefined, options: DrawingOptions): string {
  const mesh = surface(body, 0);
  const left = viewOf(body, mesh, VIEWS.left);
  const front = viewOf(body, mesh, VIEWS.front);
  const above = viewOf(body, mesh, VIEWS.above);
  const [width, height] = PAPERS[options.paper];
  const sizes = (cut?.list ?? []).map((s) => sectionBox(s));
  const widest = sizes.reduce((m, b) => Math.max(m, b[2] - b[0]), 0);
  const tallest = sizes.reduce((m, b) => Math.max(m, b[3] - b[1]), 0);
  const wide = Math.max(wideOf(left), wideOf(above));
  const fits = (n: number): boolean => {
    const across = 2 * EDGE + wide / n + 2 * GAP + Math.max(wideOf(front) / n, widest / n, TITLE.width);
    const down =
      2 * EDGE + 12 + Math.max(tallOf(left), tallOf(front)) / n + 2 * GAP + Math.max(tallOf(above) / n, tallest / n + TITLE.height);
    return across <= width && down <= height;
  };
  const scale = SCALES.find(fits) ?? SCALES[SCALES.length - 1];
  const page: Page = { width, height, scale, out: [] };
  const top = EDGE + 12;
  const first = { x: EDGE + 6, y: top };
  const second = { x: first.x + wide / scale + GAP, y: top };
  const third = { x: first.x, y: top + Math.max(tallOf(left), tallOf(front)) / scale + GAP };
  const from = { x: second.x, y: third.y, right: width - EDGE, bottom: height - EDGE - TITLE.height - 4 };
  const chosen = cut ? choose(cut, sizes, from, scale) : [];
  open(page, options);
  drawView(page, left, first);
  drawView(page, front, second);
  drawView(page, above, third);
  if (cut)
    drawSections(page, cut, chosen, {
      from,
      views: [
        [left, first],
        [front, second],
        [above, third],
      ],
    });
  titleBlock(page, options);
  return `${page.out.join('\n')}\n</svg>\n`;
}

const wideOf = (v: View): number => v.box[2] - v.box[0];
const tallOf = (v: View): number => v.box[3] - v.box[1];

type Box = readonly [number, number, number, number];

function sectionBox(s: Section): Box {
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const { points: p } of s.body.lines)
    for (let i = 0; i < p.length; i += 2) {
      box[0] = Math.min(box[0], p[i]);
      box[1] = Math.min(box[1], p[i + 1]);
      box[2] = Math.max(box[2], p[i]);
      box[3] = Math.max(box[3], p[i + 1]);
    }
  return box;
}

interface Room {
  readonly x: number;
  readonly y: number;
  readonly right: number;
  readonly bottom: number;
}

/** Evenly spread sections, as many as have room in one row. */
function choose(cut: Sections, sizes: readonly Box[], room: Room, scale: number): number[] {
  const n = sizes.length;
  for (let count = Math.min(n, 6); count > 0; count--) {
    const picked = Array.from({ length: count }, (_, i) => Math.floor(((i + 0.5) * n) / count));
    const across = picked.reduce((s, i) => s + (sizes[i][2] - sizes[i][0]) / scale + GAP, 0);
    const down = picked.reduce((m, i) => Math.max(m, (sizes[i][3] - sizes[i][1]) / scale), 0) + 14;
    if (room.x + across <= room.right + GAP / 2 && room.y + down <= room.bottom + 8) return picked;
  }
  return cut.list.length > 0 ? [Math.floor(n / 2)] : [];
}

const mm = (v: number): string => v.toFixed(2);

function open(page: Page, options: DrawingOptions): void {
  const { width, height, out } = page;
  out.push(
    `<svg xmlns="http://www.w3.org/2000/svg" width="${width}mm" height="${height}mm" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="${TEXT}" fill="${INK}">`,
    `<title>${escaped(options.title)}: three views and sections</title>`,
    `<rect width="${width}" height="${height}" fill="#fff"/>`,
    `<rect x="${EDGE / 2}" y="${EDGE / 2}" width="${width - EDGE}" height="${height - EDGE}" fill="none" stroke="${INK}" stroke-width="0.5"/>`,
  );
}

interface Spot {
  readonly x: number;
  readonly y: number;
}

/** A group in which lines in mm of the body are drawn, its box's upper left corner at `at`. */
function group(page: Page, at: Spot, box: Box, lines: readonly string[]): string {
  const k = 1 / page.scale;
  return `<g transform="translate(${mm(at.x - k * box[0])} ${mm(at.y + k * box[3])}) scale(${k})" fill="none" stroke-linejoin="round" stroke-linecap="round">${lines.join('')}</g>`;
}

/** Lines keep their width on paper whatever the scale. */
const path = (page: Page, lines: readonly { points: ArrayLike<number>; closed: boolean }[], look: string, width: number): string =>
  lines.length === 0
    ? ''
    : `<path d="${lines.map((l) => pathOf({ layer: '', ...l })).join('')}" ${look} stroke-width="${mm(width * page.scale)}"/>`;

function drawView(page: Page, view: View, at: Spot): void {
  const dash = `${mm(1.6 * page.scale)} ${mm(1 * page.scale)}`;
  const bare = (list: readonly Float64Array[]) => list.map((points) => ({ points, closed: false }));
  page.out.push(
    `<text x="${mm(at.x)}" y="${mm(at.y - 4)}" font-weight="bold">${view.frame.name}</text>`,
    group(page, at, view.box, [
      path(page, bare(view.hidden), `stroke="#6b6f76" stroke-dasharray="${dash}"`, 0.18),
      path(page, bare(view.seen), `stroke="${INK}"`, 0.25),
      path(
        page,
        view.silhouette.map((l) => ({ points: l.points, closed: true })),
        `stroke="${INK}"`,
        0.5,
      ),
    ]),
  );
  dimensions(page, view.box, at);
}

/** Width below and height to the right, with slanted ticks. */
function dimensions(page: Page, box: Box, at: Spot): void {
  const [w, h] = [(box[2] - box[0]) / page.scale, (box[3] - box[1]) / page.scale];
  const [right, below] = [at.x + w, at.y + h];
  const [y, x] = [below + 7, right + 7];
  const line = (x0: number, y0: number, x1: number, y1: number): string => `M${mm(x0)} ${mm(y0)}L${mm(x1)} ${mm(y1)}`;
  const tick = (px: number, py: number): string => line(px - 1.2, py + 1.2, px + 1.2, py - 1.2);
  const d =
    line(at.x, below + 1, at.x, y + 1.5) +
    line(right, below + 1, right, y + 1.5) +
    line(at.x, y, right, y) +
    tick(at.x, y) +
    tick(right, y) +
    line(right + 1, at.y, x + 1.5, at.y) +
    line(right + 1, below, x + 1.5, below) +
    line(x, at.y, x, below) +
    tick(x, at.y) +
    tick(x, below);
  const [cx, cy] = [at.x + w / 2, at.y + h / 2];
  page.out.push(
    `<path d="${d}" stroke="${INK}" stroke-width="0.18" fill="none"/>`,
    `<text x="${mm(cx)}" y="${mm(y - 1)}" text-anchor="middle">${Math.round(box[2] - box[0])}</text>`,
    `<text transform="translate(${mm(x - 1)} ${mm(cy)}) rotate(-90)" text-anchor="middle">${Math.round(box[3] - box[1])}</text>`,
  );
}

interface Places {
  readonly from: Room;
  readonly views: readonly (readonly [View, Spot])[];
}

function drawSections(page: Page, cut: Sections, chosen: readonly number[], { from, views }: Places): void {
  let x = from.x;
  for (const i of chosen) {
    const s = cut.list[i];
    const box = sectionBox(s);
    const at = { x, y: from.y };
    const closed = (c: Section['cavity']) => (c?.lines ?? []).map((l) => ({ points: l.points, closed: true }));
    page.out.push(
      `<text x="${mm(x)}" y="${mm(at.y - 4)}" font-weight="bold" fill="${SECOND}">section ${axisName(cut.axis)} ${Math.round(s.station * 10) / 10}</text>`,
      group(page, at, box, [path(page, closed(s.cavity), `stroke="${INK}"`, 0.25), path(page, closed(s.body), `stroke="${INK}"`, 0.5)]),
    );
    dimensions(page, box, at);
    for (const [view, spot] of views) cutMark(page, view, spot, { axis: cut.axis, station: s.station });
    x += (box[2] - box[0]) / page.scale + GAP;
  }
}

/** A chain line where the section lies, in views that see its plane on edge. */
function cutMark(page: Page, view: View, at: Spot, { axis, station }: { axis: readonly number[]; station: number }): void {
  const along = (d: readonly number[]): number => axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2];
  const [u, v] = [along(view.frame.u), along(view.frame.v)];
  const k = 1 / page.scale;
  const [right, below] = [at.x + k * wideOf(view), at.y + k * tallOf(view)];
  let line: string | undefined;
  if (Math.abs(u) > 1 - 1e-9) {
    const x = at.x + k * (u * station - view.box[0]);
    line = `M${mm(x)} ${mm(at.y - 2)}L${mm(x)} ${mm(below + 2)}`;
  } else if (Math.abs(v) > 1 - 1e-9) {
    const y = at.y + k * (view.box[3] - v * station);
    line = `M${mm(at.x - 2)} ${mm(y)}L${mm(right + 2)} ${mm(y)}`;
  }
  if (line) page.out.push(`<path d="${line}" stroke="${SECOND}" stroke-width="0.25" stroke-dasharray="5 1 1 1" fill="none"/>`);
}

function titleBlock(page: Page, options: DrawingOptions): void {
  const { width, height, scale, out } = page;
  const x = width - EDGE / 2 - TITLE.width;
  const y = height - EDGE / 2 - TITLE.height;
  out.push(
    `<rect x="${mm(x)}" y="${mm(y)}" width="${TITLE.width}" height="${TITLE.height}" fill="#fff" stroke="${INK}" stroke-width="0.35"/>`,
    `<text x="${mm(x + 4)}" y="${mm(y + 7)}" font-size="5" font-weight="bold">${escaped(fitted(options.title, 40))}</text>`,
  );
  [`scale 1:${scale}, mm; x forward, y left, z up`, ...options.facts].slice(0, 4).forEach((text, i) => {
    out.push(`<text x="${mm(x + 4)}" y="${mm(y + 12.5 + 4 * i)}">${escaped(fitted(text, 66))}</text>`);
  });
  scaleBar(page, { x: x + 4, y: y + TITLE.height - 3.5 });
}

const fitted = (text: string, most: number): string => (text.length > most ? `${text.slice(0, most - 1)}…` : text);

/** A bar of a round length of the body, about 40 mm of paper, halved black and white. */
function scaleBar({ scale, out }: Page, at: Spot): void {
  const length = [10, 20, 50, 100, 200, 500, 1000, 2000, 5000].filter((l) => l / scale <= 50).pop() ?? 10;
  const half = length / scale / 2;
  out.push(
    `<rect x="${mm(at.x)}" y="${mm(at.y - 1.5)}" width="${mm(half)}" height="1.5" fill="${INK}"/>`,
    `<rect x="${mm(at.x)}" y="${mm(at.y - 1.5)}" width="${mm(2 * half)}" height="1.5" fill="none" stroke="${INK}" stroke-width="0.2"/>`,
    `<text x="${mm(at.x + 2 * half + 2)}" y="${mm(at.y)}" font-size="2.8">${length} mm</text>`,
  );
}

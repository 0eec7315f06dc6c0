import type { ManifoldToplevel } from 'manifold-3d';
import { type Draft, draftToDxf, draftToSvg, escaped, type Layer, type Stroke } from './draft.ts';
import { type Figure, Flat, figureArea, figureBox, figureLength, type Point2, rectangle } from './flat.ts';
import type { RibKit } from './ribs.ts';
import { nest, type Placing, placePoint, type SheetOptions } from './ribs-nest.ts';
import type { Rib } from './ribs-plan.ts';

/** Plain figures of a kit, for a manifest. */
export interface RibReport {
  readonly ribs: readonly { readonly name: string; readonly at_mm: number; readonly sheet: number; readonly area_cm2: number }[];
  /** Direction in which slots of the lettered ribs open and from which the numbered ones are put on. */
  readonly along: readonly number[];
  readonly lettered_across: readonly number[];
  readonly numbered_across: readonly number[];
  readonly sheets: number;
  readonly sheet_mm: readonly [number, number];
  readonly used_percent: number;
  readonly cut_length_m: number;
  readonly joints: number;
  readonly joint_gap_mm: number;
  readonly inside: boolean;
  readonly collisions: number;
  /** Share of the body's surface within 5 mm of a rib's edge. */
  readonly covered_percent: number;
}

const LAYERS: readonly Layer[] = [
  { name: 'SHEET', index: 8, ink: '#a9adb3', width: 0.3, dash: '6 3' },
  { name: 'CUT', index: 1, ink: '#1d1f24', width: 0.3 },
  { name: 'ENGRAVE', index: 5, ink: '#a8320a', width: 0.3 },
];

/**
 * The kit's files: each sheet as DXF and SVG, mm one to one, with layers CUT (already moved out by half the kerf) and ENGRAVE, and SHEET for
 * the sheet's edge; and the page that says how it goes together. Throws the fault of `nest`.
 */
export function ribFiles(kit: RibKit, sheet: SheetOptions, lib: ManifoldToplevel): { files: Map<string, string>; report: RibReport } {
  const placings = nest(kit.ribs, sheet, new Flat(lib));
  const sheets = 1 + placings.reduce((m, p) => Math.max(m, p.sheet), 0);
  const files = new Map<string, string>();
  for (let n = 0; n < sheets; n++) {
    const draft = sheetDraft(kit, sheet, placings, n);
    files.set(`ribs-sheet-${n + 1}.dxf`, draftToDxf(draft));
    files.set(
      `ribs-sheet-${n + 1}.svg`,
      draftToSvg(draft, { box: [0, 0, sheet.width, sheet.height], title: `Ribs, sheet ${n + 1} of ${sheets}, one to one` }),
    );
  }
  const report = reportOf(kit, sheet, placings, sheets);
  files.set('ribs-assembly.svg', assemblyPage(kit, report));
  return { files, report };
}

export function sheetDraft(kit: RibKit, sheet: SheetOptions, placings: readonly Placing[], n: number): Draft {
  const strokes: Stroke[] = [ringStroke(rectangle(0, 0, sheet.width, sheet.height)[0], 'SHEET')];
  for (const placing of placings.filter((p) => p.sheet === n)) {
    const rib = kit.ribs.find((r) => r.name === placing.name);
    if (!rib) continue;
    for (const ring of rib.cut)
      strokes.push(
        ringStroke(
          ring.map((p) => placePoint(p, placing)),
          'CUT',
        ),
      );
    for (const s of rib.engraved) {
      const points = Array.from({ length: s.points.length / 2 }, (_, i) => placePoint([s.points[2 * i], s.points[2 * i + 1]], placing));
      strokes.push({ layer: 'ENGRAVE', closed: false, points: points.flat() });
    }
  }
  return { layers: LAYERS, strokes, words: [] };
}

const ringStroke = (ring: readonly Point2[], layer: string): Stroke => ({ layer, points: ring.flat(), closed: true });

function reportOf(kit: RibKit, sheet: SheetOptions, placings: readonly Placing[], sheets: number): RibReport {
  const { frame, proof } = kit;
  const on = new Map(placings.map((p) => [p.name, p.sheet + 1]));
  const area = kit.ribs.reduce((s, r) => s + figureArea(r.part), 0);
  return {
    ribs: kit.ribs.map((r) => ({ name: r.name, at_mm: r.plane.at, sheet: on.get(r.name) ?? 0, area_cm2: figureArea(r.part) / 100 })),
    along: frame.w,
    lettered_across: frame.a,
    numbered_across: frame.b,
    sheets,
    sheet_mm: [sheet.width, sheet.height],
    used_percent: (100 * area) / (sheets * sheet.width * sheet.height),
    cut_length_m: kit.ribs.reduce((s, r) => s + figureLength(r.cut), 0) / 1000,
    joints: proof.joints,
    joint_gap_mm: proof.joint_gap_mm,
    inside: proof.inside,
    collisions: proof.collisions,
    covered_percent: proof.covered_percent,
  };
}

/** Paper of the assembly page, A4 upright, mm. */
const PAGE = { width: 210, height: 297, edge: 14 };

/** One page: the ribs seen along the slots, what lies where, and the order in which they go together. */
function assemblyPage(kit: RibKit, report: RibReport): string {
  const { ribs, frame, options } = kit;
  const { width, height, edge } = PAGE;
  const spans = ribs.map((r) => ({ rib: r, box: figureBox(r.part) }));
  // First coordinate to the right is `a`, up is `b`; ribs of the first family stand across a.
  const line = ({ rib, box }: (typeof spans)[number]): [Point2, Point2] =>
    rib.family === 0
      ? [
          [rib.plane.at, box[0]],
          [rib.plane.at, box[2]],
        ]
      : [
          [box[0], rib.plane.at],
          [box[2], rib.plane.at],
        ];
  const all: Figure = [spans.flatMap(line)];
  const [a0, b0, a1, b1] = figureBox(all);
  const room = { x: edge + 10, y: 40, w: width - 2 * edge - 20, h: 110 };
  const k = Math.min(room.w / (a1 - a0), room.h / (b1 - b0));
  const px = (a: number): number => room.x + (room.w - k * (a1 - a0)) / 2 + k * (a - a0);
  const py = (b: number): number => room.y + room.h - (room.h - k * (b1 - b0)) / 2 - k * (b - b0);
  const out = [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${width}mm" height="${height}mm" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="3.6" fill="#1d1f24">`,
    `<rect width="${width}" height="${height}" fill="#fff"/>`,
    `<text x="${edge}" y="20" font-size="7" font-weight="bold">Rib kit: how it goes together</text>`,
    `<text x="${edge}" y="28">Seen against the arrow that is engraved on every rib. Its direction on the vehicle: ${direction(frame.w)}.</text>`,
  ];
  for (const s of spans) {
    const [p, q] = line(s);
    const ink = s.rib.family === 0 ? '#1d1f24' : '#a8320a';
    out.push(
      `<line x1="${px(p[0]).toFixed(2)}" y1="${py(p[1]).toFixed(2)}" x2="${px(q[0]).toFixed(2)}" y2="${py(q[1]).toFixed(2)}" stroke="${ink}" stroke-width="${Math.max(0.4, k * options.thickness).toFixed(2)}"/>`,
      s.rib.family === 0
        ? `<text x="${px(q[0]).toFixed(2)}" y="${(py(q[1]) - 2).toFixed(2)}" text-anchor="middle" fill="${ink}">${escaped(s.rib.name)}</text>`
        : `<text x="${(px(q[0]) + 2).toFixed(2)}" y="${(py(q[1]) + 1.2).toFixed(2)}" fill="${ink}">${escaped(s.rib.name)}</text>`,
    );
  }
  let y = room.y + room.h + 14;
  const say = (text: string, bold = false): void => {
    out.push(`<text x="${edge}" y="${y.toFixed(1)}"${bold ? ' font-weight="bold"' : ''}>${escaped(text)}</text>`);
    y += 5.4;
  };
  const names = (family: 0 | 1): string => ribs.flatMap((r) => (r.family === family ? [r.name] : [])).join(', ');
  say('Order', true);
  for (const text of [
    ...lines(`1. Stand the lettered ribs up in their order, arrows up, slots open at the top: ${names(0)}.`),
    ...lines(`2. Put the numbered ribs on from above, one by one, arrows up, each straight down against the arrow: ${names(1)}.`),
    '3. Each slot ends where the other begins. Nothing has to bend, turn or be forced.',
  ])
    say(text);
  y += 3;
  say('Sheet', true);
  say(
    `${options.thickness} mm sheet of ${report.sheet_mm[0]} x ${report.sheet_mm[1]} mm, ${report.sheets} needed, ${Math.round(report.used_percent)} % used; ${report.cut_length_m.toFixed(1)} m of cut.`,
  );
  say(
    `Slots are ${(options.thickness + options.fit).toFixed(2)} mm wide after the cut. Cut lines already lie half the kerf (${options.kerf} mm) outside the part:`,
  );
  say('do not let the machine correct for it again. Try one slot on a scrap first.');
  y += 3;
  say('Looked at by computation', true);
  say(
    `Every rib lies inside the body over its whole thickness. ${report.joints} joints meet, widest gap ${report.joint_gap_mm.toFixed(2)} mm.`,
  );
  say(
    `No rib is in another's way while it goes on. ${report.covered_percent.toFixed(0)} % of the body's surface is within 5 mm of a rib's edge.`,
  );
  y += 3;
  say('Ribs', true);
  const rows = report.ribs.map((r) => `${r.name}  at ${r.at_mm.toFixed(1)} mm, sheet ${r.sheet}`);
  const columns = rows.length > 20 ? 4 : 3;
  rows.forEach((text, i) => {
    const x = edge + (i % columns) * ((width - 2 * edge) / columns);
    out.push(`<text x="${x.toFixed(1)}" y="${(y + 4.6 * Math.floor(i / columns)).toFixed(1)}" font-size="3.2">${escaped(text)}</text>`);
  });
  return `${out.join('\n')}\n</svg>\n`;
}

/** Breaks a text into lines that fit the page. */
function lines(text: string, most = 100): string[] {
  const out: string[] = [];
  for (const word of text.split(' ')) {
    const last = out.length - 1;
    if (last >= 0 && out[last].length + word.length < most) out[last] += ` ${word}`;
    else out.push(out.length === 0 ? word : `    ${word}`);
  }
  return out;
}

/** A direction in words where it is one of the vehicle's. */
function direction(d: readonly number[]): string {
  const words = [
    ['backward', 'forward'],
    ['to the right', 'to the left'],
    ['down', 'up'],
  ];
  const i = d.findIndex((v) => Math.abs(v) > 1 - 1e-6);
  return i >= 0 ? words[i][d[i] > 0 ? 1 : 0] : `(${d.map((v) => v.toFixed(3)).join(', ')})`;
}

/** A part as it lies on its sheet. */
export const laid = (rib: Rib, placing: Placing): Figure => rib.cut.map((ring) => ring.map((p) => placePoint(p, placing)));

import { DxfWriter, LWPolylineFlags, PolylineFlags, point2d, point3d, Units } from '@tarikjabiri/dxf';
import type { Vec3 } from '../core/vec.ts';

/** A layer of a drawing: its name in a DXF file, its colour there (number of the standard index), and its look in SVG. */
export interface Layer {
  readonly name: string;
  readonly index: number;
  readonly ink: string;
  /** Line width on paper, mm. */
  readonly width: number;
  readonly dash?: string;
}

/** A line of straight pieces and arcs, mm. */
export interface Stroke {
  readonly layer: string;
  /** x and y alternating. */
  readonly points: ArrayLike<number>;
  readonly closed: boolean;
  /** One a point: tangent of a quarter of the arc's angle to the next point, positive to the left of the chord's way, 0 for straight. */
  readonly bulges?: ArrayLike<number>;
}

export interface Words {
  readonly layer: string;
  readonly at: readonly [number, number];
  /** mm */
  readonly height: number;
  readonly text: string;
}

/** A drawing in mm, y up. */
export interface Draft {
  readonly layers: readonly Layer[];
  readonly strokes: readonly Stroke[];
  readonly words: readonly Words[];
}

/** The drawing as DXF text, mm, one to one: closed lines as LWPOLYLINE with bulges for arcs. */
export function draftToDxf(draft: Draft): string {
  const dxf = open(draft.layers);
  for (const s of draft.strokes) {
    const vertices = Array.from({ length: s.points.length / 2 }, (_, i) => ({
      point: point2d(s.points[2 * i], s.points[2 * i + 1]),
      bulge: s.bulges?.[i] ?? 0,
    }));
    dxf.addLWPolyline(vertices, { layerName: s.layer, flags: s.closed ? LWPolylineFlags.Closed : LWPolylineFlags.None });
  }
  for (const w of draft.words) dxf.addText(point3d(w.at[0], w.at[1]), w.height, w.text, { layerName: w.layer });
  return dxf.stringify();
}

/** A line in space. */
export interface SpaceStroke {
  readonly layer: string;
  readonly points: readonly Vec3[];
  readonly closed: boolean;
}

/** Lines in space as DXF text, mm: each where it lies on the vehicle. */
export function spaceToDxf(layers: readonly Layer[], strokes: readonly SpaceStroke[]): string {
  const dxf = open(layers);
  for (const s of strokes)
    dxf.addPolyline3D(
      s.points.map((p) => ({ point: point3d(p[0], p[1], p[2]) })),
      { layerName: s.layer, flags: s.closed ? PolylineFlags.Closed | PolylineFlags.Polyline3D : PolylineFlags.Polyline3D },
    );
  return dxf.stringify();
}

function open(layers: readonly Layer[]): DxfWriter {
  const dxf = new DxfWriter();
  dxf.setUnits(Units.Millimeters);
  for (const l of layers) dxf.addLayer(l.name, l.index, 'Continuous');
  return dxf;
}

export interface SvgOptions {
  /** [least x, least y, greatest x, greatest y], mm; the strokes' own box and 5 mm more when left out. */
  readonly box?: readonly [number, number, number, number];
  readonly title?: string;
}

/** The drawing as one SVG picture, one unit a mm and as large on paper; each layer is a group with its name. */
export function draftToSvg(draft: Draft, options: SvgOptions = {}): string {
  const [x0, y0, x1, y1] = options.box ?? draftBox(draft, 5);
  const [w, h] = [x1 - x0, y1 - y0];
  const out = [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${short(w)}mm" height="${short(h)}mm" viewBox="${short(x0)} ${short(-y1)} ${short(w)} ${short(h)}" font-family="sans-serif">`,
  ];
  if (options.title) out.push(`<title>${escaped(options.title)}</title>`);
  for (const l of draft.layers) {
    const own = draft.strokes.filter((s) => s.layer === l.name);
    const words = draft.words.filter((s) => s.layer === l.name);
    if (own.length + words.length === 0) continue;
    const dash = l.dash ? ` stroke-dasharray="${l.dash}"` : '';
    out.push(
      `<g id="${escaped(l.name)}" fill="none" stroke="${l.ink}" stroke-width="${l.width}" stroke-linejoin="round" stroke-linecap="round"${dash}>`,
    );
    for (const s of own) out.push(`<path d="${pathOf(s)}"/>`);
    for (const t of words)
      out.push(
        `<text x="${short(t.at[0])}" y="${short(-t.at[1])}" font-size="${short(t.height)}" fill="${l.ink}" stroke="none">${escaped(t.text)}</text>`,
      );
    out.push('</g>');
  }
  return `${out.join('\n')}\n</svg>\n`;
}

/** Box of a drawing's points, `more` mm wider on every side. */
export function draftBox(draft: Draft, more: number): [number, number, number, number] {
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  const take = (x: number, y: number): void => {
    box[0] = Math.min(box[0], x);
    box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x);
    box[3] = Math.max(box[3], y);
  };
  for (const { points } of draft.strokes) for (let i = 0; i < points.length; i += 2) take(points[i], points[i + 1]);
  for (const { at, height, text } of draft.words) {
    take(at[0], at[1]);
    take(at[0] + 0.6 * height * text.length, at[1] + height);
  }
  if (box[0] > box[2]) return [0, 0, 1, 1];
  return [box[0] - more, box[1] - more, box[2] + more, box[3] + more];
}

/** SVG path of a stroke, y turned down. */
export function pathOf(s: Stroke): string {
  const n = s.points.length / 2;
  let d = `M${short(s.points[0])} ${short(-s.points[1])}`;
  for (let i = 0; i < (s.closed ? n : n - 1); i++) {
    const j = (i + 1) % n;
    const [x, y] = [s.points[2 * j], s.points[2 * j + 1]];
    const bulge = s.bulges?.[i] ?? 0;
    if (bulge === 0) {
      if (j > 0) d += `L${short(x)} ${short(-y)}`;
      continue;
    }
    const chord = Math.hypot(x - s.points[2 * i], y - s.points[2 * i + 1]);
    const r = (chord * (1 + bulge * bulge)) / (4 * Math.abs(bulge));
    // Counter-clockwise in a drawing with y up is sweep 0 in a picture with y down.
    d += `A${short(r)} ${short(r)} 0 ${Math.abs(bulge) > 1 ? 1 : 0} ${bulge > 0 ? 0 : 1} ${short(x)} ${short(-y)}`;
  }
  return s.closed ? `${d}Z` : d;
}

/** At most three decimals. */
const short = (v: number): string => String(Math.round(v * 1000) / 1000 || 0);

export const escaped = (text: string): string =>
  text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');

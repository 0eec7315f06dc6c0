import type { Mesh } from '../core/mesh.ts';
import { dot, type Vec3 } from '../core/vec.ts';
import { type Flat, rectangle } from './flat.ts';
import type { TurnedBox } from './least-box.ts';
import { nest } from './ribs-nest.ts';

/** Sheets of foam to be glued up and cut, mm. */
export interface FoamOptions {
  /** Length, width and thickness of a sheet. */
  readonly sheet: Vec3;
  /** Left on every side of each layer. */
  readonly stock: number;
  /** Width of the saw's cut between pieces. */
  readonly saw: number;
}

/** One layer of the pile, from below. Plain JSON. */
export interface FoamLayer {
  /** From and to, mm from the lowest point of the block (stock included). */
  readonly from_mm: number;
  readonly to_mm: number;
  /** Length and width that it needs. */
  readonly size_mm: readonly [number, number];
  /** Where its lower left corner lies in the block's own directions, mm from the block's corner. */
  readonly at_mm: readonly [number, number];
  /** Pieces that it is glued up from: 1 unless it is larger than a sheet. */
  readonly pieces: number;
  /** Numbers of the sheets that they come from, from 1. */
  readonly sheets: readonly number[];
}

export interface FoamFigures {
  readonly layers: readonly FoamLayer[];
  readonly pieces: number;
  /** Sheets by a plain laying-out of the pieces, large ones first; and as many as their volume alone would take. */
  readonly sheets: number;
  readonly least_sheets: number;
}

/**
 * Layers of sheet that make the block round a body, stacked along the last axis of `box`: each as long and wide as the body is within it,
 * stock added, halved or parted further where a sheet is too small, all laid out on as few sheets as a plain rule finds.
 */
export function foamFigures(mesh: Mesh, box: TurnedBox, { sheet, stock, saw }: FoamOptions, flat: Flat): FoamFigures {
  const [length, width, thick] = sheet;
  const height = box.size_mm[2] + 2 * stock;
  const count = Math.ceil(height / thick - 1e-9);
  const inBox = coordinates(mesh, box);
  const pieces: { name: string; layer: number; size: [number, number] }[] = [];
  const rough = Array.from({ length: count }, (_, layer) => {
    const [from, to] = [layer * thick, Math.min((layer + 1) * thick, height)];
    // A layer that is all stock is as large as the end of the body that it lies on.
    const low = Math.min(from - stock + SLIGHT, box.size_mm[2] - SLIGHT);
    const high = Math.max(to - stock - SLIGHT, SLIGHT);
    const [a0, b0, a1, b1] = within(mesh, inBox, low, high);
    const size: [number, number] = [a1 - a0 + 2 * stock, b1 - b0 + 2 * stock];
    const parts = (alongA: number, alongB: number): [number, number] => [
      Math.ceil(size[0] / alongA - 1e-9),
      Math.ceil(size[1] / alongB - 1e-9),
    ];
    const [one, other] = [parts(length, width), parts(width, length)];
    const [na, nb] = one[0] * one[1] <= other[0] * other[1] ? one : other;
    for (let i = 0; i < na * nb; i++) pieces.push({ name: `${layer}-${i}`, layer, size: [size[0] / na, size[1] / nb] });
    return { from_mm: from, to_mm: to, size_mm: size, at_mm: [a0, b0] as const, pieces: na * nb };
  });
  const placed = nest(
    pieces.map(({ name, size }) => ({ name, cut: rectangle(0, 0, size[0], size[1]) })),
    { width: length, height: width, margin: 0, gap: saw },
    flat,
  );
  const on = new Map(placed.map((p) => [p.name, p.sheet + 1]));
  const volume = pieces.reduce((s, p) => s + p.size[0] * p.size[1], 0);
  return {
    layers: rough.map((l, layer) => ({
      ...l,
      sheets: [...new Set(pieces.filter((p) => p.layer === layer).map((p) => on.get(p.name)!))].sort((p, q) => p - q),
    })),
    pieces: pieces.length,
    sheets: 1 + placed.reduce((m, p) => Math.max(m, p.sheet), 0),
    least_sheets: Math.ceil(volume / (length * width) - 1e-9),
  };
}

/** A face that only borders on a layer is no part of it, mm. */
const SLIGHT = 0.01;

/** Coordinates of the corners along the box's axes, from its lowest corner, mm. */
function coordinates({ origin, positions: p }: Mesh, { axes, size_mm: size, centre_mm: c }: TurnedBox): Float64Array {
  const out = new Float64Array(p.length);
  for (let i = 0; i < p.length; i += 3) {
    const q: Vec3 = [p[i] + origin[0] - c[0], p[i + 1] + origin[1] - c[1], p[i + 2] + origin[2] - c[2]];
    for (let a = 0; a < 3; a++) out[i + a] = dot(q, axes[a]) + size[a] / 2;
  }
  return out;
}

/** Box of the surface between two heights: [least a, least b, greatest a, greatest b]. */
function within({ indices: t }: Mesh, c: Float64Array, low: number, high: number): [number, number, number, number] {
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  const take = (a: number, b: number): void => {
    box[0] = Math.min(box[0], a);
    box[1] = Math.min(box[1], b);
    box[2] = Math.max(box[2], a);
    box[3] = Math.max(box[3], b);
  };
  for (let i = 0; i < t.length; i++) {
    const p = 3 * t[i];
    const q = 3 * t[i % 3 === 2 ? i - 2 : i + 1];
    if (c[p + 2] >= low && c[p + 2] <= high) take(c[p], c[p + 1]);
    // Where an edge leaves the layer.
    for (const h of [low, high]) {
      if (c[p + 2] > h === c[q + 2] > h) continue;
      const k = (h - c[p + 2]) / (c[q + 2] - c[p + 2]);
      take(c[p] + k * (c[q] - c[p]), c[p + 1] + k * (c[q + 1] - c[p + 1]));
    }
  }
  return box;
}

/** The layers as a table of comma-separated text. */
export function foamTable({ layers }: FoamFigures): string {
  const head = 'layer,from_mm,to_mm,length_mm,width_mm,at_a_mm,at_b_mm,pieces,sheets';
  const mm = (v: number): string => v.toFixed(1);
  const rows = layers.map((l, i) =>
    [i + 1, mm(l.from_mm), mm(l.to_mm), ...l.size_mm.map(mm), ...l.at_mm.map(mm), l.pieces, l.sheets.join(' ')].join(','),
  );
  return `${[head, ...rows].join('\n')}\n`;
}

import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { read } from './inside.ts';

/**
 * Where an axis-parallel box may stand: the void eroded by the box, on a raster.
 *
 * The void is read at nodes no farther apart than a cell, laid out from the void's own lowest corner; a box stands free when
 * all nodes on and in it are. A separable erosion (runs of free nodes along x, then y, then z) finds that for all positions at once.
 */
export interface Raster {
  /** Position (0, 0, 0), mm, and the distance of neighbouring positions, mm. */
  readonly origin: Vec3;
  readonly pitch: number;
  /** Nodes a pitch. */
  readonly split: number;
  /** Number of nodes each way. */
  readonly nodes: Vec3;
  /** 1 where the void is at least -0.1 cell deep, and where it is at least -half a cell deep. */
  readonly firm: Uint8Array;
  readonly loose: Uint8Array;
  /** Half a cell: how far an edge or a corner of a box may seem to stick out, mm. Faces may by a tenth of a cell. */
  readonly tolerance: number;
  /** Nodes that count as a box's edge, from its faces. */
  readonly rim: number;
  readonly inset: number;
}

/** Between cells the edge where two walls meet reads up to half a cell short, a flat wall is exact: so edges are forgiven more than faces. */
const FACE = 0.1;
const EDGE = 0.5;

export interface RasterOptions {
  readonly pitch: number;
  /** Boxes with rounded edges, mm: right there the void may be narrower. */
  readonly edgeRadius?: number;
}

/** Reads { f > 0 } on a raster; null when nothing is free. */
export function rasterOf(f: Field, { pitch, edgeRadius = 0 }: RasterOptions): Raster | null {
  const ends = extent(f);
  if (!ends) return null;
  const { lo, hi } = ends;
  const h = f.grid.step;
  const split = Math.max(1, Math.ceil(pitch / h - 1e-9));
  const gap = pitch / split;
  const nodes = [0, 1, 2].map((a) => Math.floor((hi[a] - lo[a]) / gap + 0.5) + 1) as [number, number, number];
  const firm = new Uint8Array(nodes[0] * nodes[1] * nodes[2]);
  const loose = new Uint8Array(firm.length);
  // A rounded box is the box drawn in by the radius with a ball of the radius round it: its drawn-in nodes must lie that deep.
  let c = 0;
  for (let k = 0; k < nodes[2]; k++)
    for (let j = 0; j < nodes[1]; j++)
      for (let i = 0; i < nodes[0]; i++, c++) {
        const v = read(f, lo[0] + i * gap, lo[1] + j * gap, lo[2] + k * gap);
        firm[c] = v >= -FACE * h ? 1 : 0;
        loose[c] = v >= edgeRadius - EDGE * h ? 1 : 0;
      }
  const rim = Math.ceil(Math.max(edgeRadius, 1.5 * h) / gap);
  return { origin: lo, pitch, split, nodes, firm, loose, tolerance: EDGE * h, rim, inset: Math.ceil(edgeRadius / gap - 1e-9) };
}

/** The void's ends, its border found between the cells, mm. */
function extent(f: Field): { lo: [number, number, number]; hi: [number, number, number] } | null {
  const { grid, data } = f;
  const size = [grid.nx, grid.ny, grid.nz];
  const stride = [1, grid.nx, grid.nx * grid.ny];
  const lo: [number, number, number] = [Infinity, Infinity, Infinity];
  const hi: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  let c = 0;
  const at = [0, 0, 0];
  for (at[2] = 0; at[2] < size[2]; at[2]++)
    for (at[1] = 0; at[1] < size[1]; at[1]++)
      for (at[0] = 0; at[0] < size[0]; at[0]++, c++) {
        if (!(data[c] > 0)) continue;
        for (let a = 0; a < 3; a++) {
          const x = grid.origin[a] + at[a] * grid.step;
          const before = at[a] > 0 ? data[c - stride[a]] : -data[c];
          const after = at[a] + 1 < size[a] ? data[c + stride[a]] : -data[c];
          if (before <= 0) lo[a] = Math.min(lo[a], x - (grid.step * data[c]) / (data[c] - before));
          if (after <= 0) hi[a] = Math.max(hi[a], x + (grid.step * data[c]) / (data[c] - after));
          // At the grid's own edge the set ends half a cell beyond the outermost centres.
        }
      }
  return hi[0] > -Infinity ? { lo, hi } : null;
}

/** Positions of one box size: 1 where its lowest corner may stand, x fastest. */
export interface Standing {
  readonly size: Vec3;
  readonly n: Vec3;
  readonly free: Uint8Array;
}

/** All positions on the raster where a box of `size` mm stands free. */
export function standings(r: Raster, size: Vec3): Standing {
  const gap = r.pitch / r.split;
  const span = size.map((s) => Math.ceil(s / gap - 1e-6)) as [number, number, number];
  const n = [0, 1, 2].map((a) => Math.max(0, Math.floor((r.nodes[a] - 1 - span[a]) / r.split + 1e-9) + 1)) as [number, number, number];
  const free = new Uint8Array(n[0] * n[1] * n[2]);
  if (free.length === 0) return { size, n, free };
  free.fill(1);
  const draw = (b: readonly number[]): [number, number][] => span.map((s, a): [number, number] => [b[a], s - b[a]]);
  const parts: [Uint8Array, [number, number][]][] = [[r.loose, draw([r.inset, r.inset, r.inset])]];
  // Each pair of faces without the rim along its edges.
  for (let a = 0; a < 3; a++) parts.push([r.firm, draw([0, 1, 2].map((i) => (i === a ? 0 : Math.min(r.rim, span[i] >> 1))))]);
  for (const [mask, windows] of parts) erodeInto(free, n, r, { mask, windows });
  return { size, n, free };
}

/** Clears positions whose window of nodes (from..to each way, counted from the position) is not all free. */
function erodeInto(
  free: Uint8Array,
  n: Vec3,
  { nodes, split }: Raster,
  { mask, windows }: { mask: Uint8Array; windows: [number, number][] },
): void {
  const [nx, ny, nz] = nodes;
  const x = runs(
    { mask, count: nx, lines: ny * nz, step: 1, line: (l) => l * nx },
    { window: windows[0], split, n: n[0] },
    (l, p) => p + n[0] * l,
  );
  const y = runs(
    { mask: x, count: ny, lines: n[0] * nz, step: n[0], line: (l) => (l % n[0]) + n[0] * ny * Math.floor(l / n[0]) },
    { window: windows[1], split, n: n[1] },
    (l, p) => (l % n[0]) + n[0] * (p + n[1] * Math.floor(l / n[0])),
  );
  const z = runs(
    { mask: y, count: nz, lines: n[0] * n[1], step: n[0] * n[1], line: (l) => l },
    { window: windows[2], split, n: n[2] },
    (l, p) => l + n[0] * n[1] * p,
  );
  for (let c = 0; c < free.length; c++) free[c] &= z[c];
}

interface Lines {
  readonly mask: Uint8Array;
  readonly count: number;
  readonly lines: number;
  readonly step: number;
  readonly line: (l: number) => number;
}

/** Along each line: whether nodes from..to from every position (`split` nodes apart) are all free. */
function runs(
  { mask, count, lines, step, line }: Lines,
  { window, split, n }: { window: readonly number[]; split: number; n: number },
  put: (line: number, position: number) => number,
): Uint8Array {
  const out = new Uint8Array(lines * n);
  const run = new Int32Array(count);
  const length = window[1] - window[0] + 1;
  for (let l = 0; l < lines; l++) {
    const first = line(l);
    let free = 0;
    for (let i = 0; i < count; i++) {
      free = mask[first + i * step] ? free + 1 : 0;
      run[i] = free;
    }
    for (let p = 0; p < n; p++) if (run[p * split + window[1]] >= length) out[put(l, p)] = 1;
  }
  return out;
}

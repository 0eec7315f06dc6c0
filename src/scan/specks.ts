import type { Note } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';

/** A loose piece smaller than this across, mm, and with less than this share of the scan's triangles (or so few) is a speck. */
const SPECK_SIZE = 12;
const SPECK_SHARE = 1e-3;
const SPECK_TRIANGLES = 50;

/**
 * Number of each triangle's connected piece (corners shared by index or by exact position), and how many pieces there are.
 */
export function connectedPieces(mesh: Mesh): { piece: Int32Array; count: number } {
  const { indices } = mesh;
  const parent = samePlace(mesh);
  const find = (v: number): number => {
    let r = v;
    while (parent[r] !== r) r = parent[r];
    for (let p = v; parent[p] !== r; ) {
      const up = parent[p];
      parent[p] = r;
      p = up;
    }
    return r;
  };
  for (let t = 0; t < indices.length; t += 3) {
    const a = find(indices[t]);
    const b = find(indices[t + 1]);
    if (a !== b) parent[Math.max(a, b)] = Math.min(a, b);
    const ab = Math.min(a, b);
    const c = find(indices[t + 2]);
    if (ab !== c) parent[Math.max(ab, c)] = Math.min(ab, c);
  }
  const number = new Int32Array(parent.length).fill(-1);
  const piece = new Int32Array(indices.length / 3);
  let count = 0;
  for (let t = 0; t < piece.length; t++) {
    const r = find(indices[t * 3]);
    if (number[r] < 0) number[r] = count++;
    piece[t] = number[r];
  }
  return { piece, count };
}

/** For each vertex the first vertex at exactly the same place (open-addressing hash on the bits of the positions). */
export function samePlace({ positions }: Mesh): Int32Array {
  const n = positions.length / 3;
  const bits = new Int32Array(positions.buffer, positions.byteOffset, positions.length);
  let size = 16;
  while (size < n * 2) size *= 2;
  const slots = new Int32Array(size).fill(-1);
  const first = new Int32Array(n);
  for (let v = 0; v < n; v++) {
    const x = bits[v * 3];
    const y = bits[v * 3 + 1];
    const z = bits[v * 3 + 2];
    let h = (Math.imul(x, 0x9e3779b1) ^ Math.imul(y, 0x85ebca6b) ^ Math.imul(z, 0xc2b2ae35)) >>> 0;
    h = (h ^ (h >>> 15)) & (size - 1);
    for (;;) {
      const w = slots[h];
      if (w < 0) {
        slots[h] = v;
        first[v] = v;
        break;
      }
      if (bits[w * 3] === x && bits[w * 3 + 1] === y && bits[w * 3 + 2] === z) {
        first[v] = w;
        break;
      }
      h = (h + 1) & (size - 1);
    }
  }
  return first;
}

/** One loose piece that was left out. */
export interface Speck {
  readonly triangles: number;
  /** Diagonal of its box, mm. */
  readonly across: number;
  /** Middle of its box, mm. */
  readonly at: Vec3;
}

/** What was left out of a scan as specks: how many pieces, their triangles, how large the largest is, mm, and each, largest first. */
export interface Specks {
  readonly scan: string;
  readonly pieces: number;
  readonly triangles: number;
  readonly largest: number;
  readonly list: readonly Speck[];
}

/** The mesh without its specks, which are added to `dropped`. Keeps everything when nothing but specks would be left. */
export function dropSpecks(scan: string, mesh: Mesh, dropped: Specks[]): Mesh {
  const { positions, indices } = mesh;
  const { piece, count } = connectedPieces(mesh);
  if (count <= 1) return mesh;
  const size = new Int32Array(count);
  const lo = new Float32Array(count * 3).fill(Infinity);
  const hi = new Float32Array(count * 3).fill(-Infinity);
  for (let t = 0; t < piece.length; t++) {
    const q = piece[t];
    size[q]++;
    for (let v = 0; v < 3; v++)
      for (let a = 0; a < 3; a++) {
        const x = positions[indices[t * 3 + v] * 3 + a];
        if (x < lo[q * 3 + a]) lo[q * 3 + a] = x;
        if (x > hi[q * 3 + a]) hi[q * 3 + a] = x;
      }
  }
  const across = (q: number): number => Math.hypot(hi[q * 3] - lo[q * 3], hi[q * 3 + 1] - lo[q * 3 + 1], hi[q * 3 + 2] - lo[q * 3 + 2]);
  const isSpeck = Array.from(
    { length: count },
    (_, q) => across(q) < SPECK_SIZE && size[q] < Math.max(SPECK_SHARE * piece.length, Math.min(SPECK_TRIANGLES, piece.length / 10)),
  );
  const specks = isSpeck.filter(Boolean).length;
  if (specks === 0 || specks === count) return mesh;
  let triangles = 0;
  let largest = 0;
  const kept = new Uint32Array(indices.length);
  let n = 0;
  for (let t = 0; t < piece.length; t++) {
    if (isSpeck[piece[t]]) {
      triangles++;
      largest = Math.max(largest, across(piece[t]));
      continue;
    }
    kept[n++] = indices[t * 3];
    kept[n++] = indices[t * 3 + 1];
    kept[n++] = indices[t * 3 + 2];
  }
  const middle = (q: number, a: number): number => mesh.origin[a] + (lo[q * 3 + a] + hi[q * 3 + a]) / 2;
  const list = [...isSpeck.keys()]
    .filter((q) => isSpeck[q])
    .map((q): Speck => ({ triangles: size[q], across: across(q), at: [middle(q, 0), middle(q, 1), middle(q, 2)] }))
    .sort((a, b) => b.across - a.across || b.triangles - a.triangles);
  dropped.push({ scan, pieces: specks, triangles, largest, list });
  return { ...mesh, indices: kept.slice(0, n) };
}

/** One note for all specks of a run. */
export function speckNote(dropped: readonly Specks[]): Note[] {
  if (dropped.length === 0) return [];
  const total = dropped.reduce((n, d) => n + d.pieces, 0);
  const largest = Math.max(...dropped.map((d) => d.largest));
  return [
    {
      code: 'specks-dropped',
      text: `${total} loose specks were left out (${dropped.map((d) => `${d.scan} ${d.pieces}`).join(', ')}), the largest ${largest.toFixed(1)} mm across: a speck is under ${SPECK_SIZE} mm across and under ${SPECK_SHARE * 100} % of its scan or ${SPECK_TRIANGLES} triangles.`,
    },
  ];
}

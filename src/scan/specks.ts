import type { Cloud } from '../core/cloud.ts';
import type { Note } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { cloudPieces } from './cloud-pieces.ts';
import type { Pieces } from './patches.ts';

/** A loose piece smaller than this across, mm, and with less than this share of the scan's triangles or points (or so few) is a speck. */
const SPECK_SIZE = 12;
const SPECK_SHARE = 1e-3;
const SPECK_COUNT = 50;
/** Points of a cloud hang together within so many mean spacings. */
const LINK = 3;
/** So many points that are scanned more thinly than the rest still make a surface: as many as a paraboloid is laid through. */
const SURFACE = 12;

/**
 * Number of each triangle's connected piece (corners shared by index or by exact position), and how many pieces there are.
 */
export function connectedPieces(mesh: Mesh): Pieces {
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
  /** Of a cloud's speck, which has no triangles. */
  readonly points: number;
  /** Diagonal of its box, mm. */
  readonly across: number;
  /** Middle of its box, mm. */
  readonly at: Vec3;
}

/** What was left out of a scan as specks: how many pieces, how large the largest is, mm, and each, largest first. */
export interface Specks {
  readonly scan: string;
  readonly pieces: number;
  readonly largest: number;
  readonly list: readonly Speck[];
}

/** How many triangles or points each piece has, and its box: three numbers a piece, about the origin. */
interface Extents {
  readonly size: Int32Array;
  readonly lo: Float32Array;
  readonly hi: Float32Array;
}

/** `corners` names `per` vertices for each member of a piece; null: member and vertex are the same. */
function extentsOf(positions: Float32Array, corners: Uint32Array | null, { piece, count }: Pieces): Extents {
  const size = new Int32Array(count);
  const lo = new Float32Array(count * 3).fill(Infinity);
  const hi = new Float32Array(count * 3).fill(-Infinity);
  const per = corners ? 3 : 1;
  for (let t = 0; t < piece.length; t++) {
    const q = piece[t];
    size[q]++;
    for (let v = 0; v < per; v++) {
      const o = (corners ? corners[t * 3 + v] : t) * 3;
      for (let a = 0; a < 3; a++) {
        const x = positions[o + a];
        if (x < lo[q * 3 + a]) lo[q * 3 + a] = x;
        if (x > hi[q * 3 + a]) hi[q * 3 + a] = x;
      }
    }
  }
  return { size, lo, hi };
}

const acrossOf = ({ lo, hi }: Extents, q: number): number =>
  Math.hypot(hi[q * 3] - lo[q * 3], hi[q * 3 + 1] - lo[q * 3 + 1], hi[q * 3 + 2] - lo[q * 3 + 2]);

/** Which pieces are specks, one number each; none of them when all would be. */
function specksAmong(extents: Extents, total: number): Uint8Array {
  const few = Math.max(SPECK_SHARE * total, Math.min(SPECK_COUNT, total / 10));
  const speck = Uint8Array.from(extents.size, (n, q) => (n < few && acrossOf(extents, q) < SPECK_SIZE ? 1 : 0));
  return speck.every((s) => s === 1) ? speck.fill(0) : speck;
}

function specksOf(scan: string, { size, lo, hi }: Extents, speck: Uint8Array, of: { origin: Vec3; points: boolean }): Specks {
  const middle = (q: number, a: number): number => of.origin[a] + (lo[q * 3 + a] + hi[q * 3 + a]) / 2;
  const list = [...speck.keys()]
    .filter((q) => speck[q] === 1)
    .map(
      (q): Speck => ({
        triangles: of.points ? 0 : size[q],
        points: of.points ? size[q] : 0,
        across: acrossOf({ size, lo, hi }, q),
        at: [middle(q, 0), middle(q, 1), middle(q, 2)],
      }),
    )
    .sort((a, b) => b.across - a.across || b.triangles + b.points - a.triangles - a.points);
  return { scan, pieces: list.length, largest: list[0].across, list };
}

/** The mesh without its specks, which are added to `dropped`. Keeps everything when nothing but specks would be left. */
export function dropSpecks(scan: string, mesh: Mesh, dropped: Specks[]): Mesh {
  const pieces = connectedPieces(mesh);
  if (pieces.count <= 1) return mesh;
  const extents = extentsOf(mesh.positions, mesh.indices, pieces);
  const speck = specksAmong(extents, pieces.piece.length);
  if (!speck.includes(1)) return mesh;
  dropped.push(specksOf(scan, extents, speck, { origin: mesh.origin, points: false }));
  return keepFaces(mesh, (t) => speck[pieces.piece[t]] === 0);
}

/** The mesh with only the triangles that `keep` names; its vertices stay. */
export function keepFaces(mesh: Mesh, keep: (triangle: number) => boolean): Mesh {
  const { indices } = mesh;
  const kept = new Uint32Array(indices.length);
  let n = 0;
  for (let t = 0; t < indices.length / 3; t++) {
    if (!keep(t)) continue;
    kept[n++] = indices[t * 3];
    kept[n++] = indices[t * 3 + 1];
    kept[n++] = indices[t * 3 + 2];
  }
  return { ...mesh, indices: kept.slice(0, n) };
}

/** The cloud without its specks and the pieces of what stays; `spacing` is its mean one, mm. The rule is that of meshes. */
export function dropLoosePoints(
  scan: string,
  cloud: Cloud,
  { spacing, dropped }: { readonly spacing: number; readonly dropped: Specks[] },
): { readonly cloud: Cloud; readonly pieces: Pieces } {
  const pieces = piecesOfPoints(cloud.positions, spacing);
  const extents = extentsOf(cloud.positions, null, pieces);
  const speck = specksAmong(extents, pieces.piece.length);
  if (!speck.includes(1)) return { cloud, pieces };
  dropped.push(specksOf(scan, extents, speck, { origin: cloud.origin, points: true }));
  return keptPoints({ cloud, pieces }, (v) => speck[pieces.piece[v]] === 0);
}

/** The cloud and its pieces with only the points that `keep` names. */
export function keptPoints(
  { cloud: { origin, positions, normals }, pieces }: { readonly cloud: Cloud; readonly pieces: Pieces },
  keep: (point: number) => boolean,
): { readonly cloud: Cloud; readonly pieces: Pieces } {
  const kept = (_: number, i: number): boolean => keep(Math.floor(i / 3));
  const cloud = { origin, positions: positions.filter(kept), ...(normals ? { normals: normals.filter(kept) } : {}) };
  return { cloud, pieces: renumbered(pieces.piece.filter((_, v) => keep(v))) };
}

/**
 * Pieces of points that hang together within LINK spacings. What would be specks is tried again among itself with a speck's own size as
 * reach: a face seen at a slant is scanned more thinly than the rest, and is one.
 */
function piecesOfPoints(positions: Float32Array, spacing: number): Pieces {
  const total = positions.length / 3;
  const link = LINK * spacing;
  if (!(link > 0)) return { piece: new Int32Array(total), count: 1 };
  const { piece, count } = cloudPieces(positions, link);
  const judged = specksAmong(extentsOf(positions, null, { piece, count }), total);
  const loose = [...piece.keys()].filter((v) => judged[piece[v]] === 1);
  if (link >= SPECK_SIZE || loose.length < SURFACE) return { piece, count };
  const some = Float32Array.from({ length: loose.length * 3 }, (_, i) => positions[loose[Math.floor(i / 3)] * 3 + (i % 3)]);
  const again = cloudPieces(some, SPECK_SIZE);
  const extents = extentsOf(some, null, again);
  const whole = Uint8Array.from(extents.size, (n, q) => (n >= SURFACE && acrossOf(extents, q) >= SPECK_SIZE ? 1 : 0));
  loose.forEach((v, i) => {
    if (whole[again.piece[i]]) piece[v] = count + again.piece[i];
  });
  return renumbered(piece);
}

/** Numbers without gaps, in the order in which they are first met. */
function renumbered(piece: Int32Array): Pieces {
  const number = new Map<number, number>();
  const out = piece.map((q) => {
    const known = number.get(q);
    if (known !== undefined) return known;
    number.set(q, number.size);
    return number.size - 1;
  });
  return { piece: out, count: number.size };
}

/** One note for all specks of a run. */
export function speckNote(dropped: readonly Specks[]): Note[] {
  if (dropped.length === 0) return [];
  const total = dropped.reduce((n, d) => n + d.pieces, 0);
  const largest = Math.max(...dropped.map((d) => d.largest));
  const counts = new Map<string, number>();
  for (const d of dropped) counts.set(d.scan, (counts.get(d.scan) ?? 0) + d.pieces);
  const points = dropped.some((d) => d.list.some((s) => s.points > 0));
  const rule = `a speck is under ${SPECK_SIZE} mm across and under ${SPECK_SHARE * 100} % of its scan or ${SPECK_COUNT} triangles${points ? ` or points; points hang together within ${LINK} spacings` : ''}`;
  return [
    {
      code: 'specks-dropped',
      text: `${total} loose ${total === 1 ? 'speck was' : 'specks were'} left out (${[...counts].map(([scan, n]) => `${scan} ${n}`).join(', ')}), ${largest > 0 ? `the largest ${largest.toFixed(1)} mm across` : 'single points'}: ${rule}.`,
    },
  ];
}

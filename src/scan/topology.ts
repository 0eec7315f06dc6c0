import type { Mesh } from '../core/mesh.ts';
import { AGAINST, after, CROWD, cornersByVertex, type Loop, partnerOf, walkBorders, weldedIndices, withoutDoubles } from './borders.ts';
import { bySize, type Patch, patchesOf } from './patches.ts';
import { connectedPieces } from './specks.ts';

/**
 * How the triangles of a scan hang together: its open borders, patches whose faces point the other way, triangles that are there
 * twice. Corners at exactly the same place count as one, as files without shared corners need it.
 *
 * 1M triangles: 0.9 s on one thread, most of it the search for each edge's partner.
 */
export interface Topology {
  /** Longest first. */
  readonly loops: readonly Loop[];
  /** Patches that face the other way than the larger part that they hang on, largest first. */
  readonly flipped: readonly Patch[];
  /** Triangles whose three corners another triangle has as well. */
  readonly duplicates: number;
  /** Edges where more than two triangles meet. */
  readonly crowdedEdges: number;
  /** Triangles without an area. */
  readonly degenerate: number;
  /** Connected pieces, most triangles first. */
  readonly pieces: readonly Patch[];
}

/**
 * Finds all of it. Half-edges are named by the corner that they leave: edge i goes from corner i to the next of its triangle. Triangles that
 * are there twice count, and then only one of them has a part in the rest.
 */
export function topology(mesh: Mesh): Topology {
  const all = weldedIndices(mesh);
  const n = mesh.positions.length / 3;
  const t = withoutDoubles(all, n);
  const { start, corner } = cornersByVertex(t, n);
  const twin = new Int32Array(t.length);
  const against: number[] = [];
  let crowdedEdges = 0;
  for (let i = 0; i < t.length; i++) {
    twin[i] = partnerOf(t, start, corner, i);
    const [v, w] = [t[i], t[after(i)]];
    // Each such pair and crowd counts once, at its first corner.
    const around = [start[v], start[v + 1]] as const;
    if (twin[i] === AGAINST && firstOf(t, corner, around, w) === i) against.push(i, lastOf(t, corner, around, w));
    if (twin[i] === CROWD && v < w && firstOf(t, corner, around, w) === i) crowdedEdges++;
  }
  return {
    loops: walkBorders(mesh, t, twin),
    flipped: findFlipped({ ...mesh, indices: t }, twin, against),
    crowdedEdges,
    duplicates: (all.length - t.length) / 3,
    degenerate: degenerates(t),
    pieces: bySize(patchesOf(mesh, connectedPieces(mesh))),
  };
}

/** First corner of a vertex's list whose edge goes to `w`. */
function firstOf(t: Uint32Array, corner: Uint32Array, [from, to]: readonly [number, number], w: number): number {
  for (let q = from; q < to; q++) if (t[after(corner[q])] === w) return corner[q];
  return -1;
}

/** And the last one. */
function lastOf(t: Uint32Array, corner: Uint32Array, [from, to]: readonly [number, number], w: number): number {
  for (let q = to - 1; q >= from; q--) if (t[after(corner[q])] === w) return corner[q];
  return -1;
}

/** Triangles that name a vertex twice. */
function degenerates(t: Uint32Array): number {
  let count = 0;
  for (let f = 0; f < t.length; f += 3) if (t[f] === t[f + 1] || t[f + 1] === t[f + 2] || t[f + 2] === t[f]) count++;
  return count;
}

/**
 * Patches are faces joined by edges that run in opposite directions, as they should; two patches whose common edges run the same way face
 * opposite sides. Among patches that hang together in this way the side with less area is the flipped one.
 */
function findFlipped(mesh: Mesh, twin: Int32Array, against: readonly number[]): Patch[] {
  const t = mesh.indices;
  if (against.length === 0) return [];
  const n = t.length / 3;
  const parent = Int32Array.from({ length: n }, (_, f) => f);
  const find = (f: number): number => {
    while (parent[f] !== f) {
      parent[f] = parent[parent[f]];
      f = parent[f];
    }
    return f;
  };
  for (let i = 0; i < t.length; i++)
    if (twin[i] >= 0) {
      const [a, b] = [find(Math.floor(i / 3)), find(Math.floor(twin[i] / 3))];
      if (a !== b) parent[Math.max(a, b)] = Math.min(a, b);
    }
  const number = new Int32Array(n).fill(-1);
  const piece = new Int32Array(n);
  let count = 0;
  for (let f = 0; f < n; f++) {
    const r = find(f);
    if (number[r] < 0) number[r] = count++;
    piece[f] = number[r];
  }
  const patches = patchesOf(mesh, { piece, count });
  const links = new Map<number, number[]>();
  for (let k = 0; k < against.length; k += 2) {
    const [a, b] = [piece[Math.floor(against[k] / 3)], piece[Math.floor(against[k + 1] / 3)]];
    if (a === b) continue;
    links.set(a, [...(links.get(a) ?? []), b]);
    links.set(b, [...(links.get(b) ?? []), a]);
  }
  return smallerSide(patches, links).sort((a, b) => b.area - a.area);
}

function smallerSide(patches: readonly Patch[], links: ReadonlyMap<number, readonly number[]>): Patch[] {
  const side = new Int8Array(patches.length);
  const out: Patch[] = [];
  for (const from of links.keys()) {
    if (side[from] !== 0) continue;
    side[from] = 1;
    const group = [from];
    for (let k = 0; k < group.length; k++)
      for (const q of links.get(group[k]) ?? [])
        if (side[q] === 0) {
          side[q] = side[group[k]] === 1 ? 2 : 1;
          group.push(q);
        }
    const area = (s: number): number => group.reduce((sum, g) => sum + (side[g] === s ? patches[g].area : 0), 0);
    const less = area(1) < area(2) ? 1 : 2;
    out.push(...group.filter((g) => side[g] === less).map((g) => patches[g]));
  }
  return out;
}

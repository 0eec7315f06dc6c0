import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { samePlace } from './specks.ts';

/** An open border of a scan. */
export interface Loop {
  /** Vertices of the mesh in order, the scan on the left seen from outside; from the last one back to the first. */
  readonly vertices: readonly number[];
  /** Length along the border, mm. */
  readonly length: number;
  /** Diagonal of its box, mm. */
  readonly across: number;
  /** Its centre of length, mm. */
  readonly at: Vec3;
}

/** What an edge's partner is when it is no half-edge: nothing, a face that runs the same way, or a crowd. */
const NONE = -1;
export const AGAINST = -2;
export const CROWD = -3;

/** Half-edges are named by the corner that they leave: edge i goes from corner i to the next of its triangle. */
export const after = (i: number): number => (i % 3 === 2 ? i - 2 : i + 1);

/** Corners of the triangles, those at exactly the same place named alike: files without shared corners need it. */
export function weldedIndices(mesh: Mesh): Uint32Array {
  const first = samePlace(mesh);
  const t = new Uint32Array(mesh.indices.length);
  for (let i = 0; i < t.length; i++) t[i] = first[mesh.indices[i]];
  return t;
}

/** Corners (positions in `t`) sorted by the vertex that they name. */
export function cornersByVertex(t: Uint32Array, n: number): { start: Uint32Array; corner: Uint32Array } {
  const start = new Uint32Array(n + 2);
  for (const v of t) start[v + 2]++;
  for (let v = 2; v < n + 2; v++) start[v] += start[v - 1];
  const corner = new Uint32Array(t.length);
  for (let i = 0; i < t.length; i++) corner[start[t[i] + 1]++] = i;
  return { start: start.subarray(0, n + 1), corner };
}

/** The half-edge that runs back along edge `i`, or NONE, AGAINST, CROWD. */
export function partnerOf(t: Uint32Array, start: Uint32Array, corner: Uint32Array, i: number): number {
  const [v, w] = [t[i], t[after(i)]];
  if (v === w) return CROWD;
  let back = NONE;
  let backs = 0;
  let same = 0;
  for (let q = start[w]; q < start[w + 1]; q++)
    if (t[after(corner[q])] === v) {
      back = corner[q];
      backs++;
    }
  for (let q = start[v]; q < start[v + 1]; q++) if (t[after(corner[q])] === w) same++;
  return same === 1 && backs <= 1 ? back : same === 2 && backs === 0 ? AGAINST : CROWD;
}

/**
 * The open borders alone, longest first: the same as `topology` finds, in a fraction of the time, since only faces at borders are joined up. Round
 * a vertex inside the surface each neighbour is the next of one face and the last of another, so that the sum of (number of the next less number
 * of the last) is zero; the numbers are scattered, so that it is not zero by accident elsewhere.
 *
 * The demo's scans, 1M triangles: 0.28 s of processor time against 2.1 s for `topology`, on a busy machine.
 */
export function borderLoops(mesh: Mesh): Loop[] {
  const t = weldedIndices(mesh);
  const n = mesh.positions.length / 3;
  const open = openVertices(t, n);
  const kept = new Uint32Array(t.length);
  let k = 0;
  for (let f = 0; f < t.length; f += 3)
    if (open[t[f]] || open[t[f + 1]] || open[t[f + 2]]) {
      kept[k++] = t[f];
      kept[k++] = t[f + 1];
      kept[k++] = t[f + 2];
    }
  const near = withoutDoubles(kept.subarray(0, k), n);
  const { start, corner } = cornersByVertex(near, n);
  const twin = new Int32Array(near.length);
  // Of an edge with an open end every face is here; the others are not borders, and no walk comes by them.
  for (let i = 0; i < near.length; i++) twin[i] = open[near[i]] || open[near[after(i)]] ? partnerOf(near, start, corner, i) : CROWD;
  return walkBorders(mesh, near, twin);
}

/** Not zero at vertices whose faces do not close up round them. */
function openVertices(t: Uint32Array, n: number): Int32Array {
  const sum = new Int32Array(n);
  const number = (v: number): number => {
    const h = Math.imul(v + 1, 0x9e3779b1);
    return Math.imul(h ^ (h >>> 15), 0x85ebca6b);
  };
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [t[f], t[f + 1], t[f + 2]];
    const [p, q, r] = [number(a), number(b), number(c)];
    sum[a] += q - r;
    sum[b] += r - p;
    sum[c] += p - q;
  }
  return sum;
}

/**
 * Walks along the border edges, longest loop first; at each vertex the next one is found by turning through the faces round it. A face with
 * a flipped or crowded neighbour ends a walk, so such pieces of a border are walked from their own beginnings first.
 */
export function walkBorders(mesh: Mesh, t: Uint32Array, twin: Int32Array): Loop[] {
  const next = new Int32Array(t.length).fill(-1);
  const led = new Uint8Array(t.length);
  for (let i = 0; i < t.length; i++) {
    if (twin[i] !== NONE) continue;
    let edge = after(i);
    for (let turns = 0; twin[edge] >= 0 && turns < 1000; turns++) edge = after(twin[edge]);
    if (twin[edge] !== NONE) continue;
    next[i] = edge;
    led[edge] = 1;
  }
  const done = new Uint8Array(t.length);
  const loops: Loop[] = [];
  const walk = (from: number): void => {
    const vertices: number[] = [];
    let last = from;
    for (let edge = from; edge >= 0 && !done[edge]; edge = next[edge]) {
      done[edge] = 1;
      vertices.push(t[edge]);
      last = edge;
    }
    if (t[after(last)] !== vertices[0]) vertices.push(t[after(last)]);
    loops.push(loopOf(mesh, vertices));
  };
  for (let i = 0; i < t.length; i++) if (twin[i] === NONE && !led[i]) walk(i);
  for (let i = 0; i < t.length; i++) if (twin[i] === NONE && !done[i]) walk(i);
  return loops.sort((a, b) => b.length - a.length);
}

/** The triangles of `t` without those whose three corners one before them has, whichever way round; `n` vertices. */
export function withoutDoubles(t: Uint32Array, n: number): Uint32Array {
  const { start, corner } = cornersByVertex(t, n);
  const kept = new Uint32Array(t.length);
  let k = 0;
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [t[f], t[f + 1], t[f + 2]];
    const least = Math.min(a, b, c);
    let again = false;
    for (let q = start[least]; q < start[least + 1] && !again && a !== b && b !== c && c !== a; q++) {
      const g = corner[q] - (corner[q] % 3);
      const has = (v: number): boolean => t[g] === v || t[g + 1] === v || t[g + 2] === v;
      again = g < f && has(a) && has(b) && has(c);
    }
    if (again) continue;
    kept[k++] = a;
    kept[k++] = b;
    kept[k++] = c;
  }
  return k === t.length ? t : kept.slice(0, k);
}

function loopOf({ positions: p, origin }: Mesh, vertices: readonly number[]): Loop {
  const lo = [Infinity, Infinity, Infinity];
  const hi = [-Infinity, -Infinity, -Infinity];
  const sum = [0, 0, 0];
  let length = 0;
  vertices.forEach((v, k) => {
    const w = vertices[(k + 1) % vertices.length];
    const d = Math.hypot(p[w * 3] - p[v * 3], p[w * 3 + 1] - p[v * 3 + 1], p[w * 3 + 2] - p[v * 3 + 2]);
    length += d;
    for (let a = 0; a < 3; a++) {
      const x = p[v * 3 + a];
      lo[a] = Math.min(lo[a], x);
      hi[a] = Math.max(hi[a], x);
      sum[a] += (d * (x + p[w * 3 + a])) / 2;
    }
  });
  const at = (a: number): number => origin[a] + (length > 0 ? sum[a] / length : lo[a]);
  return { vertices, length, across: Math.hypot(hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]), at: [at(0), at(1), at(2)] };
}

import { type Mesh, triangleCount, vertexCount } from '../core/mesh.ts';

/** What is wrong with a mesh as a closed, oriented 2-manifold; all zero when nothing is. Judged by indices alone. */
export interface Closedness {
  /** Triangles that name a vertex twice. */
  readonly degenerate: number;
  /** Directed edges without exactly one partner in the opposite direction, or used more than once. */
  readonly badEdges: number;
  /** Used vertices whose faces do not make one closed ring. */
  readonly badVertices: number;
  /** Vertices - edges + faces, of used vertices: 2 a piece less 2 a handle. */
  readonly euler: number;
  /** True when the three counts of faults are zero. */
  readonly ok: boolean;
}

/** Checks that every edge has two faces of opposite direction and that the faces round every vertex are one disc. */
export function closedness(mesh: Mesh): Closedness {
  const t = mesh.indices;
  const faces = triangleCount(mesh);
  const n = vertexCount(mesh);
  const { start, corner } = cornersByVertex(t, n);
  let degenerate = 0;
  for (let i = 0; i < t.length; i += 3) if (t[i] === t[i + 1] || t[i] === t[i + 2] || t[i + 1] === t[i + 2]) degenerate++;
  let badEdges = 0;
  let badVertices = 0;
  let used = 0;
  for (let v = 0; v < n; v++) {
    const from = start[v];
    const to = start[v + 1];
    if (from === to) continue;
    used++;
    for (let c = from; c < to; c++) {
      // Edge v -> after must be the one that leaves v that way, and must come back once.
      const after = follow(t, corner[c]);
      let same = 0;
      for (let q = from; q < to; q++) if (follow(t, corner[q]) === after) same++;
      let back = 0;
      for (let q = start[after]; q < start[after + 1]; q++) if (follow(t, corner[q]) === v) back++;
      if (same !== 1 || back !== 1) badEdges++;
    }
    if (!oneRing(t, corner, from, to)) badVertices++;
  }
  return {
    degenerate,
    badEdges,
    badVertices,
    euler: used - faces / 2,
    ok: degenerate === 0 && badEdges === 0 && badVertices === 0,
  };
}

/** Corners (positions in `t`) sorted by the vertex that they name. */
function cornersByVertex(t: Uint32Array, n: number): { start: Uint32Array; corner: Uint32Array } {
  const start = new Uint32Array(n + 2);
  for (const v of t) start[v + 2]++;
  for (let v = 2; v < n + 2; v++) start[v] += start[v - 1];
  const corner = new Uint32Array(t.length);
  for (let i = 0; i < t.length; i++) corner[start[t[i] + 1]++] = i;
  return { start: start.subarray(0, n + 1), corner };
}

/** Vertex after corner `i` in its triangle. */
const follow = (t: Uint32Array, i: number): number => t[i % 3 === 2 ? i - 2 : i + 1];
/** Vertex before it. */
const precede = (t: Uint32Array, i: number): number => t[i % 3 === 0 ? i + 2 : i - 1];

function oneRing(t: Uint32Array, corner: Uint32Array, from: number, to: number): boolean {
  const first = follow(t, corner[from]);
  let at = first;
  for (let turn = 1; turn <= to - from; turn++) {
    let next = -1;
    for (let q = from; q < to; q++) if (follow(t, corner[q]) === at) next = precede(t, corner[q]);
    if (next === -1) return false;
    if (next === first) return turn === to - from;
    at = next;
  }
  return false;
}

import type { Mesh } from '../core/mesh.ts';

/**
 * For each corner h of each triangle, the edge from it to the triangle's next corner; and of that edge the one that runs the other
 * way: its number, -1 when there is none (a border), -2 when more than one edge runs the same way (three sheets meet, or two triangles
 * face differently). Buckets by start vertex: linear time, no hash.
 */
export function oppositeEdges({ indices, positions }: Mesh): Int32Array {
  const n = indices.length;
  const first = new Uint32Array(positions.length / 3 + 1);
  for (let h = 0; h < n; h++) first[indices[h] + 1]++;
  for (let v = 1; v < first.length; v++) first[v] += first[v - 1];
  const at = first.slice();
  const edges = new Uint32Array(n);
  for (let h = 0; h < n; h++) edges[at[indices[h]]++] = h;
  const out = new Int32Array(n);
  for (let h = 0; h < n; h++) {
    const a = indices[h];
    const b = indices[nextCorner(h)];
    let found = -1;
    for (let i = first[b]; i < first[b + 1]; i++) {
      const other = edges[i];
      if (indices[nextCorner(other)] === a) found = found === -1 ? other : -2;
    }
    for (let i = first[a]; i < first[a + 1]; i++) if (edges[i] !== h && indices[nextCorner(edges[i])] === b) found = -2;
    out[h] = found;
  }
  return out;
}

/** The next corner of the same triangle. */
export const nextCorner = (h: number): number => (h % 3 === 2 ? h - 2 : h + 1);

/** Edges without exactly one partner that runs the other way; 0 for a closed, consistently turned mesh. */
export function looseEdges(opposite: Int32Array): number {
  let n = 0;
  for (let h = 0; h < opposite.length; h++) if (opposite[h] < 0) n++;
  return n;
}

/** Number of the piece that each triangle belongs to, from 0, in the order of first triangles; triangles that share an edge are one piece. */
export function piecesByEdge(opposite: Int32Array): { readonly piece: Int32Array; readonly pieces: number } {
  const triangles = opposite.length / 3;
  const piece = new Int32Array(triangles).fill(-1);
  const stack: number[] = [];
  let pieces = 0;
  for (let t = 0; t < triangles; t++) {
    if (piece[t] !== -1) continue;
    piece[t] = pieces;
    stack.push(t);
    for (let u = stack.pop(); u !== undefined; u = stack.pop())
      for (let h = 3 * u; h < 3 * u + 3; h++) {
        const other = opposite[h] < 0 ? -1 : Math.floor(opposite[h] / 3);
        if (other < 0 || piece[other] !== -1) continue;
        piece[other] = pieces;
        stack.push(other);
      }
    pieces++;
  }
  return { piece, pieces };
}

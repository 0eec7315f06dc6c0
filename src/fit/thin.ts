import type { Mesh } from '../core/mesh.ts';

/**
 * The mesh with all corners in a cell of `size` mm drawn together into the first of them, and the triangles that this makes flat left out: for
 * questions that look at it from farther away. Faces, and with them what is inside, stay where they were to about a cell.
 */
export function thinnedMesh({ origin, positions, indices }: Mesh, size: number): Mesh {
  const cells = new Map<number, number>();
  const to = new Uint32Array(positions.length / 3);
  for (let v = 0; v < to.length; v++) {
    const i = Math.floor(positions[3 * v] / size) + OFFSET;
    const j = Math.floor(positions[3 * v + 1] / size) + OFFSET;
    const k = Math.floor(positions[3 * v + 2] / size) + OFFSET;
    const key = i + SPAN * (j + SPAN * k);
    const first = cells.get(key);
    if (first === undefined) cells.set(key, v);
    to[v] = first ?? v;
  }
  const kept = new Uint32Array(indices.length);
  let n = 0;
  for (let t = 0; t < indices.length; t += 3) {
    const [a, b, c] = [to[indices[t]], to[indices[t + 1]], to[indices[t + 2]]];
    if (a === b || b === c || c === a) continue;
    kept[n++] = a;
    kept[n++] = b;
    kept[n++] = c;
  }
  return { origin, positions, indices: kept.slice(0, n) };
}

/** Three cell numbers in one float64: 17 bits each. */
const SPAN = 2 ** 17;
const OFFSET = 2 ** 16;

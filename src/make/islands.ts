/**
 * Connected pieces of a triangle list by shared corner numbers: a label for each vertex (-1 where no triangle uses it) and one
 * vertex of each piece.
 */
export function islands(vertices: number, indices: Uint32Array): { label: Int32Array; first: number[] } {
  const parent = new Int32Array(vertices).fill(-1);
  const root = (v: number): number => {
    let r = v;
    while (parent[r] !== r) r = parent[r];
    // Shorten the way for the next one.
    for (let u = v; parent[u] !== r; ) {
      const next = parent[u];
      parent[u] = r;
      u = next;
    }
    return r;
  };
  for (const v of indices) parent[v] = v;
  for (let i = 0; i < indices.length; i += 3) {
    const a = root(indices[i]);
    const b = root(indices[i + 1]);
    if (a !== b) parent[Math.max(a, b)] = Math.min(a, b);
    const c = root(indices[i + 2]);
    const d = Math.min(a, b);
    if (c !== d) parent[Math.max(c, d)] = Math.min(c, d);
  }
  const label = new Int32Array(vertices).fill(-1);
  const first: number[] = [];
  // A root is the least vertex of its piece, so it is met before the others.
  for (let v = 0; v < vertices; v++) {
    if (parent[v] < 0) continue;
    const r = root(v);
    if (r === v) {
      label[v] = first.length;
      first.push(v);
    } else label[v] = label[r];
  }
  return { label, first };
}

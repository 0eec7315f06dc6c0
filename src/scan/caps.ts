import type { Mesh } from '../core/mesh.ts';

/**
 * Closes a border flat: again and again the corner is cut off whose two neighbours lie closest together. A long narrow opening is so zipped
 * across its width, and a round one filled. `vertices` in order; the triangles face the same way as those round the hole. The heap
 * holds one entry a corner and is renewed where corners go: n log n.
 */
export function closeLoop(mesh: Mesh, vertices: readonly number[]): Uint32Array {
  const n = vertices.length;
  const { positions: p } = mesh;
  const out = new Uint32Array(Math.max(0, n - 2) * 3);
  const before = Int32Array.from({ length: n }, (_, i) => (i + n - 1) % n);
  const next = Int32Array.from({ length: n }, (_, i) => (i + 1) % n);
  const version = new Int32Array(n);
  const heap: [number, number, number][] = [];
  const chord = (i: number): number => {
    const [a, b] = [vertices[before[i]] * 3, vertices[next[i]] * 3];
    return (p[a] - p[b]) ** 2 + (p[a + 1] - p[b + 1]) ** 2 + (p[a + 2] - p[b + 2]) ** 2;
  };
  for (let i = 0; i < n; i++) push(heap, [chord(i), i, 0]);
  let left = n;
  let k = 0;
  while (left > 2) {
    const [, i, seen] = pop(heap);
    if (seen !== version[i]) continue;
    const [a, b] = [before[i], next[i]];
    // Against the border's own direction, so that the patch faces as the scan does.
    out[k++] = vertices[b];
    out[k++] = vertices[i];
    out[k++] = vertices[a];
    next[a] = b;
    before[b] = a;
    version[i] = -1;
    left--;
    for (const q of [a, b]) push(heap, [chord(q), q, ++version[q]]);
  }
  return out;
}

/** Least first, by the first number, then by the second, so that ties do not hang on the order of pushing. */
const less = (a: readonly number[], b: readonly number[]): boolean => a[0] < b[0] || (a[0] === b[0] && a[1] < b[1]);

function push(heap: [number, number, number][], item: [number, number, number]): void {
  let i = heap.push(item) - 1;
  while (i > 0) {
    const up = (i - 1) >> 1;
    if (!less(heap[i], heap[up])) break;
    [heap[i], heap[up]] = [heap[up], heap[i]];
    i = up;
  }
}

function pop(heap: [number, number, number][]): [number, number, number] {
  const top = heap[0];
  const last = heap.pop()!;
  if (heap.length > 0) {
    heap[0] = last;
    for (let i = 0; ; ) {
      let c = 2 * i + 1;
      if (c >= heap.length) break;
      if (c + 1 < heap.length && less(heap[c + 1], heap[c])) c++;
      if (!less(heap[c], heap[i])) break;
      [heap[i], heap[c]] = [heap[c], heap[i]];
      i = c;
    }
  }
  return top;
}

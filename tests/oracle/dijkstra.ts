import type { Field } from '../../src/core/field.ts';

/** Textbook widest-path search, O(n^2): take the unfinished cell of greatest reach, relax its six neighbours. */
export function slowReach(field: Field, sources: readonly number[], floor = -Infinity): Float32Array {
  const { nx, ny, nz } = field.grid;
  const f = field.data;
  const n = f.length;
  const reach = new Float32Array(n).fill(-Infinity);
  const finished = new Uint8Array(n);
  for (const s of sources) if (f[s] >= floor) reach[s] = f[s];
  for (;;) {
    let best = -1;
    for (let c = 0; c < n; c++) if (!finished[c] && reach[c] > -Infinity && (best < 0 || reach[c] > reach[best])) best = c;
    if (best < 0) return reach;
    finished[best] = 1;
    const i = best % nx;
    const j = Math.floor(best / nx) % ny;
    const k = Math.floor(best / (nx * ny));
    for (const [a, b, c] of [
      [i - 1, j, k],
      [i + 1, j, k],
      [i, j - 1, k],
      [i, j + 1, k],
      [i, j, k - 1],
      [i, j, k + 1],
    ]) {
      if (a < 0 || b < 0 || c < 0 || a >= nx || b >= ny || c >= nz) continue;
      const q = a + nx * (b + ny * c);
      if (f[q] >= floor) reach[q] = Math.max(reach[q], Math.min(reach[best], f[q]));
    }
  }
}

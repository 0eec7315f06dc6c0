import type { Cloud } from '../core/cloud.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';

/** Number of each triangle's (or point's) part, from 0, and how many parts there are. */
export interface Pieces {
  readonly piece: Int32Array;
  readonly count: number;
}

/** A connected part of a scan's surface: triangles of a mesh, or points of a cloud. */
export interface Patch {
  readonly triangles: number;
  readonly points: number;
  /** mm2; 0 for points. */
  readonly area: number;
  /** Its centre of area, or the mean of its points, mm. */
  readonly at: Vec3;
  /** The corner or point of it that is nearest to that centre, mm. */
  readonly on: Vec3;
  /** Size of its box, mm. */
  readonly size: Vec3;
  /** The number that it was found under. */
  readonly number: number;
}

/** As they are ranked: most triangles (or points) first, else as the file has them. */
export const bySize = (patches: readonly Patch[]): Patch[] =>
  [...patches].sort((a, b) => b.triangles + b.points - a.triangles - a.points || a.number - b.number);

/** Triangles, area, centre and size of each numbered part. */
export function patchesOf({ positions: p, indices: t, origin }: Mesh, pieces: Pieces): Patch[] {
  const sums = new Float64Array(pieces.count * 5);
  for (let f = 0; f < pieces.piece.length; f++) {
    const [a, b, c] = [t[f * 3] * 3, t[f * 3 + 1] * 3, t[f * 3 + 2] * 3];
    const [ux, uy, uz] = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
    const [vx, vy, vz] = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
    const area = Math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx) / 2;
    const o = pieces.piece[f] * 5;
    sums[o]++;
    sums[o + 1] += area;
    for (let k = 0; k < 3; k++) sums[o + 2 + k] += (area * (p[a + k] + p[b + k] + p[c + k])) / 3;
  }
  return finish(sums, { positions: p, corners: t, origin }, pieces);
}

/** The same of a cloud: number, mean and size. */
export function pointPatches({ positions: p, origin }: Cloud, pieces: Pieces): Patch[] {
  const sums = new Float64Array(pieces.count * 5);
  for (let v = 0; v < pieces.piece.length; v++) {
    const o = pieces.piece[v] * 5;
    sums[o]++;
    for (let k = 0; k < 3; k++) sums[o + 2 + k] += p[v * 3 + k];
  }
  return finish(sums, { positions: p, corners: null, origin }, pieces);
}

interface Members {
  readonly positions: Float32Array;
  /** Three vertices a member; null: each member is a vertex. */
  readonly corners: Uint32Array | null;
  readonly origin: Vec3;
}

/** `sums`: number, area, and three sums weighted by area (by one where there is none) of each part. */
function finish(sums: Float64Array, { positions: p, corners, origin }: Members, { piece, count }: Pieces): Patch[] {
  const per = corners ? 3 : 1;
  for (let q = 0; q < count; q++) {
    const weight = corners ? sums[q * 5 + 1] : sums[q * 5];
    for (let a = 2; a < 5; a++) sums[q * 5 + a] = weight > 0 ? sums[q * 5 + a] / weight : 0;
  }
  const lo = new Float64Array(count * 3).fill(Infinity);
  const hi = new Float64Array(count * 3).fill(-Infinity);
  const nearest = new Float64Array(count).fill(Infinity);
  const on = new Int32Array(count);
  for (let m = 0; m < piece.length * per; m++) {
    const q = piece[corners ? Math.floor(m / 3) : m];
    const o = (corners ? corners[m] : m) * 3;
    let d2 = 0;
    for (let a = 0; a < 3; a++) {
      const x = p[o + a];
      if (x < lo[q * 3 + a]) lo[q * 3 + a] = x;
      if (x > hi[q * 3 + a]) hi[q * 3 + a] = x;
      d2 += (x - sums[q * 5 + 2 + a]) ** 2;
    }
    if (d2 < nearest[q]) {
      nearest[q] = d2;
      on[q] = o;
    }
  }
  return Array.from({ length: count }, (_, q): Patch => {
    const [n, area, x, y, z] = sums.subarray(q * 5, q * 5 + 5);
    const size = (a: number): number => hi[q * 3 + a] - lo[q * 3 + a];
    return {
      triangles: corners ? n : 0,
      points: corners ? 0 : n,
      area,
      at: [origin[0] + x, origin[1] + y, origin[2] + z],
      on: [origin[0] + p[on[q]], origin[1] + p[on[q] + 1], origin[2] + p[on[q] + 2]],
      size: [size(0), size(1), size(2)],
      number: q,
    };
  });
}

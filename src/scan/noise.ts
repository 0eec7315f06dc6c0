import { Matrix, solve } from 'ml-matrix';
import type { Mesh } from '../core/mesh.ts';
import { random } from '../core/random.ts';
import { cross, dot, frameOf, type Vec3 } from '../core/vec.ts';
import { mainAxes } from './place.ts';
import { areaVector } from './place-samples.ts';

/** Places at which the surface is fitted, and neighbours of each. */
const PLACES = 400;
const NEIGHBOURS = 24;

/**
 * How rough a scan is: root mean square distance, mm, of its points from a smooth surface through their nearest neighbours, the
 * median over places spread at random (seeded). A plane is laid through the neighbours, and on it a paraboloid, so that a tube's
 * bend does not count as noise. What neighbours share (warp, scale, placing) does not show. NaN with too few points.
 */
export function surfaceNoise(mesh: Mesh, spacing: number): number {
  const used = usedVertices(mesh);
  if (used.length < NEIGHBOURS || !(spacing > 0)) return Number.NaN;
  // A cell of the lattice holds a few points; the neighbours lie in it and in those round it.
  const cells = new Cells(mesh, used, spacing * 3);
  const rng = random(11);
  const found: number[] = [];
  for (let k = 0; k < PLACES; k++) {
    const near = cells.nearest(used[rng.below(used.length)], NEIGHBOURS);
    const variance = near.length < NEIGHBOURS ? Number.NaN : paraboloidVariance(near);
    if (Number.isFinite(variance)) found.push(variance);
  }
  if (found.length === 0) return Number.NaN;
  found.sort((a, b) => a - b);
  return Math.sqrt(found[Math.floor(found.length / 2)] / MEDIAN_SHARE);
}

const COEFFICIENTS = 6;
const FREE = NEIGHBOURS - COEFFICIENTS;
/** The median of a chi-squared number is less than its mean (Wilson and Hilferty's approximation). */
const MEDIAN_SHARE = (1 - 2 / (9 * FREE)) ** 3;

/** Residual variance, mm2, of z = a + bu + cv + du2 + euv + fv2 over the plane of the points; NaN when they do not spread over one. */
function paraboloidVariance(points: readonly Vec3[]): number {
  const { axes, spread } = mainAxes(points);
  // Points along a line, or scattered as a crumb: there is no surface to fit.
  if (spread[1] < 0.2 * spread[0] || spread[2] > 0.4 * spread[1]) return Number.NaN;
  const n = axes[2];
  const [u] = frameOf(n);
  const v = cross(n, u);
  const size = spread[0];
  const rows = points.map((p) => [dot(u, p) / size, dot(v, p) / size, dot(n, p)]);
  const mean = [0, 1, 2].map((a) => rows.reduce((s, r) => s + r[a], 0) / rows.length);
  const basis = rows.map(([x, y]) => {
    const [s, t] = [x - mean[0], y - mean[1]];
    return [1, s, t, s * s, s * t, t * t];
  });
  const a = new Matrix(basis);
  const z = Matrix.columnVector(rows.map((r) => r[2] - mean[2]));
  const off = z.sub(a.mmul(solve(a, z, true)));
  return off.to1DArray().reduce((s, e) => s + e * e, 0) / FREE;
}

function usedVertices({ positions, indices }: Mesh): Int32Array {
  const used = new Uint8Array(positions.length / 3);
  for (const v of indices) used[v] = 1;
  const out = new Int32Array(used.reduce((n, u) => n + u, 0));
  let n = 0;
  for (let v = 0; v < used.length; v++) if (used[v]) out[n++] = v;
  return out;
}

function vertexNormals({ positions, indices }: Mesh): Float32Array {
  const out = new Float32Array(positions.length);
  for (let f = 0; f < indices.length / 3; f++) {
    const n = areaVector(positions, indices, f);
    for (let k = 0; k < 3; k++) for (let a = 0; a < 3; a++) out[indices[f * 3 + k] * 3 + a] += n[a];
  }
  return out;
}

/** Points sorted into cubes by a hash, for nearest neighbours. */
class Cells {
  private readonly positions: Float32Array;
  /** As long as twice the area round each point; zero for points without faces. */
  private readonly normals: Float32Array;
  private readonly cell: number;
  private readonly mask: number;
  private readonly start: Int32Array;
  private readonly member: Int32Array;

  constructor(mesh: Mesh, used: Int32Array, cell: number) {
    this.positions = mesh.positions;
    this.normals = vertexNormals(mesh);
    this.cell = cell;
    let size = 1024;
    while (size < used.length) size *= 2;
    this.mask = size - 1;
    this.start = new Int32Array(size + 2);
    this.member = new Int32Array(used.length);
    for (const v of used) this.start[this.slot(v) + 2]++;
    for (let s = 2; s < size + 2; s++) this.start[s] += this.start[s - 1];
    for (const v of used) this.member[this.start[this.slot(v) + 1]++] = v;
  }

  private slot(v: number): number {
    const at = (a: number): number => Math.floor(this.positions[v * 3 + a] / this.cell);
    return this.hash(at(0), at(1), at(2));
  }

  private hash(i: number, j: number, k: number): number {
    const h = (Math.imul(i, 0x9e3779b1) ^ Math.imul(j, 0x85ebca6b) ^ Math.imul(k, 0xc2b2ae35)) >>> 0;
    return (h ^ (h >>> 15)) & this.mask;
  }

  /** Whether the surface faces about the same way at both, so that the other side of a thin sheet is no neighbour. */
  private sameSide(v: number, w: number): boolean {
    const n = this.normals;
    return (
      n[v] * n[w] + n[v + 1] * n[w + 1] + n[v + 2] * n[w + 2] >=
      0.5 * Math.hypot(n[v], n[v + 1], n[v + 2]) * Math.hypot(n[w], n[w + 1], n[w + 2])
    );
  }

  /** Up to `count` points nearest to point `v`, itself included, that lie within a cell of it. Points at the same place count once. */
  nearest(v: number, count: number): Vec3[] {
    const p = this.positions;
    const [x, y, z] = [p[v * 3], p[v * 3 + 1], p[v * 3 + 2]];
    const [i, j, k] = [x, y, z].map((c) => Math.floor(c / this.cell));
    const slots = new Set<number>();
    for (let dk = -1; dk <= 1; dk++)
      for (let dj = -1; dj <= 1; dj++) for (let di = -1; di <= 1; di++) slots.add(this.hash(i + di, j + dj, k + dk));
    const near = new Map<string, { d: number; at: Vec3 }>();
    for (const s of slots)
      for (let q = this.start[s]; q < this.start[s + 1]; q++) {
        const w = this.member[q] * 3;
        const d = Math.hypot(p[w] - x, p[w + 1] - y, p[w + 2] - z);
        if (d <= this.cell && this.sameSide(v * 3, w))
          near.set(`${p[w]} ${p[w + 1]} ${p[w + 2]}`, { d, at: [p[w] - x, p[w + 1] - y, p[w + 2] - z] });
      }
    return [...near.values()]
      .sort((a, b) => a.d - b.d)
      .slice(0, count)
      .map((n) => n.at);
  }
}

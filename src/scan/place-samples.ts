import type { Mesh } from '../core/mesh.ts';
import { random } from '../core/random.ts';
import type { Vec3 } from '../core/vec.ts';

/** Points on a surface with the normals of their triangles, mm about the mesh's origin. */
export interface Samples {
  readonly points: Float64Array;
  readonly normals: Float64Array;
  readonly count: number;
}

/** `count` points spread evenly over the area (one in each of `count` equal shares of it, at a random place there), seeded. */
export const sampleSurface = (mesh: Mesh, count: number, seed: number): Samples => surfaceSampler(mesh)(count, seed);

/** The same for several samples of one mesh, whose areas are then added up once. */
export function surfaceSampler(mesh: Mesh): (count: number, seed: number) => Samples {
  const { positions: p, indices: t } = mesh;
  const upTo = new Float64Array(t.length / 3);
  const normal = new Float64Array(3);
  let total = 0;
  for (let i = 0; i < upTo.length; i++) {
    total += normalInto(p, t, i, normal);
    upTo[i] = total;
  }
  return (count, seed) => {
    const points = new Float64Array(count * 3);
    const normals = new Float64Array(count * 3);
    const rng = random(seed);
    let i = 0;
    for (let s = 0; s < count && total > 0; s++) {
      const share = ((s + rng.next()) / count) * total;
      while (i < upTo.length - 1 && upTo[i] < share) i++;
      let u = rng.next();
      let v = rng.next();
      if (u + v > 1) {
        u = 1 - u;
        v = 1 - v;
      }
      const size = normalInto(p, t, i, normal) || 1;
      for (let k = 0; k < 3; k++) {
        const a = p[t[i * 3] * 3 + k];
        points[s * 3 + k] = a + u * (p[t[i * 3 + 1] * 3 + k] - a) + v * (p[t[i * 3 + 2] * 3 + k] - a);
        normals[s * 3 + k] = normal[k] / size;
      }
    }
    return { points, normals, count };
  };
}

/** Normal of triangle i into `out`, as long as twice its area, which is returned. */
export function normalInto(p: Float32Array, t: Uint32Array, i: number, out: Float64Array): number {
  const a = t[i * 3] * 3;
  const b = t[i * 3 + 1] * 3;
  const c = t[i * 3 + 2] * 3;
  const ux = p[b] - p[a];
  const uy = p[b + 1] - p[a + 1];
  const uz = p[b + 2] - p[a + 2];
  const vx = p[c] - p[a];
  const vy = p[c + 1] - p[a + 1];
  const vz = p[c + 2] - p[a + 2];
  out[0] = uy * vz - uz * vy;
  out[1] = uz * vx - ux * vz;
  out[2] = ux * vy - uy * vx;
  return Math.sqrt(out[0] * out[0] + out[1] * out[1] + out[2] * out[2]);
}

/** The same as three numbers. */
export function areaVector(p: Float32Array, t: Uint32Array, i: number): [number, number, number] {
  const out = new Float64Array(3);
  normalInto(p, t, i, out);
  return [out[0], out[1], out[2]];
}

/**
 * For every cell of a coarse lattice the sample that lies about nearest to its centre: a look-up instead of a search, for the many
 * rough rounds of a fit. Samples near a cell's own may be missed by up to half a cell, which rough rounds bear.
 */
export interface NearestLattice {
  readonly samples: Samples;
  /** Index of a sample for each cell, x fastest; the outermost layer of cells is not looked up. */
  readonly near: Int32Array;
  readonly low: Float64Array;
  readonly cell: number;
  readonly size: readonly [number, number, number];
}

const MOST_CELLS = 2.5e6;

/** The lattice covers all samples and `reach` mm round them. */
export function nearestLattice(samples: Samples, reach: number, finest: number): NearestLattice {
  const low = new Float64Array(3).fill(Infinity);
  const high = new Float64Array(3).fill(-Infinity);
  const { points, count } = samples;
  for (let i = 0; i < count * 3; i++) {
    low[i % 3] = Math.min(low[i % 3], points[i] - reach);
    high[i % 3] = Math.max(high[i % 3], points[i] + reach);
  }
  const extent = [0, 1, 2].map((a) => high[a] - low[a]);
  const cell = Math.max(finest, Math.cbrt((extent[0] * extent[1] * extent[2]) / MOST_CELLS));
  const [nx, ny, nz] = extent.map((e) => Math.ceil(e / cell) + 2);
  for (let a = 0; a < 3; a++) low[a] -= cell;
  const near = new Int32Array(nx * ny * nz).fill(-1);
  const lattice: NearestLattice = { samples, near, low, cell, size: [nx, ny, nz] };
  for (let s = 0; s < count; s++) {
    const c = cellOf(lattice, points[s * 3], points[s * 3 + 1], points[s * 3 + 2]);
    if (near[c] < 0 || squared(lattice, c, s) < squared(lattice, c, near[c])) near[c] = s;
  }
  spread(lattice);
  return lattice;
}

/** Cell that holds a point, or the nearest of those inside the outermost layer. */
export function cellOf({ low, cell, size }: NearestLattice, x: number, y: number, z: number): number {
  const [nx, ny, nz] = size;
  const i = Math.min(Math.max(Math.trunc((x - low[0]) / cell), 1), nx - 2);
  const j = Math.min(Math.max(Math.trunc((y - low[1]) / cell), 1), ny - 2);
  const k = Math.min(Math.max(Math.trunc((z - low[2]) / cell), 1), nz - 2);
  return i + nx * (j + ny * k);
}

/** Mean of the samples, mm. */
export function middleOf({ points, count }: Samples): Vec3 {
  const sum = [0, 0, 0];
  for (let i = 0; i < count; i++) for (let a = 0; a < 3; a++) sum[a] += points[3 * i + a];
  return [sum[0] / count, sum[1] / count, sum[2] / count];
}

/** Squared distance from the centre of cell c to sample s. */
function squared({ samples, low, cell, size }: NearestLattice, c: number, s: number): number {
  const i = c % size[0];
  const j = Math.floor(c / size[0]) % size[1];
  const k = Math.floor(c / (size[0] * size[1]));
  const p = samples.points;
  return (
    (low[0] + (i + 0.5) * cell - p[s * 3]) ** 2 +
    (low[1] + (j + 0.5) * cell - p[s * 3 + 1]) ** 2 +
    (low[2] + (k + 0.5) * cell - p[s * 3 + 2]) ** 2
  );
}

/**
 * Carries samples from cell to cell, there and back, until all cells have one (vector propagation, Danielsson, CGIP 14, 1980: recalled).
 * With the outermost layer left out no neighbour has to be checked for: 0.65 s of processor time for 2.6 million cells.
 */
function spread(lattice: NearestLattice): void {
  const { nx, ny, nz } = { nx: lattice.size[0], ny: lattice.size[1], nz: lattice.size[2] };
  for (const sign of [1, -1]) {
    // The thirteen neighbours already passed.
    const passed: number[] = [];
    for (let dk = -1; dk <= 0; dk++)
      for (let dj = -1; dj <= 1; dj++)
        for (let di = -1; di <= 1; di++) if (dk < 0 || dj < 0 || (dj === 0 && di < 0)) passed.push(sign * (di + nx * (dj + ny * dk)));
    const from = Int32Array.from(passed);
    for (let k = 1; k < nz - 1; k++)
      for (let j = 1; j < ny - 1; j++) sweepRow(lattice, sign > 0 ? j : ny - 1 - j, sign > 0 ? k : nz - 1 - k, { from, sign });
  }
}

function sweepRow(
  { near, samples, low, cell, size }: NearestLattice,
  j: number,
  k: number,
  { from, sign }: { readonly from: Int32Array; readonly sign: number },
): void {
  const [nx, ny] = size;
  const p = samples.points;
  const y = low[1] + (j + 0.5) * cell;
  const z = low[2] + (k + 0.5) * cell;
  const row = nx * (j + ny * k);
  for (let t = 1; t < nx - 1; t++) {
    const i = sign > 0 ? t : nx - 1 - t;
    const x = low[0] + (i + 0.5) * cell;
    let best = near[row + i];
    let least = best < 0 ? Infinity : (x - p[best * 3]) ** 2 + (y - p[best * 3 + 1]) ** 2 + (z - p[best * 3 + 2]) ** 2;
    let tried = best;
    for (let n = 0; n < from.length; n++) {
      const s = near[row + i + from[n]];
      if (s < 0 || s === best || s === tried) continue;
      tried = s;
      const d = (x - p[s * 3]) ** 2 + (y - p[s * 3 + 1]) ** 2 + (z - p[s * 3 + 2]) ** 2;
      if (d < least) {
        least = d;
        best = s;
      }
    }
    near[row + i] = best;
  }
}

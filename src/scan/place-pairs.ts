import type { Vec3 } from '../core/vec.ts';
import type { Rigid } from './place.ts';
import { cellOf, type NearestLattice, type Samples } from './place-samples.ts';

/** Finds what lies nearest to a point; what was found stays in the fields until the next call. mm. */
export interface Partner {
  readonly point: Float64Array;
  /** Unit normal of the surface there. */
  readonly normal: Float64Array;
  /** Whether there is something within `limit` mm. */
  nearest(x: number, y: number, z: number, limit: number): boolean;
}

/** By look-up: a sample that lies about nearest. */
export class LatticePartner implements Partner {
  readonly point = new Float64Array(3);
  readonly normal = new Float64Array(3);
  /** Size of the lattice's cells, mm: so far aside the sample may lie. */
  readonly cell: number;
  private readonly lattice: NearestLattice;

  constructor(lattice: NearestLattice) {
    this.lattice = lattice;
    this.cell = lattice.cell;
  }

  nearest(x: number, y: number, z: number): boolean {
    const { near, samples } = this.lattice;
    const s = near[cellOf(this.lattice, x, y, z)];
    if (s < 0) return false;
    const { points, normals } = samples;
    const { point, normal } = this;
    const o = 3 * s;
    point[0] = points[o];
    point[1] = points[o + 1];
    point[2] = points[o + 2];
    normal[0] = normals[o];
    normal[1] = normals[o + 1];
    normal[2] = normals[o + 2];
    return true;
  }
}

/** Cosine of the largest angle between the normals of partners. */
const SAME_SIDE = 0.6;
/** Tukey's constant: 95 % of full efficiency on normal noise. */
const TUKEY = 4.685;
/** Least spread that is believed, mm: keeps the weights of perfect data finite. */
const LEAST_SIGMA = 0.005;

/** Moved samples and what they lie on, pair by pair, in arrays that are filled again and again. mm. */
export class Pairs {
  count = 0;
  /** Which sample. */
  readonly index: Int32Array;
  /** The moved point, its own normal, moved, and its partner's. */
  readonly p: Float64Array;
  readonly m: Float64Array;
  readonly n: Float64Array;
  /** Distance from the partner's plane, signed, and squared distance from the partner. */
  readonly r: Float64Array;
  readonly d2: Float64Array;
  private readonly sorted: Float64Array;

  constructor(most: number) {
    this.index = new Int32Array(most);
    this.p = new Float64Array(3 * most);
    this.m = new Float64Array(3 * most);
    this.n = new Float64Array(3 * most);
    this.r = new Float64Array(most);
    this.d2 = new Float64Array(most);
    this.sorted = new Float64Array(most);
  }

  /** Pairs every sample, moved (or mirrored) by `map`, with its partner within `limit` mm, when both face the same way. */
  collect(source: Samples, { rows, shift }: Rigid, partner: Partner, limit: number): void {
    const { points: s, normals } = source;
    const { p, m, n, r, d2, index } = this;
    const [[a, b, c], [d, e, f], [g, h, i]] = rows;
    const { point: q, normal } = partner;
    let k = 0;
    for (let t = 0; t < source.count; t++) {
      const o = 3 * t;
      const x = a * s[o] + b * s[o + 1] + c * s[o + 2] + shift[0];
      const y = d * s[o] + e * s[o + 1] + f * s[o + 2] + shift[1];
      const z = g * s[o] + h * s[o + 1] + i * s[o + 2] + shift[2];
      if (!partner.nearest(x, y, z, limit)) continue;
      const nx = normal[0];
      const ny = normal[1];
      const nz = normal[2];
      const mx = a * normals[o] + b * normals[o + 1] + c * normals[o + 2];
      const my = d * normals[o] + e * normals[o + 1] + f * normals[o + 2];
      const mz = g * normals[o] + h * normals[o + 1] + i * normals[o + 2];
      if (nx * mx + ny * my + nz * mz < SAME_SIDE) continue;
      const dx = x - q[0];
      const dy = y - q[1];
      const dz = z - q[2];
      index[k] = t;
      p[3 * k] = x;
      p[3 * k + 1] = y;
      p[3 * k + 2] = z;
      m[3 * k] = mx;
      m[3 * k + 1] = my;
      m[3 * k + 2] = mz;
      n[3 * k] = nx;
      n[3 * k + 1] = ny;
      n[3 * k + 2] = nz;
      r[k] = nx * dx + ny * dy + nz * dz;
      d2[k] = dx * dx + dy * dy + dz * dz;
      k++;
    }
    this.count = k;
  }

  /** Drops pairs whose partner lies more than `most` mm to the side: off a border the nearest point is not the one below. */
  dropAside(most: number): void {
    this.keep((k) => this.d2[k] - this.r[k] ** 2 <= most * most);
  }

  /** Drops pairs beyond Tukey's cut and returns it with the spread it comes from, mm. */
  trim(): { sigma: number; cut: number } {
    const sigma = Math.max(LEAST_SIGMA, 1.4826 * (this.size(0.5) || LEAST_SIGMA));
    const cut = TUKEY * sigma;
    this.keep((k) => Math.abs(this.r[k]) < cut);
    return { sigma, cut };
  }

  /** The residual's size, mm, that a share of the pairs does not exceed; NaN without pairs. */
  size(share: number): number {
    const { count, sorted, r } = this;
    for (let k = 0; k < count; k++) sorted[k] = Math.abs(r[k]);
    const s = sorted.subarray(0, count).sort();
    return count > 0 ? s[Math.min(count - 1, Math.floor(share * count))] : Number.NaN;
  }

  /** Share of `of` samples that have a partner within `width` of its plane and `aside` in all, the closer the more. */
  score(width: number, aside: number, of: number): number {
    let sum = 0;
    for (let k = 0; k < this.count; k++) if (this.d2[k] < aside * aside) sum += Math.max(0, 1 - (this.r[k] / width) ** 2);
    return sum / of;
  }

  /** Middle of the moved points, mm, and their root mean square distance from it. */
  centre(): Vec3 {
    const { p, count } = this;
    const sum = [0, 0, 0];
    for (let k = 0; k < count; k++) for (let a = 0; a < 3; a++) sum[a] += p[3 * k + a];
    return [sum[0] / count, sum[1] / count, sum[2] / count];
  }

  spread(centre: Vec3): number {
    const { p, count } = this;
    let sum = 0;
    for (let k = 0; k < count; k++) for (let a = 0; a < 3; a++) sum += (p[3 * k + a] - centre[a]) ** 2;
    return Math.sqrt(sum / count);
  }

  private keep(good: (k: number) => boolean): void {
    const { index, p, m, n, r, d2 } = this;
    let to = 0;
    for (let k = 0; k < this.count; k++) {
      if (!good(k)) continue;
      if (to !== k) {
        index[to] = index[k];
        p.copyWithin(3 * to, 3 * k, 3 * k + 3);
        m.copyWithin(3 * to, 3 * k, 3 * k + 3);
        n.copyWithin(3 * to, 3 * k, 3 * k + 3);
        r[to] = r[k];
        d2[to] = d2[k];
      }
      to++;
    }
    this.count = to;
  }
}

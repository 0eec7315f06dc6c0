/**
 * Exact distance between two triangles, with the two nearest points.
 *
 * Apart, the nearest points lie on two edges or on a corner and a face, so the least of nine edge pairs and six corner projections is
 * exact; triangles that cross have an edge of one through the other (Ericson, Real-Time Collision Detection, 2005, sections 5.1.8 to 5.1.10).
 * Triangles without area or length are handled by their edges alone. float64 throughout: errors are about 1e-15 of the coordinates.
 */
export class TrianglePair {
  /** Corners of both triangles, nine numbers each. Filled by the caller. */
  readonly corners = new Float64Array(18);
  /** After a nearer distance was found: the point on the first and on the second triangle. */
  readonly points = new Float64Array(6);
  private best = 0;
  /** Normals, not of unit length, and their squared lengths. */
  private readonly normal = new Float64Array(6);
  private readonly size = new Float64Array(2);
  /** Heights of each triangle's corners over the other's plane, times the normal's length. */
  private readonly height = new Float64Array(6);

  /** Squared distance when it is below `limit`, else `limit` with `points` untouched. */
  squared(limit: number): number {
    this.best = limit;
    if (this.apart()) return limit;
    this.plane(0);
    this.plane(1);
    if (this.beyond(0) || this.beyond(1)) return limit;
    if (this.pierces(0) || this.pierces(1)) return 0;
    this.corner(0);
    this.corner(1);
    for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) this.edges(i, j);
    return this.best;
  }

  /** Whether the boxes along the axes are already too far apart. */
  private apart(): boolean {
    const c = this.corners;
    let sum = 0;
    for (let a = 0; a < 3; a++) {
      const lo = Math.min(c[a], c[a + 3], c[a + 6]) - Math.max(c[a + 9], c[a + 12], c[a + 15]);
      const hi = Math.min(c[a + 9], c[a + 12], c[a + 15]) - Math.max(c[a], c[a + 3], c[a + 6]);
      const gap = Math.max(lo, hi);
      if (gap > 0) sum += gap * gap;
    }
    return sum >= this.best;
  }

  /** Normal of triangle `t` and the other's heights over its plane. */
  private plane(t: number): void {
    const { corners: c, normal: n, height } = this;
    const o = 9 * t;
    const q = 9 - o;
    const ux = c[o + 3] - c[o];
    const uy = c[o + 4] - c[o + 1];
    const uz = c[o + 5] - c[o + 2];
    const vx = c[o + 6] - c[o];
    const vy = c[o + 7] - c[o + 1];
    const vz = c[o + 8] - c[o + 2];
    const x = uy * vz - uz * vy;
    const y = uz * vx - ux * vz;
    const z = ux * vy - uy * vx;
    n[3 * t] = x;
    n[3 * t + 1] = y;
    n[3 * t + 2] = z;
    this.size[t] = x * x + y * y + z * z;
    for (let i = 0; i < 3; i++)
      height[3 * t + i] = x * (c[q + 3 * i] - c[o]) + y * (c[q + 3 * i + 1] - c[o + 1]) + z * (c[q + 3 * i + 2] - c[o + 2]);
  }

  /** Whether the other triangle lies wholly on one side of the plane of `t`, too far off. */
  private beyond(t: number): boolean {
    const h = this.height;
    const o = 3 * t;
    const low = Math.min(h[o], h[o + 1], h[o + 2]);
    const high = Math.max(h[o], h[o + 1], h[o + 2]);
    const least = low > 0 ? low : high < 0 ? -high : 0;
    return least > 0 && this.size[t] > 0 && least * least >= this.best * this.size[t];
  }

  /** Whether an edge of the other triangle goes through `t`; then the distance is 0 and `points` the place. */
  private pierces(t: number): boolean {
    const { height: h, corners: c, points } = this;
    if (!(this.size[t] > 0)) return false;
    const q = 9 - 9 * t;
    for (let i = 0; i < 3; i++) {
      const j = (i + 1) % 3;
      const a = h[3 * t + i];
      const b = h[3 * t + j];
      if (!((a < 0 && b > 0) || (a > 0 && b < 0))) continue;
      const s = a / (a - b);
      const x = c[q + 3 * i] + s * (c[q + 3 * j] - c[q + 3 * i]);
      const y = c[q + 3 * i + 1] + s * (c[q + 3 * j + 1] - c[q + 3 * i + 1]);
      const z = c[q + 3 * i + 2] + s * (c[q + 3 * j + 2] - c[q + 3 * i + 2]);
      if (!this.over(t, x, y, z)) continue;
      points[0] = points[3] = x;
      points[1] = points[4] = y;
      points[2] = points[5] = z;
      return true;
    }
    return false;
  }

  /** Whether the foot of a point on the plane of `t` is in the triangle. */
  private over(t: number, x: number, y: number, z: number): boolean {
    const { corners: c, normal: n } = this;
    const o = 9 * t;
    for (let i = 0; i < 3; i++) {
      const p = o + 3 * i;
      const q = o + 3 * ((i + 1) % 3);
      const ex = c[q] - c[p];
      const ey = c[q + 1] - c[p + 1];
      const ez = c[q + 2] - c[p + 2];
      const dx = x - c[p];
      const dy = y - c[p + 1];
      const dz = z - c[p + 2];
      if (n[3 * t] * (ey * dz - ez * dy) + n[3 * t + 1] * (ez * dx - ex * dz) + n[3 * t + 2] * (ex * dy - ey * dx) < 0) return false;
    }
    return true;
  }

  /** Corners of the other triangle over the inside of `t`. */
  private corner(t: number): void {
    const { corners: c, normal: n, height, points } = this;
    const size = this.size[t];
    if (!(size > 0)) return;
    const q = 9 - 9 * t;
    for (let i = 0; i < 3; i++) {
      const h = height[3 * t + i];
      const d = (h * h) / size;
      if (d >= this.best) continue;
      const x = c[q + 3 * i];
      const y = c[q + 3 * i + 1];
      const z = c[q + 3 * i + 2];
      if (!this.over(t, x, y, z)) continue;
      this.best = d;
      const k = h / size;
      const own = 3 * t;
      const other = 3 - own;
      points[own] = x - k * n[own];
      points[own + 1] = y - k * n[own + 1];
      points[own + 2] = z - k * n[own + 2];
      points[other] = x;
      points[other + 1] = y;
      points[other + 2] = z;
    }
  }

  /** Edge i of the first triangle against edge j of the second. */
  private edges(i: number, j: number): void {
    const { corners: c, points } = this;
    const p = 3 * i;
    const p2 = 3 * ((i + 1) % 3);
    const q = 9 + 3 * j;
    const q2 = 9 + 3 * ((j + 1) % 3);
    const ux = c[p2] - c[p];
    const uy = c[p2 + 1] - c[p + 1];
    const uz = c[p2 + 2] - c[p + 2];
    const vx = c[q2] - c[q];
    const vy = c[q2 + 1] - c[q + 1];
    const vz = c[q2 + 2] - c[q + 2];
    const rx = c[p] - c[q];
    const ry = c[p + 1] - c[q + 1];
    const rz = c[p + 2] - c[q + 2];
    const a = ux * ux + uy * uy + uz * uz;
    const e = vx * vx + vy * vy + vz * vz;
    const b = ux * vx + uy * vy + uz * vz;
    const d = ux * rx + uy * ry + uz * rz;
    const f = vx * rx + vy * ry + vz * rz;
    const det = a * e - b * b;
    let s = det > 0 ? clamp01((b * f - d * e) / det) : 0;
    let t = e > 0 ? (b * s + f) / e : 0;
    if (t < 0 || t > 1) {
      t = t < 0 ? 0 : 1;
      s = a > 0 ? clamp01((b * t - d) / a) : 0;
    } else if (e <= 0) s = a > 0 ? clamp01(-d / a) : 0;
    const x = rx + s * ux - t * vx;
    const y = ry + s * uy - t * vy;
    const z = rz + s * uz - t * vz;
    const near = x * x + y * y + z * z;
    if (near >= this.best) return;
    this.best = near;
    points[0] = c[p] + s * ux;
    points[1] = c[p + 1] + s * uy;
    points[2] = c[p + 2] + s * uz;
    points[3] = c[q] + t * vx;
    points[4] = c[q + 1] + t * vy;
    points[5] = c[q + 2] + t * vz;
  }
}

const clamp01 = (x: number): number => Math.min(Math.max(x, 0), 1);

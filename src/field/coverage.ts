import type { Field } from '../core/field.ts';

/**
 * How much of each cell lies where the field is positive: the sub-cell part of every volume and area.
 *
 * The field in a cell is taken as a plane through its value and central-difference gradient, the value corrected by
 * h^2/24 times the Laplacian so that the plane has the cell's true mean. The unit cube cut by a plane has a closed form:
 * Scardovelli & Zaleski, J. Comput. Phys. 164 (2000) 228-237.
 *
 * Where the field has a crease (an edge or corner of the body) the planes of nearby smooth cells are carried over to it and
 * the least or greatest of them is cut in 4 x 4 x 4 parts; where there are none, the cell is cut into eight, each with the
 * one-sided differences of its own corner. A cell that looks smooth may still have the crease at the end of its differences; its
 * neighbours tell. Turned box of 200 mm at 5 mm, volume and area off by: eight parts everywhere -0.059 %, -0.81 %; with planes carried over
 * -0.006 %, -0.25 %; with the neighbours asked too -0.002 %, -0.08 %; ball of 40 cells -0.000 %, -0.05 %. Before they were asked a cylinder of
 * 100 mm radius lost 100 and 31 mm3 at 4 and 2 mm, its error falling slower than the square of the cell; now 55 and -1.
 */

/** A second difference above this, in cells, is a crease (or a curve of less than three cells' radius), not a smooth surface. */
const CREASE = 0.35;

/** From here on a cell that looks smooth may have a crease at the end of its differences: its neighbours tell. */
const SLIGHT = 0.02;
/** The level passes through no cell that is farther from it, in cells: slopes of the fields are about 1. */
const CUT = 0.9;

/** Cells whose planes may be carried over have second differences of at most this. */
const CLEAN = 0.2;
/** Cells farther than this from the level, in cells, are whole: holds while no field rises by more than 2 mm per mm. */
const FAR = 2;
/** Only cells this near the level, in cells, are worth the care at a crease: slopes of the fields are about 1. */
const NEAR = 1.2;
/** Planes with gradients nearer than this (squared) are one. */
const SAME = 0.06;
/** How far, in cells, the planes carried over may miss the value at the centre. */
const MISS = 0.2;
/** A plane nearer than this to a face, in cells, lies in it. */
const TOUCH = 1e-4;
const MOST_PLANES = 6;
const PARTS = 4;

/** Shares of a unit cube and areas of the cut: the last result of a `Cut`. */
export class Cut {
  /** Share of the cube, 0..1. */
  share = 0;
  /** Area of the cut, in cell faces. */
  area = 0;

  /** The plane: value at the cube's centre and gradient, in units of the cube's edge. (As arguments each would be an object on the heap.) */
  readonly by = new Float64Array(4);

  /** Cuts the unit cube where value + gradient . x > 0, x measured from its centre. */
  plane(): void {
    const value = this.by[0];
    const gx = this.by[1];
    const gy = this.by[2];
    const gz = this.by[3];
    let a = Math.abs(gx);
    let b = Math.abs(gy);
    let c = Math.abs(gz);
    const sum = a + b + c;
    const inside = sum / 2 - Math.abs(value);
    if (inside <= TOUCH) {
      this.share = value > 0 ? 1 : 0;
      // A plane that lies in a face of the cube belongs half to the cell on either side.
      this.area = inside >= -TOUCH && sum - Math.max(a, b, c) < TOUCH ? 0.5 : 0;
      return;
    }
    // Sorted a <= b <= c and scaled to a + b + c = 1.
    let swap = a;
    if (a > b) {
      a = b;
      b = swap;
    }
    if (b > c) {
      swap = b;
      b = c;
      c = swap;
      if (a > b) {
        swap = a;
        a = b;
        b = swap;
      }
    }
    a = Math.max(a / sum, 1e-7);
    b = Math.max(b / sum, 1e-7);
    // The closed form needs a + b + c = 1 to the last bit: its small terms are divided by a b c.
    const one = a + b + c / sum;
    a /= one;
    b /= one;
    c = 1 - a - b;
    const whole = value / sum + 0.5;
    const alpha = whole > 0.5 ? 1 - whole : whole;
    const ab = a + b;
    let volume: number;
    let slope: number;
    if (alpha < a) {
      const k = 1 / (6 * a * b * c);
      volume = alpha ** 3 * k;
      slope = 3 * alpha * alpha * k;
    } else if (alpha < b) {
      const k = 1 / (2 * b * c);
      volume = alpha * (alpha - a) * k + (a * a) / (6 * b * c);
      slope = (2 * alpha - a) * k;
    } else if (alpha < Math.min(ab, c)) {
      const k = 1 / (6 * a * b * c);
      volume = (alpha * alpha * (3 * ab - alpha) + a * a * (a - 3 * alpha) + b * b * (b - 3 * alpha)) * k;
      slope = (6 * ab * alpha - 3 * alpha * alpha - 3 * a * a - 3 * b * b) * k;
    } else if (ab < c) {
      volume = (2 * alpha - ab) / (2 * c);
      slope = 1 / c;
    } else {
      const k = 1 / (6 * a * b * c);
      volume = (alpha * alpha * (3 - 2 * alpha) + a * a * (a - 3 * alpha) + b * b * (b - 3 * alpha) + c * c * (c - 3 * alpha)) * k;
      slope = (6 * alpha - 6 * alpha * alpha - 3 * (a * a + b * b + c * c)) * k;
    }
    this.share = whole > 0.5 ? 1 - volume : volume;
    this.area = (slope * Math.sqrt(gx * gx + gy * gy + gz * gz)) / sum;
  }
}

/**
 * Coverage of one row of cells after another. `row(j, k)` fills `share` (0..1 of each cell) and `area` (of the surface in each
 * cell, in cell faces) for i = 0..nx-1 of { least of the fields > level }. At the grid's edge a cell counts its own cube, with
 * one-sided differences; so it does beside a neighbour that is not finite.
 */
export class Coverage {
  readonly share: Float64Array;
  readonly area: Float64Array;
  private readonly a: Float32Array;
  private readonly b: Float32Array | undefined;
  private readonly nx: number;
  private readonly ny: number;
  private readonly nz: number;
  private readonly level: number;
  private readonly perCell: number;
  private readonly far: number;
  private readonly cut = new Cut();
  /** Value at the centre and gradient, four numbers a plane; the least or the greatest of them counts. */
  private readonly planes = new Float64Array(4 * MOST_PLANES);
  private count = 0;
  private least = true;

  /**
   * `other`, on the same grid, makes it the coverage of the least of both fields. `level` in mm. `far`: how far from the level, in cells, all
   * cells are whole; 1 does where no field rises by more than 1 mm per mm.
   */
  constructor(field: Field, level: number, other?: Field, far = FAR) {
    const { nx, ny, nz, step } = field.grid;
    this.a = field.data;
    this.b = other?.data;
    this.nx = nx;
    this.ny = ny;
    this.nz = nz;
    this.level = level;
    this.perCell = 1 / step;
    this.far = far;
    this.share = new Float64Array(nx);
    this.area = new Float64Array(nx);
  }

  row(j: number, k: number): void {
    const { nx, ny, nz, share, area, cut, far } = this;
    const { by } = cut;
    const plane = nx * ny;
    const row = nx * j + plane * k;
    for (let i = 0; i < nx; i++) {
      const c = row + i;
      const f = this.at(c);
      if (f > far || f < -far) {
        share[i] = f > 0 ? 1 : 0;
        area[i] = 0;
        continue;
      }
      const xm = i > 0 ? this.at(c - 1) : Number.NaN;
      const xp = i < nx - 1 ? this.at(c + 1) : Number.NaN;
      const ym = j > 0 ? this.at(c - nx) : Number.NaN;
      const yp = j < ny - 1 ? this.at(c + nx) : Number.NaN;
      const zm = k > 0 ? this.at(c - plane) : Number.NaN;
      const zp = k < nz - 1 ? this.at(c + plane) : Number.NaN;
      const gx = (xp - xm) / 2;
      const gy = (yp - ym) / 2;
      const gz = (zp - zm) / 2;
      const cx = xp + xm - 2 * f;
      const cy = yp + ym - 2 * f;
      const cz = zp + zm - 2 * f;
      const bend = Math.max(Math.abs(cx), Math.abs(cy), Math.abs(cz));
      if (bend <= CREASE && !(bend > SLIGHT && Math.abs(f) < CUT && this.besideCrease(i, j, k))) {
        by[0] = f + (cx + cy + cz) / 24;
        by[1] = gx;
        by[2] = gy;
        by[3] = gz;
        cut.plane();
      } else if (Math.abs(f) < NEAR && this.planesAround(i, j, k)) this.parts();
      else this.eighths(i, j, k);
      share[i] = cut.share;
      area[i] = cut.area;
    }
  }

  /** Whether the second difference of a cell next to cell (i, j, k), along the axis of both, is that of a crease. */
  private besideCrease(i: number, j: number, k: number): boolean {
    const { nx, ny, nz } = this;
    const c = i + nx * (j + ny * k);
    return this.bendsBeyond(c, 1, i, nx) || this.bendsBeyond(c, nx, j, ny) || this.bendsBeyond(c, nx * ny, k, nz);
  }

  private bendsBeyond(c: number, d: number, i: number, n: number): boolean {
    const f = this.at(c);
    return (
      (i + 2 < n && Math.abs(this.at(c + 2 * d) - 2 * this.at(c + d) + f) > CREASE) ||
      (i > 1 && Math.abs(this.at(c - 2 * d) - 2 * this.at(c - d) + f) > CREASE)
    );
  }

  /** Value in cells above the level. */
  private at(c: number): number {
    const a = this.a[c];
    const b = this.b;
    return ((b !== undefined && b[c] < a ? b[c] : a) - this.level) * this.perCell;
  }

  /**
   * Collects the planes of the smooth cells around a crease, nearest first, each direction once. False when they do not
   * explain the value at the centre.
   */
  private planesAround(i: number, j: number, k: number): boolean {
    const { nx, ny, nz, planes } = this;
    this.count = 0;
    const c = i + nx * (j + ny * k);
    const f = this.at(c);
    let bend = 0;
    for (let n = 0; n < AROUND.length; n += 3) {
      const dx = AROUND[n];
      const dy = AROUND[n + 1];
      const dz = AROUND[n + 2];
      const x = i + dx;
      const y = j + dy;
      const z = k + dz;
      if (x < 1 || y < 1 || z < 1 || x > nx - 2 || y > ny - 2 || z > nz - 2) continue;
      const q = c + dx + nx * (dy + ny * dz);
      const v = this.at(q);
      const xm = this.at(q - 1);
      const xp = this.at(q + 1);
      const ym = this.at(q - nx);
      const yp = this.at(q + nx);
      const zm = this.at(q - nx * ny);
      const zp = this.at(q + nx * ny);
      const cx = xp + xm - 2 * v;
      const cy = yp + ym - 2 * v;
      const cz = zp + zm - 2 * v;
      const worst = Math.max(Math.abs(cx), Math.abs(cy), Math.abs(cz));
      if (worst <= CLEAN) {
        const gx = (xp - xm) / 2;
        const gy = (yp - ym) / 2;
        const gz = (zp - zm) / 2;
        if (this.count < MOST_PLANES && !this.known(gx, gy, gz)) {
          const o = 4 * this.count++;
          planes[o] = v - gx * dx - gy * dy - gz * dz;
          planes[o + 1] = gx;
          planes[o + 2] = gy;
          planes[o + 3] = gz;
        }
      } else if (worst < Infinity) bend += cx + cy + cz;
    }
    if (this.count === 0) return false;
    this.least = bend <= 0;
    const active = this.pick(0, 0, 0);
    const miss = f - planes[active];
    if (!(Math.abs(miss) < MISS)) return false;
    planes[active] += miss;
    return true;
  }

  private known(gx: number, gy: number, gz: number): boolean {
    const { planes } = this;
    for (let p = 0; p < this.count; p++) {
      const dx = planes[4 * p + 1] - gx;
      const dy = planes[4 * p + 2] - gy;
      const dz = planes[4 * p + 3] - gz;
      if (dx * dx + dy * dy + dz * dz < SAME) return true;
    }
    return false;
  }

  /** Where in `planes` the one stands that counts at x, y, z from the centre. */
  private pick(x: number, y: number, z: number): number {
    const { planes, least } = this;
    let best = 0;
    let value = 0;
    for (let o = 0; o < 4 * this.count; o += 4) {
      const v = planes[o] + planes[o + 1] * x + planes[o + 2] * y + planes[o + 3] * z;
      if (o === 0 || (least ? v < value : v > value)) {
        value = v;
        best = o;
      }
    }
    return best;
  }

  /** Cuts each of PARTS^3 small cubes by the plane that counts at its centre. */
  private parts(): void {
    const { planes, cut } = this;
    const { by } = cut;
    let share = 0;
    let area = 0;
    for (let c = 0; c < PARTS; c++)
      for (let b = 0; b < PARTS; b++)
        for (let a = 0; a < PARTS; a++) {
          const x = (a + 0.5) / PARTS - 0.5;
          const y = (b + 0.5) / PARTS - 0.5;
          const z = (c + 0.5) / PARTS - 0.5;
          const o = this.pick(x, y, z);
          by[1] = planes[o + 1];
          by[2] = planes[o + 2];
          by[3] = planes[o + 3];
          by[0] = PARTS * (planes[o] + by[1] * x + by[2] * y + by[3] * z);
          cut.plane();
          share += cut.share;
          area += cut.area;
        }
    cut.share = share / PARTS ** 3;
    cut.area = area / PARTS ** 2;
  }

  /** The cell as eight cubes of half the edge, each with the differences towards its own three neighbours. */
  private eighths(i: number, j: number, k: number): void {
    const { cut, nx, ny, nz } = this;
    const { by } = cut;
    const c = i + nx * (j + ny * k);
    const f = this.at(c);
    const xm = i > 0 ? this.at(c - 1) : Number.NaN;
    const xp = i < nx - 1 ? this.at(c + 1) : Number.NaN;
    const ym = j > 0 ? this.at(c - nx) : Number.NaN;
    const yp = j < ny - 1 ? this.at(c + nx) : Number.NaN;
    const zm = k > 0 ? this.at(c - nx * ny) : Number.NaN;
    const zp = k < nz - 1 ? this.at(c + nx * ny) : Number.NaN;
    const dx = [oneSided(f, xm, xp), oneSided(f, xp, xm)];
    const dy = [oneSided(f, ym, yp), oneSided(f, yp, ym)];
    const dz = [oneSided(f, zm, zp), oneSided(f, zp, zm)];
    let share = 0;
    let area = 0;
    for (let o = 0; o < 8; o++) {
      const sx = o & 1;
      const sy = (o >> 1) & 1;
      const sz = o >> 2;
      // Differences point outwards from the centre; the centre of an eighth lies a quarter of an edge out along each axis.
      by[0] = 2 * (f + (dx[sx] + dy[sy] + dz[sz]) / 4);
      by[1] = sx ? dx[1] : -dx[0];
      by[2] = sy ? dy[1] : -dy[0];
      by[3] = sz ? dz[1] : -dz[0];
      cut.plane();
      share += cut.share;
      area += cut.area;
    }
    cut.share = share / 8;
    cut.area = area / 4;
  }
}

/** Offsets of the 26 neighbours and the six beyond them, nearest first: three numbers each. */
const AROUND = Int8Array.from(
  [-2, -1, 0, 1, 2]
    .flatMap((z) => [-2, -1, 0, 1, 2].flatMap((y) => [-2, -1, 0, 1, 2].map((x) => [x, y, z])))
    .map((o) => ({ o, d: o[0] ** 2 + o[1] ** 2 + o[2] ** 2 }))
    .filter(({ d }) => d >= 1 && d <= 4)
    .sort((a, b) => a.d - b.d)
    .flatMap(({ o }) => o),
);

/** Difference from the centre to `to`, or the opposite of that to `from` where `to` is missing or not finite. */
function oneSided(f: number, to: number, from: number): number {
  const d = to - f;
  if (Number.isFinite(d)) return d;
  const back = f - from;
  return Number.isFinite(back) ? back : 0;
}

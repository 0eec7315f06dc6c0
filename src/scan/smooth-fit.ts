/**
 * The fits behind the smoothing of a cloud, on memory that is set up once: a plane and a paraboloid through a point's neighbours. Written out
 * by hand since they run once or twice a point: with a general matrix library the fit alone took ten times as long as all of it.
 */
export interface Scratch {
  /** Buckets looked into. */
  readonly slots: Int32Array;
  /** Offsets of the neighbours from the point, mm, and their squares. */
  readonly dx: Float64Array;
  readonly dy: Float64Array;
  readonly dz: Float64Array;
  readonly d2: Float64Array;
  /** Two directions in the plane and its normal. */
  readonly frame: Float64Array;
  /** Of z = a + bx + cy + dx2 + exy + fy2, x and y in reaches, z in mm. */
  readonly coefficients: Float64Array;
  readonly sums: Float64Array;
  readonly right: Float64Array;
}

const MOST_NEIGHBOURS = 512;
const TERMS = 6;

export const scratch = (): Scratch => ({
  slots: new Int32Array(1000),
  dx: new Float64Array(MOST_NEIGHBOURS),
  dy: new Float64Array(MOST_NEIGHBOURS),
  dz: new Float64Array(MOST_NEIGHBOURS),
  d2: new Float64Array(MOST_NEIGHBOURS),
  frame: new Float64Array(9),
  coefficients: new Float64Array(TERMS),
  sums: new Float64Array(TERMS * TERMS),
  right: new Float64Array(TERMS),
});

/** Weight of a neighbour: falls to zero at the reach, so that the fit changes smoothly from point to point. */
const weight = (d2: number, r2: number): number => Math.max(0, 1 - d2 / r2);

/**
 * Frame of the plane through the first `n` neighbours, weighted within `r`; false when they do not spread over a plane. The least
 * eigenvalue of their covariance in closed form (Smith, CACM 4(4), 1961), its vector from the cross products of the rows.
 */
export function planeOf({ dx, dy, dz, d2, frame }: Scratch, n: number, r: number): boolean {
  let [sum, mx, my, mz] = [0, 0, 0, 0];
  for (let q = 0; q < n; q++) {
    const w = weight(d2[q], r * r);
    sum += w;
    mx += w * dx[q];
    my += w * dy[q];
    mz += w * dz[q];
  }
  mx /= sum;
  my /= sum;
  mz /= sum;
  let [xx, xy, xz, yy, yz, zz] = [0, 0, 0, 0, 0, 0];
  for (let q = 0; q < n; q++) {
    const w = weight(d2[q], r * r) / sum;
    const [x, y, z] = [dx[q] - mx, dy[q] - my, dz[q] - mz];
    xx += w * x * x;
    xy += w * x * y;
    xz += w * x * z;
    yy += w * y * y;
    yz += w * y * z;
    zz += w * z * z;
  }
  const mean = (xx + yy + zz) / 3;
  const [ax, ay, az] = [xx - mean, yy - mean, zz - mean];
  const p = Math.sqrt((ax * ax + ay * ay + az * az + 2 * (xy * xy + xz * xz + yz * yz)) / 6);
  if (!(p > 0)) return false;
  const det = (ax * (ay * az - yz * yz) - xy * (xy * az - yz * xz) + xz * (xy * yz - ay * xz)) / p ** 3;
  const turn = Math.acos(Math.max(-1, Math.min(1, det / 2))) / 3;
  const most = mean + 2 * p * Math.cos(turn);
  const least = mean + 2 * p * Math.cos(turn + (2 * Math.PI) / 3);
  const middle = 3 * mean - most - least;
  // Points along a line, or scattered as a crumb: there is no surface. Variances, so the squares of the shares.
  if (middle < 0.04 * most || least > 0.16 * middle) return false;
  const [bx, by, bz] = [xx - least, yy - least, zz - least];
  // Any two rows of (covariance - least) span what is at right angles to the normal; the longest product is the surest.
  let best = 0;
  const take = (x: number, y: number, z: number): void => {
    const size = x * x + y * y + z * z;
    if (size <= best) return;
    best = size;
    const k = 1 / Math.sqrt(size);
    frame[6] = x * k;
    frame[7] = y * k;
    frame[8] = z * k;
  };
  take(xy * yz - xz * by, xz * xy - bx * yz, bx * by - xy * xy);
  take(xy * bz - xz * yz, xz * xz - bx * bz, bx * yz - xy * xz);
  take(by * bz - yz * yz, yz * xz - xy * bz, xy * yz - by * xz);
  if (!(best > 0)) return false;
  const [nx, ny, nz] = [frame[6], frame[7], frame[8]];
  const [ux, uy, uz] = Math.abs(nx) < 0.6 ? [0, nz, -ny] : [-nz, 0, nx];
  const u = Math.sqrt(ux * ux + uy * uy + uz * uz);
  frame[0] = ux / u;
  frame[1] = uy / u;
  frame[2] = uz / u;
  frame[3] = ny * frame[2] - nz * frame[1];
  frame[4] = nz * frame[0] - nx * frame[2];
  frame[5] = nx * frame[1] - ny * frame[0];
  return true;
}

/**
 * Coefficients of the paraboloid over that plane, by weighted normal equations and Cholesky's factors; returns the root mean square
 * distance of the neighbours from it, mm (NaN when the equations do not settle it).
 */
export function paraboloid(s: Scratch, n: number, r: number): number {
  const { dx, dy, dz, d2, frame: f, coefficients, right } = s;
  const [ux, uy, uz, vx, vy, vz, nx, ny, nz] = f;
  // Moments of x^i y^j, all that the normal equations hold; twice as fast as adding up their 21 products.
  let [m00, m10, m01, m20, m11, m02, m30, m21, m12, m03] = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
  let [m40, m31, m22, m13, m04] = [0, 0, 0, 0, 0];
  let [r0, r1, r2, r3, r4, r5, squares] = [0, 0, 0, 0, 0, 0, 0];
  for (let q = 0; q < n; q++) {
    const w = weight(d2[q], r * r);
    const z = nx * dx[q] + ny * dy[q] + nz * dz[q];
    const x = (ux * dx[q] + uy * dy[q] + uz * dz[q]) / r;
    const y = (vx * dx[q] + vy * dy[q] + vz * dz[q]) / r;
    const [wx, wy] = [w * x, w * y];
    const [wxx, wxy, wyy] = [wx * x, wx * y, wy * y];
    m00 += w;
    m10 += wx;
    m01 += wy;
    m20 += wxx;
    m11 += wxy;
    m02 += wyy;
    m30 += wxx * x;
    m21 += wxx * y;
    m12 += wyy * x;
    m03 += wyy * y;
    m40 += wxx * x * x;
    m31 += wxx * x * y;
    m22 += wxx * y * y;
    m13 += wxy * y * y;
    m04 += wyy * y * y;
    r0 += w * z;
    r1 += wx * z;
    r2 += wy * z;
    r3 += wxx * z;
    r4 += wxy * z;
    r5 += wyy * z;
    squares += w * z * z;
  }
  const rows = [m00, m10, m20, m01, m11, m02, m20, m30, m21, m40, m11, m21, m12, m31, m22, m02, m12, m03, m22, m13, m04];
  for (let i = 0, k = 0; i < TERMS; i++) for (let j = 0; j <= i; j++) s.sums[i * TERMS + j] = rows[k++];
  right.set([r0, r1, r2, r3, r4, r5]);
  coefficients.set(right);
  if (!cholesky(s.sums, coefficients)) return Number.NaN;
  // At the solution the squares left are those of z less what the terms explain.
  for (let i = 0; i < TERMS; i++) squares -= coefficients[i] * right[i];
  return Math.sqrt((Math.max(0, squares) / m00) * (n / (n - TERMS)));
}

/** Solves the symmetric equations in place: lower half of `a`, right side in `b`. False when they are singular. */
function cholesky(a: Float64Array, b: Float64Array): boolean {
  for (let i = 0; i < TERMS; i++)
    for (let j = 0; j <= i; j++) {
      let v = a[i * TERMS + j];
      for (let k = 0; k < j; k++) v -= a[i * TERMS + k] * a[j * TERMS + k];
      if (i !== j) a[i * TERMS + j] = v / a[j * TERMS + j];
      else if (v > 1e-9) a[i * TERMS + i] = Math.sqrt(v);
      else return false;
    }
  for (let i = 0; i < TERMS; i++) {
    for (let k = 0; k < i; k++) b[i] -= a[i * TERMS + k] * b[k];
    b[i] /= a[i * TERMS + i];
  }
  for (let i = TERMS - 1; i >= 0; i--) {
    for (let k = i + 1; k < TERMS; k++) b[i] -= a[k * TERMS + i] * b[k];
    b[i] /= a[i * TERMS + i];
  }
  return true;
}

/** Directions with less than this share of the largest eigenvalue are left at the mass point. */
const TRUNCATE = 0.03;
const SWEEPS = 6;

/**
 * The point `out` that minimises the summed squared distances to `n` planes (unit `normals`, `points`), nearest to `mass` where the
 * planes leave it free: eigenvalues of the normal matrix by Jacobi rotations, small ones dropped.
 */
export function solveQef(points: Float64Array, normals: Float64Array, n: number, mass: Float64Array, out: Float64Array): void {
  let xx = 0;
  let xy = 0;
  let xz = 0;
  let yy = 0;
  let yz = 0;
  let zz = 0;
  let bx = 0;
  let by = 0;
  let bz = 0;
  for (let p = 0; p < 3 * n; p += 3) {
    const x = normals[p];
    const y = normals[p + 1];
    const z = normals[p + 2];
    const d = x * (points[p] - mass[0]) + y * (points[p + 1] - mass[1]) + z * (points[p + 2] - mass[2]);
    xx += x * x;
    xy += x * y;
    xz += x * z;
    yy += y * y;
    yz += y * z;
    zz += z * z;
    bx += x * d;
    by += y * d;
    bz += z * d;
  }
  const m = [xx, xy, xz, xy, yy, yz, xz, yz, zz];
  const v = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  for (let s = 0; s < SWEEPS; s++) {
    rotate(m, v, 0, 1);
    rotate(m, v, 0, 2);
    rotate(m, v, 1, 2);
  }
  const least = TRUNCATE * Math.max(m[0], m[4], m[8]);
  out.set(mass);
  for (let e = 0; e < 3; e++) {
    const w = m[4 * e];
    if (!(w > least)) continue;
    const k = (v[e] * bx + v[3 + e] * by + v[6 + e] * bz) / w;
    out[0] += k * v[e];
    out[1] += k * v[3 + e];
    out[2] += k * v[6 + e];
  }
}

/** One Jacobi rotation that clears m[p][q]; columns of v are the eigenvectors. */
function rotate(m: number[], v: number[], p: number, q: number): void {
  const off = m[3 * p + q];
  if (Math.abs(off) < 1e-15) return;
  const theta = (m[4 * q] - m[4 * p]) / (2 * off);
  const t = (theta < 0 ? -1 : 1) / (Math.abs(theta) + Math.sqrt(theta * theta + 1));
  const c = 1 / Math.sqrt(t * t + 1);
  const s = t * c;
  for (let k = 0; k < 3; k++) {
    const a = m[3 * k + p];
    const b = m[3 * k + q];
    m[3 * k + p] = c * a - s * b;
    m[3 * k + q] = s * a + c * b;
  }
  for (let k = 0; k < 3; k++) {
    const a = m[3 * p + k];
    const b = m[3 * q + k];
    m[3 * p + k] = c * a - s * b;
    m[3 * q + k] = s * a + c * b;
    const x = v[3 * k + p];
    const y = v[3 * k + q];
    v[3 * k + p] = c * x - s * y;
    v[3 * k + q] = s * x + c * y;
  }
}

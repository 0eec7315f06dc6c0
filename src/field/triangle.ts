/**
 * Closest point of triangle number `t` to the point `p`: left in `foot`, with the square of the distance behind it (a number that is returned
 * becomes an object on the heap: a gigabyte of them in the demo's run). `corners` holds nine numbers a triangle. Region tests after Ericson, Real-Time Collision Detection, 2005, section 5.1.5;
 * a triangle without area is treated as its longest edge's segments, so nothing divides by zero.
 */
export function closestOnTriangle(corners: Float32Array, t: number, p: Float64Array, foot: Float64Array): void {
  const o = t * 9;
  const ax = corners[o];
  const ay = corners[o + 1];
  const az = corners[o + 2];
  const abx = corners[o + 3] - ax;
  const aby = corners[o + 4] - ay;
  const abz = corners[o + 5] - az;
  const acx = corners[o + 6] - ax;
  const acy = corners[o + 7] - ay;
  const acz = corners[o + 8] - az;
  const px = p[0] - ax;
  const py = p[1] - ay;
  const pz = p[2] - az;
  const a = abx * abx + aby * aby + abz * abz;
  const b = abx * acx + aby * acy + abz * acz;
  const c = acx * acx + acy * acy + acz * acz;
  const d1 = abx * px + aby * py + abz * pz;
  const d2 = acx * px + acy * py + acz * pz;
  const det = a * c - b * b;
  const u = c * d1 - b * d2;
  const v = a * d2 - b * d1;
  let s: number;
  let r: number;
  if (u >= 0 && v >= 0 && u + v <= det && det > 1e-10 * a * c) {
    s = u / det;
    r = v / det;
  } else {
    // Outside the prism: the nearest of the three edges that face the point.
    s = a > 0 ? Math.min(Math.max(d1 / a, 0), 1) : 0;
    r = 0;
    let ex = px - s * abx;
    let ey = py - s * aby;
    let ez = pz - s * abz;
    let best = ex * ex + ey * ey + ez * ez;
    const r2 = c > 0 ? Math.min(Math.max(d2 / c, 0), 1) : 0;
    ex = px - r2 * acx;
    ey = py - r2 * acy;
    ez = pz - r2 * acz;
    let e2 = ex * ex + ey * ey + ez * ez;
    if (e2 < best) {
      best = e2;
      s = 0;
      r = r2;
    }
    const bc = a - 2 * b + c;
    const w = bc > 0 ? Math.min(Math.max((a - b - d1 + d2) / bc, 0), 1) : 0;
    ex = px - abx - w * (acx - abx);
    ey = py - aby - w * (acy - aby);
    ez = pz - abz - w * (acz - abz);
    e2 = ex * ex + ey * ey + ez * ez;
    if (e2 < best) {
      s = 1 - w;
      r = w;
    }
  }
  const fx = s * abx + r * acx;
  const fy = s * aby + r * acy;
  const fz = s * abz + r * acz;
  foot[0] = ax + fx;
  foot[1] = ay + fy;
  foot[2] = az + fz;
  foot[3] = (px - fx) * (px - fx) + (py - fy) * (py - fy) + (pz - fz) * (pz - fz);
}

import type { Cloud } from '../core/cloud.ts';
import { allocateF32, type Context, checkCancelled, slabs, type Task } from '../core/context.ts';
import type { Mesh } from '../core/mesh.ts';
import { boxOfPositions } from '../core/mesh.ts';
import { random } from '../core/random.ts';
import { surfaceNoise } from './noise.ts';
import { cloudAsMesh, medianSpacing } from './points.ts';
import { paraboloid, planeOf, type Scratch, scratch } from './smooth-fit.ts';

/**
 * Points of a cloud as a surface. The nearest of several noisy points reads low (of ten by 1.5 times their noise: order statistics of
 * the normal distribution), and a ball of half the spacing about each makes it worse: so each point is moved onto a paraboloid fitted to
 * its neighbours (moving least squares: Levin, The approximation power of moving least squares, Math. Comp. 67, 1998; Alexa et al.,
 * Computing and rendering point set surfaces, IEEE TVCG 9(1), 2003), and becomes a small triangle on it that reaches to the next points. A paraboloid and
 * not the plane alone, since on a tube of 14 mm the mean of what lies within 3 mm is 0.08 mm below the surface. A point whose
 * neighbours make no surface (a sharp edge, a crumb, two sheets close together) stays where it is, as an octahedron of half the
 * local spacing.
 */
export interface Smoothed {
  readonly mesh: Mesh;
  /** Mean distance between neighbours, mm: the root of the area that a point has to itself. */
  readonly spacing: number;
  /** Root mean square roughness of the points as they came, mm; NaN when there are too few. */
  readonly noise: number;
  /** Share of the points that were moved onto a surface. */
  readonly share: number;
  /** How far the surface may still be off, mm: see `leftOver`. */
  readonly off: number;
}

/** Neighbours that a paraboloid is laid through; between these shares of them the reach is left as it is. */
const WANTED = 32;
const FEWEST = 0.5;
const MOST = 2;
/** With fewer than these there is no telling noise from shape: six are the paraboloid's own. */
const LEAST = 12;
/** A second try, closer by, for points near an edge. */
const CLOSER = 0.7;
/** Corner of a point's triangle from its middle, in spacings: neighbours' triangles overlap, gaps between scattered points close. */
const CORNER = 1.5;
/** Neighbours that lie farther off the paraboloid than this many times the noise, and this share of the spacing, make no surface. */
const GATE = 3;
const GATE_SPACING = 0.05;

/** How far apart the points of a cloud are, mm. */
export interface Spacing {
  /** See Smoothed. */
  readonly spacing: number;
  /** Radius that holds WANTED neighbours; null where few places have so many near by. */
  readonly least: number | null;
}

/** Measures it; of few points the median distance to the nearest. */
export function spacingOf(cloud: Cloud): Spacing {
  const p = cloud.positions;
  const n = p.length / 3;
  const nearest = medianSpacing(cloud);
  const first = nearest > 0 ? nearest : rootArea(p, n);
  const least = n < WANTED || !(first > 0) ? Number.NaN : reachOf(p, first);
  return least > 0 ? { spacing: least * Math.sqrt(Math.PI / WANTED), least } : { spacing: first, least: null };
}

/** Makes the surface. Fewer points than a paraboloid needs stay small bodies of their own. */
export async function smoothCloud(cloud: Cloud, context: Context, measured: Spacing = spacingOf(cloud)): Promise<Smoothed> {
  const { spacing, least } = measured;
  const p = cloud.positions;
  const n = p.length / 3;
  if (least === null) {
    const all = new Uint8Array(n);
    return { mesh: assemble(cloud, new Float32Array(n * 9), all, spacing / 2), spacing, noise: Number.NaN, share: 0, off: spacing / 2 };
  }
  const noise = surfaceNoise(cloudAsMesh(cloud), spacing * 1.2);
  const reach = Number.isFinite(noise) ? Math.max(least, OVER_NOISE * noise) : least;
  const wanted = WANTED * (reach / least) ** 2;
  const gate = (Number.isFinite(noise) ? GATE * noise : 0.1 * spacing) + GATE_SPACING * spacing;
  const points = allocateF32(context.pool, p.length);
  points.set(p);
  const corners = allocateF32(context.pool, n * 9);
  const good = new Uint8Array(context.pool.allocate(n));
  const buckets = bucketsOf(points, reach);
  const parts = slabs(n, n < 20_000 ? 1 : context.pool.size * 8);
  const args = parts.map(({ from, to }): Fit => ({ points, ...buckets, reach, wanted, gate, corners, good, from, to }));
  await context.pool.map(fitTask, args);
  checkCancelled(context);
  let moved = 0;
  for (const g of good) moved += g;
  const share = moved / n;
  return {
    mesh: assemble(cloud, corners, good, spacing / 2),
    spacing,
    noise,
    share,
    off: leftOver(noise * (least / reach), spacing, share),
  };
}

/** A reach must be this many times the noise, or the neighbours look like a crumb and not like a surface. */
const OVER_NOISE = 12;

/**
 * What is left after smoothing, mm. A point fitted with WANTED neighbours keeps 0.4 of its noise (measured on planes and tubes: 0.36 to 0.48), and the
 * nearest of about four places that are so far apart that they share no neighbours reads low by 1.03 of that. Points that found no
 * surface stand out by half the spacing.
 */
function leftOver(noise: number, spacing: number, share: number): number {
  const left = Number.isFinite(noise) ? 1.03 * 0.4 * noise : 0;
  return share * left + ((1 - share) * spacing) / 2;
}

/** Spacing of so many points spread over the faces of their box, mm: where most of them fall together. */
function rootArea(p: Float32Array, n: number): number {
  const { min, max } = boxOfPositions([0, 0, 0], p);
  const [a, b, c] = [0, 1, 2].map((k) => Math.max(0, max[k] - min[k]));
  return Math.sqrt((2 * (a * b + b * c + c * a)) / Math.max(1, n));
}

const PLACES = 300;

/** Radius that holds WANTED neighbours: the median over places spread over the cloud, mm; NaN when few places have so many near by. */
function reachOf(points: Float32Array, first: number): number {
  const rng = random(5);
  const n = points.length / 3;
  const buckets = bucketsOf(points, 4 * first);
  const s = scratch();
  const found: number[] = [];
  for (let k = 0; k < PLACES; k++) {
    const v = rng.below(n);
    for (let r = 3 * first; r <= 24 * first; r *= 2) {
      const count = gather({ points, ...buckets }, v, r, s);
      if (count < WANTED && count < s.d2.length) continue;
      found.push(Math.sqrt(s.d2.slice(0, count).sort()[WANTED - 1]));
      break;
    }
  }
  found.sort((a, b) => a - b);
  return found.length > PLACES / 2 ? found[Math.floor(found.length / 2)] : Number.NaN;
}

interface Buckets {
  /** Side of a bucket's cube, mm. */
  readonly side: number;
  readonly mask: number;
  /** Where each bucket's points begin in `member`. */
  readonly start: Int32Array;
  readonly member: Int32Array;
}

const hash = (i: number, j: number, k: number, mask: number): number => {
  const h = (Math.imul(i, 0x9e3779b1) ^ Math.imul(j, 0x85ebca6b) ^ Math.imul(k, 0xc2b2ae35)) >>> 0;
  return (h ^ (h >>> 15)) & mask;
};

/** Points sorted into cubes by a hash; points of several cubes may share a bucket. */
function bucketsOf(p: Float32Array, side: number): Buckets {
  const n = p.length / 3;
  let size = 1024;
  while (size < n) size *= 2;
  const mask = size - 1;
  const slot = new Int32Array(n);
  const start = new Int32Array(size + 2);
  for (let v = 0; v < n; v++) {
    slot[v] = hash(Math.floor(p[v * 3] / side), Math.floor(p[v * 3 + 1] / side), Math.floor(p[v * 3 + 2] / side), mask);
    start[slot[v] + 2]++;
  }
  for (let s = 2; s < size + 2; s++) start[s] += start[s - 1];
  const member = new Int32Array(n);
  for (let v = 0; v < n; v++) member[start[slot[v] + 1]++] = v;
  return { side, mask, start, member };
}

/** Offsets from point `v` of what lies within `r` of it, itself included, into `s`; returns how many (no more than `s` holds). */
function gather({ points: p, side, mask, start, member }: Buckets & { points: Float32Array }, v: number, r: number, s: Scratch): number {
  const [x, y, z] = [p[v * 3], p[v * 3 + 1], p[v * 3 + 2]];
  const { slots, dx, dy, dz, d2 } = s;
  const to = (c: number): number => Math.floor((c + r) / side);
  let seen = 0;
  let n = 0;
  for (let k = Math.floor((z - r) / side); k <= to(z); k++)
    for (let j = Math.floor((y - r) / side); j <= to(y); j++)
      for (let i = Math.floor((x - r) / side); i <= to(x); i++) {
        const h = hash(i, j, k, mask);
        // Two cubes that share a bucket: their points count once.
        let again = false;
        for (let q = 0; q < seen && !again; q++) again = slots[q] === h;
        if (again || seen >= slots.length) continue;
        slots[seen++] = h;
        for (let q = start[h]; q < start[h + 1]; q++) {
          const w = member[q] * 3;
          const [a, b, c] = [p[w] - x, p[w + 1] - y, p[w + 2] - z];
          const d = a * a + b * b + c * c;
          if (d > r * r) continue;
          if (n === d2.length) return n;
          dx[n] = a;
          dy[n] = b;
          dz[n] = c;
          d2[n++] = d;
        }
      }
  return n;
}

interface Fit extends Buckets {
  readonly points: Float32Array;
  readonly reach: number;
  /** Neighbours that are looked for within it. */
  readonly wanted: number;
  readonly gate: number;
  /** Out: nine numbers a point, and whether it found a surface. */
  readonly corners: Float32Array;
  readonly good: Uint8Array;
  /** Range of `member`. */
  readonly from: number;
  readonly to: number;
}

function fit(a: Fit): null {
  const s = scratch();
  for (let m = a.from; m < a.to; m++) {
    const v = a.member[m];
    let r = a.reach;
    let n = gather(a, v, r, s);
    if (n < FEWEST * a.wanted) r *= 2;
    else if (n > MOST * a.wanted) r *= Math.sqrt(a.wanted / n);
    if (r !== a.reach) n = gather(a, v, r, s);
    if (fitOne(a, s, { v, n, r })) continue;
    r *= CLOSER;
    n = gather(a, v, r, s);
    fitOne(a, s, { v, n, r });
  }
  return null;
}

export const fitTask: Task<Fit, null> = { name: 'smooth.fit', run: fit };

/** Lays the paraboloid through the `n` neighbours within `r`; writes the point's triangle and returns whether it found a surface. */
function fitOne({ points, corners, good, gate }: Fit, s: Scratch, { v, n, r }: { v: number; n: number; r: number }): boolean {
  if (n < LEAST || !planeOf(s, n, r)) return false;
  if (!(paraboloid(s, n, r) <= gate)) return false;
  const { frame: f, coefficients: c } = s;
  const arm = Math.min(CORNER * r * Math.sqrt(Math.PI / n), 0.6 * r);
  for (let k = 0; k < 3; k++) {
    const [x, y] = [(Math.cos((2 * Math.PI * k) / 3) * arm) / r, (Math.sin((2 * Math.PI * k) / 3) * arm) / r];
    const z = c[0] + c[1] * x + c[2] * y + c[3] * x * x + c[4] * x * y + c[5] * y * y;
    for (let b = 0; b < 3; b++) corners[v * 9 + k * 3 + b] = points[v * 3 + b] + x * r * f[b] + y * r * f[3 + b] + z * f[6 + b];
  }
  good[v] = 1;
  return true;
}

/** Corners and faces of an octahedron: x+, x-, y+, y-, z+, z-. */
const OCTAHEDRON = [0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5];

function assemble({ origin, positions }: Cloud, corners: Float32Array, good: Uint8Array, radius: number): Mesh {
  let moved = 0;
  for (const g of good) moved += g;
  const left = good.length - moved;
  const out = new Float32Array(moved * 9 + left * 18);
  const indices = new Uint32Array(moved * 3 + left * 24);
  let v = 0;
  let t = 0;
  for (let q = 0; q < good.length; q++) {
    if (good[q]) {
      out.set(corners.subarray(q * 9, q * 9 + 9), v * 3);
      for (let k = 0; k < 3; k++) indices[t++] = v++;
      continue;
    }
    for (const i of OCTAHEDRON) indices[t++] = v + i;
    for (let k = 0; k < 6; k++, v++)
      for (let a = 0; a < 3; a++) out[v * 3 + a] = positions[q * 3 + a] + (a === k >> 1 ? (k & 1 ? -radius : radius) : 0);
  }
  return { origin, positions: out, indices };
}

import { EigenvalueDecomposition, LuDecomposition, Matrix } from 'ml-matrix';
import { type Context, checkCancelled } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import { add, distance, dot, frameOf, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import type { Rigid } from './place.ts';
import { LatticePartner, Pairs } from './place-pairs.ts';
import { middleOf, nearestLattice, type Samples, surfaceSampler } from './place-samples.ts';
import { SurfaceTree } from './place-tree.ts';

/**
 * The plane in which a scan is most nearly its own mirror image: points of it are reflected and the plane is moved (three unknowns) until they
 * lie on the scan, point to plane, coarse to fine, with robust weights, so that what stands on one side only (an exhaust, a dipstick) does not pull.
 *
 * 1. rough: from normals spread over the half-sphere (or a cone about a hint) and two offsets each, a few hundred points by
 *    look-up in a lattice, while the distance that still counts shrinks; the planes under which most points find a partner go on.
 * 2. fine: some thousand points, exact nearest points on the triangles, Tukey's biweight on the residuals' own spread.
 */
export interface SymmetryOptions {
  /** About where the plane's normal points, and how far off it may be, degrees. Default: anywhere. */
  readonly normal?: Vec3;
  readonly within?: number;
  /** Name of the scan, for messages. */
  readonly where?: string;
}

export interface Symmetry {
  /** Unit normal, to the side of the hint. */
  readonly normal: Vec3;
  /** A point of the plane, mm: the foot of the middle of the points that have a partner. */
  readonly at: Vec3;
  /** Distance of mirrored points from the scan, mm, of those that lie on it. */
  readonly median: number;
  readonly p95: number;
  /** Share of the scan's area that has its mirror image in the scan. */
  readonly share: number;
  /** Expected error of the normal, degrees, and of the plane at `at`, mm (rms), residuals taken as independent: a lower bound. */
  readonly errorTurn: number;
  readonly errorShift: number;
  readonly doubts: readonly string[];
}

/** normal . p = offset, p about the mesh's origin. */
interface Plane {
  readonly normal: Vec3;
  readonly offset: number;
}

const FIXED = 60_000;
const ROUGH = 300;
const MIDDLE = 3000;
const CLOSE = 1500;
const FINE = 8000;
/** Planes that are tried with exact distances. */
const CANDIDATES = 4;
const CLOSE_ROUNDS = 8;
const ROUNDS = 25;
/** Normals tried over the half-sphere, about 10 degrees apart. */
const NORMALS = 180;
const WIDTHS = [60, 45, 34, 26, 20, 15, 11, 8, 6, 4];
/** Under this share of mirrored area there is no symmetry to speak of; under the other it is a doubt. */
const LEAST_SHARE = 0.25;
const DOUBTED_SHARE = 0.5;
/** Smallest eigenvalue of the mean normal matrix below which the plane slides or turns freely. */
const SLIDES = 1e-4;

/** Throws a Fault when the scan has no plane of symmetry, or one that can be turned or shifted freely (a ball, a long tube). */
export function symmetryPlane(mesh: Mesh, options: SymmetryOptions, context: Context): Symmetry {
  const sampled = surfaceSampler(mesh);
  const target = new LatticePartner(nearestLattice(sampled(FIXED, 1), 60, 3));
  checkCancelled(context);
  const rough = roughPlanes(sampled(ROUGH, 2), target, options);
  const middle = sampled(MIDDLE, 3);
  const found = rough
    .map((p) => drawn(middle, target, p, [8, 6, 4, 3, 2.5, 2, 2]))
    .filter((p) => allowed(p, options))
    .map((plane) => ({ plane, score: shareOn(middle, target, plane, 2.5) }))
    .sort((a, b) => b.score - a.score);
  checkCancelled(context);
  if (found.length === 0) throw noSymmetry(0, options.where);
  const tree = new SurfaceTree(mesh);
  // Where little holds the plane sideways (a sheet with low rims) the look-up cannot tell the candidates apart; exact distances can.
  const close = sampled(CLOSE, 5);
  const tried = found.slice(0, CANDIDATES).map((f) => fineFit(close, tree, f.plane, CLOSE_ROUNDS));
  const best = tried.reduce((a, b) => (b.share > a.share + 0.005 ? b : a));
  const fine = fineFit(sampled(FINE, 4), tree, best.plane, ROUNDS);
  context.progress('placing', 1);
  const rival = found.find((f) => f.score > 0.97 * found[0].score && apart(f.plane, found[0].plane));
  return report(fine, mesh.origin, { options, rival: rival?.plane });
}

const cosineOf = (degrees: number): number => Math.cos((degrees * Math.PI) / 180);
const allowed = (p: Plane, { normal, within = 30 }: SymmetryOptions): boolean =>
  !normal || Math.abs(dot(p.normal, normal)) >= cosineOf(within);
/** More than 10 degrees from each other; parallel planes of one scan cannot both be good. */
const apart = (a: Plane, b: Plane): boolean => Math.abs(dot(a.normal, b.normal)) < cosineOf(10);

/** The best few planes of those tried. */
function roughPlanes(source: Samples, target: LatticePartner, options: SymmetryOptions): Plane[] {
  const found: { plane: Plane; score: number }[] = [];
  const centres = [middleOf(source), middleOfBox(source)];
  for (const normal of normalsTried(options))
    for (const centre of centres) {
      const plane = drawn(source, target, { normal, offset: dot(normal, centre) }, WIDTHS);
      found.push({ plane, score: shareOn(source, target, plane, 5) });
    }
  found.sort((a, b) => b.score - a.score);
  const best: Plane[] = [];
  for (const { plane } of found) {
    if (best.length === 8) break;
    if (!best.some((b) => same(b, plane))) best.push(plane);
  }
  return best;
}

const same = (a: Plane, b: Plane): boolean => {
  const c = dot(a.normal, b.normal);
  return Math.abs(c) > cosineOf(1) && Math.abs(a.offset - Math.sign(c) * b.offset) < 3;
};

/** Even over the half-sphere (a spiral at the golden angle), or over the cone about the hint, at the same density. */
function normalsTried({ normal, within = 30 }: SymmetryOptions): Vec3[] {
  const golden = Math.PI * (3 - Math.sqrt(5));
  const axis: Vec3 = normal ?? [0, 0, 1];
  const [u, v] = frameOf(axis);
  const lowest = normal ? cosineOf(within) : 0;
  const count = Math.max(20, Math.ceil(NORMALS * (1 - lowest)));
  return Array.from({ length: count }, (_, i): Vec3 => {
    const z = 1 - ((i + 0.5) / count) * (1 - lowest);
    const s = Math.sqrt(1 - z * z);
    return add(scale(axis, z), add(scale(u, s * Math.cos(golden * i)), scale(v, s * Math.sin(golden * i))));
  });
}

function middleOfBox({ points, count }: Samples): Vec3 {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < count * 3; i++) {
    low[i % 3] = Math.min(low[i % 3], points[i]);
    high[i % 3] = Math.max(high[i % 3], points[i]);
  }
  return [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2];
}

/**
 * One Gauss-Newton step for the plane. A point p, s = m . p - d from it, has its image at q = p - 2 s m. With the normal moved to m + a u + b v
 * and the offset to d + c the image moves by -2 ((a u + b v) . p - c) m - 2 s (a u + b v); positions are about a point of the plane.
 */
class MirrorStep {
  private readonly m: Vec3;
  private readonly u: Vec3;
  private readonly v: Vec3;
  private readonly a = new Float64Array(9);
  private readonly b = new Float64Array(3);
  /** The same from one normal of a pair times the other: their noise is independent, so it does not look like a hold. */
  private readonly held = new Float64Array(9);
  private readonly row = new Float64Array(3);
  private readonly own = new Float64Array(3);
  private readonly about: Vec3;
  weight = 0;

  constructor(plane: Plane, about: Vec3) {
    this.m = plane.normal;
    [this.u, this.v] = frameOf(plane.normal);
    this.about = sub(about, scale(plane.normal, dot(about, plane.normal) - plane.offset));
  }

  /** Pair k: its sample, its image's partner's normal, and the residual, with a weight. */
  add({ points }: Samples, pairs: Pairs, k: number, w: number): void {
    const { about, row, own, a, b, held } = this;
    const i = 3 * pairs.index[k];
    const p: Vec3 = [points[i] - about[0], points[i + 1] - about[1], points[i + 2] - about[2]];
    this.fill(row, p, pairs.n, 3 * k);
    this.fill(own, p, pairs.m, 3 * k);
    for (let j = 0; j < 3; j++) {
      for (let l = j; l < 3; l++) {
        a[3 * j + l] += w * row[j] * row[l];
        held[3 * j + l] += (w * (row[j] * own[l] + own[j] * row[l])) / 2;
      }
      b[j] -= w * row[j] * pairs.r[k];
    }
    this.weight += w;
  }

  /** How the residual changes with a, b and c when the image's partner has the normal at n[o]. */
  private fill(row: Float64Array, p: Vec3, n: Float64Array, o: number): void {
    const { m, u, v } = this;
    const s = dot(m, p);
    const nm = n[o] * m[0] + n[o + 1] * m[1] + n[o + 2] * m[2];
    row[0] = -2 * (dot(u, p) * nm + s * (n[o] * u[0] + n[o + 1] * u[1] + n[o + 2] * u[2]));
    row[1] = -2 * (dot(v, p) * nm + s * (n[o] * v[0] + n[o + 1] * v[1] + n[o + 2] * v[2]));
    row[2] = 2 * nm;
  }

  private static matrix(a: Float64Array): Matrix {
    return new Matrix([
      [a[0], a[1], a[2]],
      [a[1], a[4], a[5]],
      [a[2], a[5], a[8]],
    ]);
  }

  solve(damping: number): Plane {
    const m = MirrorStep.matrix(this.a);
    const turn = (m.get(0, 0) + m.get(1, 1)) / 2;
    for (let i = 0; i < 3; i++) m.set(i, i, m.get(i, i) + damping * (i < 2 ? turn : m.get(2, 2)) + 1e-12);
    const [p, q, c] = new LuDecomposition(m).solve(Matrix.columnVector([...this.b])).to1DArray();
    const normal = normalize(add(this.m, add(scale(this.u, p), scale(this.v, q))));
    // The offset was taken about a point of the plane.
    return { normal, offset: dot(normal, this.about) + c };
  }

  /** Smallest eigenvalue of the mean matrix, turns taken per `size` mm, and the expected errors for residuals of `sigma` mm. */
  strength(size: number, sigma: number): { weakest: number; turn: number; shift: number } {
    const scaleOf = (i: number): number => (i < 2 ? 1 / size : 1);
    const m = MirrorStep.matrix(this.held);
    for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) m.set(i, j, m.get(i, j) * scaleOf(i) * scaleOf(j));
    const eigen = new EigenvalueDecomposition(m, { assumeSymmetric: true });
    const values = eigen.realEigenvalues;
    const variance = [0, 0, 0];
    for (let j = 0; j < 3; j++)
      for (let i = 0; i < 3; i++) variance[i] += (sigma * eigen.eigenvectorMatrix.get(i, j)) ** 2 / Math.max(values[j], 1e-12);
    const turn = (Math.sqrt(variance[0] + variance[1]) / size) * (180 / Math.PI);
    // The image of a point moves by twice what the plane does, so 4 is a whole.
    return { weakest: Math.min(...values) / Math.max(4 * this.weight, 1e-12), turn, shift: Math.sqrt(variance[2]) };
  }
}

/** The mirror image as a map: improper rows, so no placing. */
const imageBy = ({ normal: m, offset }: Plane): Rigid => ({
  rows: [
    [1 - 2 * m[0] * m[0], -2 * m[0] * m[1], -2 * m[0] * m[2]],
    [-2 * m[1] * m[0], 1 - 2 * m[1] * m[1], -2 * m[1] * m[2]],
    [-2 * m[2] * m[0], -2 * m[2] * m[1], 1 - 2 * m[2] * m[2]],
  ],
  shift: scale(m, 2 * offset),
});

/** One step for each width, mm, beyond which a point hardly counts (Geman-McClure weight). */
function drawn(source: Samples, target: LatticePartner, start: Plane, widths: readonly number[]): Plane {
  let plane = start;
  const pairs = new Pairs(source.count);
  const centre = middleOf(source);
  for (const width of widths) {
    const step = new MirrorStep(plane, centre);
    pairs.collect(source, imageBy(plane), target, Infinity);
    for (let k = 0; k < pairs.count; k++) step.add(source, pairs, k, 1 / (1 + pairs.d2[k] / (width * width)) ** 2);
    if (step.weight < 3) return plane;
    plane = step.solve(1e-3);
  }
  return plane;
}

/** Share of the points whose images lie on the scan, to about `width` mm. */
function shareOn(source: Samples, target: LatticePartner, plane: Plane, width: number): number {
  const pairs = new Pairs(source.count);
  pairs.collect(source, imageBy(plane), target, Infinity);
  return pairs.score(width, width + 2 * target.cell, source.count);
}

interface Fine extends Pick<Symmetry, 'median' | 'p95' | 'share' | 'errorTurn' | 'errorShift'> {
  readonly plane: Plane;
  /** Middle of the points that have a partner, mm about the mesh's origin. */
  readonly centre: Vec3;
  readonly weakest: number;
}

function fineFit(source: Samples, tree: SurfaceTree, start: Plane, rounds: number): Fine {
  let plane = start;
  let limit = 4;
  const pairs = new Pairs(source.count);
  let found: Fine = { plane, centre: middleOf(source), median: 0, p95: 0, share: 0, errorTurn: 0, errorShift: 0, weakest: 0 };
  for (let round = 0; round < rounds; round++) {
    pairs.collect(source, imageBy(plane), tree, limit);
    pairs.dropAside(limit / 2);
    const { sigma, cut } = pairs.trim();
    if (pairs.count < 12) break;
    const centre = middleOfPairs(source, pairs);
    const step = new MirrorStep(plane, centre);
    let spread = 0;
    for (let k = 0; k < pairs.count; k++) {
      step.add(source, pairs, k, (1 - (pairs.r[k] / cut) ** 2) ** 2);
      for (let a = 0; a < 3; a++) spread += (source.points[3 * pairs.index[k] + a] - centre[a]) ** 2;
    }
    const size = Math.max(1, Math.sqrt(spread / pairs.count));
    const { weakest, turn, shift } = step.strength(size, sigma);
    const about = { median: pairs.size(0.5), p95: pairs.size(0.95), share: pairs.count / source.count };
    const next = step.solve(1e-9);
    found = { plane: next, centre, ...about, errorTurn: turn, errorShift: shift, weakest };
    // What is free only wanders.
    if (round >= CLOSE_ROUNDS && weakest < SLIDES) break;
    const moved =
      size * distance(next.normal, plane.normal) +
      Math.abs(dot(next.normal, centre) - next.offset - dot(plane.normal, centre) + plane.offset);
    plane = next;
    limit = Math.max(0.6, Math.min(limit * 0.75, 3 * cut));
    if (moved < 1e-4 && limit <= Math.max(0.6, 3 * cut)) break;
  }
  return found;
}

function middleOfPairs({ points }: Samples, { index, count }: Pairs): Vec3 {
  const sum = [0, 0, 0];
  for (let k = 0; k < count; k++) for (let a = 0; a < 3; a++) sum[a] += points[3 * index[k] + a];
  return [sum[0] / count, sum[1] / count, sum[2] / count];
}

const noSymmetry = (share: number, where: string | undefined): Fault =>
  new Fault({
    code: 'datum-no-symmetry',
    what: 'The scan has no plane of symmetry.',
    got: `at most ${(100 * share).toFixed(0)} % of its area has a mirror image in it`,
    expected: `at least ${100 * LEAST_SHARE} %`,
    hint: 'name a scan of what is alike on both sides (the bare frame), check "up" and "forward", or give axles or ground instead',
    where,
  });

function report(
  fine: Fine,
  origin: Vec3,
  { options, rival }: { readonly options: SymmetryOptions; readonly rival: Plane | undefined },
): Symmetry {
  const { where } = options;
  if (fine.share < LEAST_SHARE) throw noSymmetry(fine.share, where);
  if (fine.weakest < SLIDES)
    throw new Fault({
      code: 'datum-symmetry-free',
      what: 'The scan has more than one plane of symmetry, each as good as the next: the plane can be turned or shifted freely.',
      expected: 'a scan that is alike on two sides only',
      hint: 'name more scans, or give axles or ground instead',
      where,
    });
  const flip = options.normal && dot(fine.plane.normal, options.normal) < 0 ? -1 : 1;
  const normal = scale(fine.plane.normal, flip);
  const foot = sub(fine.centre, scale(fine.plane.normal, dot(fine.plane.normal, fine.centre) - fine.plane.offset));
  const { median, p95, share, errorTurn, errorShift } = fine;
  const doubts: string[] = [];
  if (share < DOUBTED_SHARE) doubts.push(`only ${(100 * share).toFixed(0)} % of the scan has a mirror image in it`);
  if (rival) doubts.push(`another plane, with its normal along (${rival.normal.map((v) => v.toFixed(2)).join(', ')}), is about as good`);
  return { normal, at: add(foot, origin), median, p95, share, errorTurn, errorShift, doubts };
}

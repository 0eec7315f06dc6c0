import { SingularValueDecomposition } from 'ml-matrix';
import type { Context } from '../core/context.ts';
import { Fault } from '../core/fault.ts';
import { joinMeshes } from '../core/mesh.ts';
import { add, boxCentre, cross, distance, dot, length, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import type { JobAxle, JobDatum } from '../job/schema-datum.ts';
import type { Placing } from '../job/schema-place.ts';
import { centroid, moveBy, type Rigid } from './place.ts';
import { rowsOf } from './placing.ts';
import { boxOfScans, type Scan } from './scan.ts';
import { symmetryPlane } from './symmetry.ts';

/** The frame that a result is in: x forward, y left, z up. Plain JSON values. */
export interface DatumResult {
  readonly by: 'axles' | 'ground' | 'symmetry';
  /** By rows [r, r, r, t], mm: from the frame in which the scans were placed to this one. */
  readonly matrix: Placing;
  /** How far the mirrored scan is from itself; of a plane of symmetry. */
  readonly residual_mm?: { readonly median: number; readonly p95: number };
  /** Share of the scan's area that has a mirror image in it, and the expected (least) errors of the plane, rms. */
  readonly mirrored_percent?: number;
  readonly error_deg?: number;
  readonly error_mm?: number;
  /** Of two axles: middle to middle, the angle between them, how far the middles are out of line sideways, and what is left round the wheels' rims. */
  readonly axles?: { readonly wheelbase_mm: number; readonly skew_deg: number; readonly aside_mm: number; readonly rims_mm: number };
  readonly doubts: readonly string[];
}

export interface Datum {
  readonly move: Rigid;
  readonly result: DatumResult;
}

/** Axles at more than this to each other, degrees, are a mistake, and a doubt beyond the other. */
const MOST_SKEW = 10;
const DOUBTED_SKEW = 0.5;
/** What is left round a rim, mm rms, from which it is a doubt. */
const DOUBTED_RIM = 2;
/** Least length, mm, of what gives a direction. */
const LEAST_LENGTH = 20;

/**
 * The motion from the scans' frame into the datum's. `scans` are in place, all of them. Throws a Fault when the points do not make a frame, or
 * the scan named has no plane of symmetry.
 */
export function datumOf(asked: JobDatum, scans: readonly Scan[], context: Context): Datum {
  const found = asked.axles ? byAxles(asked.axles) : asked.ground ? byGround(asked.ground) : bySymmetry(asked.symmetry!, scans, context);
  const { x, y, z } = found.axes;
  const origin = asked.origin ?? found.origin;
  const turned = { rows: [x, y, z], shift: [0, 0, 0] } as const;
  const move: Rigid = { rows: [x, y, z], shift: scale(moveBy(turned, origin), -1) };
  const doubts = [...(found.about.doubts ?? []), ...(found.level === undefined ? [] : uprightDoubt(move, found.level, scans))];
  return { move, result: { by: found.by, matrix: rowsOf(move), ...found.about, doubts } };
}

interface Found {
  readonly by: DatumResult['by'];
  readonly axes: { readonly x: Vec3; readonly y: Vec3; readonly z: Vec3 };
  readonly origin: Vec3;
  readonly about: Partial<DatumResult>;
  /** A place at the height of the axles or of the ground, above which most of the vehicle is; of points given with sides. */
  readonly level?: Vec3;
}

/** y, and x as square to it as can be; a Fault when they are about the same direction. */
function axesFrom(y: Vec3, forward: Vec3, what: string): Found['axes'] {
  const flat = sub(forward, scale(y, dot(forward, y)));
  if (!(length(flat) > 0.2 * length(forward) && length(flat) > LEAST_LENGTH))
    throw new Fault({
      code: 'datum-degenerate',
      what: `The datum's ${what} lie in one line, or on each other: they give no frame.`,
      expected: 'forward and sideways at about a right angle, and some length both ways',
      hint: 'check which point is which under datum',
    });
  const x = normalize(flat);
  return { x, y, z: cross(x, y) };
}

function across(left: Vec3, right: Vec3, what: string): Vec3 {
  if (distance(left, right) < LEAST_LENGTH)
    throw new Fault({
      code: 'datum-degenerate',
      what: `Left and right of the datum's ${what} are as good as one point.`,
      got: `${distance(left, right).toFixed(1)} mm apart`,
      expected: `at least ${LEAST_LENGTH} mm`,
    });
  return normalize(sub(left, right));
}

function byAxles({ front, rear }: { readonly front: JobAxle; readonly rear: JobAxle }): Found {
  const [fl, fr, rl, rr] = [front.left, front.right, rear.left, rear.right].map(centreOf);
  const [f, r] = [across(fl.centre, fr.centre, 'front axle'), across(rl.centre, rr.centre, 'rear axle')];
  const skew = (Math.atan2(length(cross(f, r)), dot(f, r)) * 180) / Math.PI;
  if (skew > MOST_SKEW)
    throw new Fault({
      code: 'datum-skew',
      what: 'The two axles of the datum are not parallel.',
      got: `${skew.toFixed(1)} degrees between them`,
      expected: `at most ${MOST_SKEW} degrees`,
      hint: skew > 90 ? 'left and right of one axle are swapped' : 'the steering straight ahead, and points at the middle of the wheels',
    });
  const y = normalize(add(f, r));
  const middle = (a: Vec3, b: Vec3): Vec3 => scale(add(a, b), 0.5);
  const [mf, mr] = [middle(fl.centre, fr.centre), middle(rl.centre, rr.centre)];
  const forward = sub(mf, mr);
  const axes = axesFrom(y, forward, 'axles');
  const rims = Math.max(fl.rms, fr.rms, rl.rms, rr.rms);
  const doubts: string[] = [];
  if (skew > DOUBTED_SKEW) doubts.push(`the axles are ${skew.toFixed(1)} degrees out of parallel`);
  if (rims > DOUBTED_RIM) doubts.push(`points round a wheel are ${rims.toFixed(1)} mm (rms) off a circle`);
  const about = { wheelbase_mm: dot(forward, axes.x), skew_deg: skew, aside_mm: Math.abs(dot(forward, y)), rims_mm: rims };
  return { by: 'axles', axes, origin: mr, about: { axles: about, doubts }, level: mr };
}

/**
 * One point as it is; of more the centre of their circle: the plane and the circle in it that they fit best by least squares (the
 * circle by Kåsa's linear equations, IEEE Trans. Instrum. Meas. 25, 1976: recalled).
 */
function centreOf(points: readonly Vec3[]): { centre: Vec3; rms: number } {
  if (points.length === 1) return { centre: points[0], rms: 0 };
  const middle = centroid(points);
  const svd = new SingularValueDecomposition(
    points.map((p) => [...sub(p, middle)]),
    { autoTranspose: true },
  );
  const v = svd.rightSingularVectors;
  const axis = (j: number): Vec3 => [v.get(0, j), v.get(1, j), v.get(2, j)];
  const [u, w] = [axis(0), axis(1)];
  if (!(svd.diagonal[1] > 1e-3 * svd.diagonal[0]))
    throw new Fault({
      code: 'datum-degenerate',
      what: 'The points round a wheel lie in one line.',
      expected: 'points spread round the rim',
    });
  const flat = points.map((p) => [dot(sub(p, middle), u), dot(sub(p, middle), w)] as const);
  // x^2 + y^2 = 2 a x + 2 b y + c, about the mean, where the normal equations fall apart into two unknowns.
  const sum = (of: (x: number, y: number) => number): number => flat.reduce((s, [x, y]) => s + of(x, y), 0);
  const [xx, xy, yy] = [sum((x) => x * x), sum((x, y) => x * y), sum((_, y) => y * y)];
  const [xr, yr] = [sum((x, y) => x * (x * x + y * y)) / 2, sum((x, y) => y * (x * x + y * y)) / 2];
  const det = xx * yy - xy * xy;
  const [a, b] = [(xr * yy - yr * xy) / det, (yr * xx - xr * xy) / det];
  const centre = add(middle, add(scale(u, a), scale(w, b)));
  const radius = points.reduce((s, p) => s + distance(p, centre), 0) / points.length;
  const rms = Math.sqrt(points.reduce((s, p) => s + (distance(p, centre) - radius) ** 2, 0) / points.length);
  return { centre, rms };
}

function byGround({ left, right, front, rear }: NonNullable<JobDatum['ground']>): Found {
  const y = across(left, right, 'ground points');
  const middle = scale(add(left, right), 0.5);
  const forward = front ? sub(front, middle) : sub(middle, rear!);
  return { by: 'ground', axes: axesFrom(y, forward, 'ground points'), origin: middle, about: {}, level: middle };
}

function bySymmetry({ scan, up, forward }: NonNullable<JobDatum['symmetry']>, scans: readonly Scan[], context: Context): Found {
  const named = scans.filter((s) => scan.includes(s.name));
  const cloud = named.find((s) => s.triangles === 0);
  if (cloud)
    throw new Fault({
      code: 'datum-cloud',
      what: `Scan "${cloud.name}" is a cloud of points: it has no surface in which a symmetry could be found.`,
      expected: 'a scan with triangles',
      where: cloud.settings.file,
    });
  const normal = normalize(cross(up, forward));
  const found = symmetryPlane(joinMeshes(named.map((s) => s.mesh)), { normal, where: scan.join(', ') }, context);
  const y = found.normal;
  const z = normalize(sub(up, scale(y, dot(up, y))));
  return {
    by: 'symmetry',
    axes: { x: cross(y, z), y, z },
    // The foot of the scans' zero.
    origin: scale(y, dot(found.at, y)),
    about: {
      residual_mm: { median: found.median, p95: found.p95 },
      mirrored_percent: 100 * found.share,
      error_deg: found.errorTurn,
      error_mm: found.errorShift,
      doubts: found.doubts,
    },
  };
}

/** A vehicle with its middle below its wheels has left and right swapped. */
function uprightDoubt(move: Rigid, level: Vec3, scans: readonly Scan[]): string[] {
  const above = moveBy(move, boxCentre(boxOfScans(scans)))[2] - moveBy(move, level)[2];
  return above < 0 ? [`the middle of the scans lies ${(-above).toFixed(0)} mm below the points given: are left and right swapped?`] : [];
}

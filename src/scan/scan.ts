import type { Cloud } from '../core/cloud.ts';
import type { Context } from '../core/context.ts';
import { Fault, nearestWord } from '../core/fault.ts';
import { boxOfPositions, joinMeshes, type Mesh } from '../core/mesh.ts';
import { type LengthUnit, MM_PER } from '../core/units.ts';
import { type Box3, unionBox, type Vec3 } from '../core/vec.ts';
import type { ScanFile, ScanPart } from '../io/scan-file.ts';
import { placingOf } from '../job/schema-place.ts';
import type { JobScan } from '../job/schema-scans.ts';
import { posed } from './motion.ts';
import { type PiecedCloud, type PiecesTaken, pickPieces, type Whole } from './pieces.ts';
import { moveBy, type Rigid } from './place.ts';
import { type Smoothed, smoothCloud, spacingOf } from './smooth.ts';
import { dropLoosePoints, dropSpecks, type Speck, type Specks } from './specks.ts';

/** One scan of the job in mm, in its place. */
export interface Scan {
  readonly name: string;
  readonly settings: JobScan;
  /** Faces; then, for a cloud, a small triangle for each point that was smoothed and an octahedron for each that could not be. */
  readonly mesh: Mesh;
  /** Radius, mm, by which the surface stands out from `mesh`: 0, since a cloud's points have a surface of their own. */
  readonly radius: number;
  /** What was found of its points; left out without any. */
  readonly cloud?: CloudFound;
  /** Triangles and points of the file that belong to this scan, specks included. */
  readonly triangles: number;
  readonly points: number;
  readonly box: Box3;
  readonly unit: LengthUnit;
  /** Loose pieces that were left out of the mesh, largest first. */
  readonly specks: readonly Speck[];
  /** What the job took of its pieces; left out when it takes all. */
  readonly chosen?: PiecesTaken;
}

/** Of the points of a scan: see Smoothed; and the points themselves as they were measured, without specks. */
export interface CloudFound extends Omit<Smoothed, 'mesh'> {
  readonly kept: readonly PiecedCloud[];
}

/** What makeScan needs besides the file. */
export interface Making {
  /** Unit of files that carry none. */
  readonly unit: LengthUnit;
  /** What is left out as specks is added here. */
  readonly specks: Specks[];
  readonly context: Context;
}

/**
 * Picks the job's groups from a file, turns them into mm, places them, smooths clouds and drops loose specks.
 * Throws a Fault when a group is not in the file or nothing is left.
 */
export async function makeScan(name: string, settings: JobScan, file: ScanFile, making: Making): Promise<Scan> {
  const parts = settings.groups ? pick(name, settings, file.parts) : file.parts;
  const unit = settings.units ?? file.unit ?? making.unit;
  const specks: Specks[] = [];
  const whole = withoutSpecks(name, parts, { scale: MM_PER[unit], specks });
  const rows = placedRows(settings.place);
  const { faces, clouds, chosen } = settings.pieces ? pickPieces(name, settings.pieces, whole) : { ...whole, chosen: undefined };
  // A scan of chosen pieces has no specks of its own: they are told where the whole file is taken.
  const dropped = settings.pieces
    ? []
    : specks.map((s) => ({ ...s, list: s.list.map((one) => ({ ...one, at: placedPoint(one.at, rows) })) }));
  making.specks.push(...dropped);
  const kept = clouds.map((c) => ({ ...c, cloud: placed(c.cloud, 1, rows) }));
  const smoothed: Smoothed[] = [];
  for (const c of kept) smoothed.push(await smoothCloud(c.cloud, making.context, c.spacing));
  const mesh = joinMeshes([placed(faces, 1, rows), ...smoothed.map((c) => c.mesh)].filter((m) => m.indices.length > 0));
  const list = dropped.flatMap((s) => s.list);
  return {
    name,
    settings,
    mesh,
    radius: 0,
    triangles: faces.indices.length / 3 + list.reduce((n, s) => n + s.triangles, 0),
    points: clouds.reduce((n, c) => n + c.cloud.positions.length / 3, 0) + list.reduce((n, s) => n + s.points, 0),
    box: boxOfUsed(mesh),
    unit,
    specks: list,
    ...(chosen ? { chosen } : {}),
    ...(smoothed.length > 0 ? { cloud: { ...roughest(smoothed), kept } } : {}),
  };
}

/** Faces and points of a file in mm, where they stand in it, without loose specks. */
function withoutSpecks(name: string, parts: readonly ScanPart[], { scale, specks }: { scale: number; specks: Specks[] }): Whole {
  const faces = joinMeshes(parts.flatMap((p) => (p.mesh ? [placed(p.mesh, scale)] : [])));
  const clouds = parts.flatMap((p) => (p.cloud && p.cloud.positions.length > 0 ? [placed(p.cloud, scale)] : []));
  return {
    faces: dropSpecks(name, faces, specks),
    clouds: clouds.map((cloud) => {
      const spacing = spacingOf(cloud);
      return { ...dropLoosePoints(name, cloud, { spacing: spacing.spacing, dropped: specks }), spacing };
    }),
  };
}

/** Several clouds in one scan: what is said of them is said of the worst. */
function roughest(clouds: readonly Smoothed[]): Omit<Smoothed, 'mesh'> {
  const most = (of: (c: Smoothed) => number): number => Math.max(...clouds.map(of));
  return {
    spacing: most((c) => c.spacing),
    noise: most((c) => c.noise),
    share: Math.min(...clouds.map((c) => c.share)),
    off: most((c) => c.off),
  };
}

function pick(name: string, settings: JobScan, parts: readonly ScanPart[]): ScanPart[] {
  const known = parts.map((p) => p.name);
  return (settings.groups ?? []).flatMap((g) => {
    const found = parts.filter((p) => p.name === g);
    if (found.length > 0) return found;
    const near = nearestWord(g, known);
    throw new Fault({
      code: 'scan-no-group',
      what: `Scan "${name}" asks for the group "${g}", which is not in ${settings.file}.`,
      got: g,
      expected: `one of: ${known.slice(0, 40).join(', ')}${known.length > 40 ? `, and ${known.length - 40} more` : ''}`,
      hint: near ? `did you mean "${near}"?` : undefined,
      where: settings.file,
    });
  });
}

type Rows = Extract<NonNullable<JobScan['place']>, readonly unknown[]>;

/** Rows of the placing that the job gives; a fit starts at its move and turn. */
function placedRows(place: JobScan['place']): Rows | undefined {
  if (!place) return undefined;
  return isGiven(place) ? place : placingOf(place.move, place.turn);
}

/** Whether the job says itself where the scan stands. */
export const isGiven = (place: NonNullable<JobScan['place']>): place is Rows => Array.isArray(place);

/** A point of the file, mm, in its place. */
const placedPoint = (p: Vec3, rows: Rows | undefined): Vec3 =>
  rows ? ([0, 1, 2].map((a) => rows[a][0] * p[0] + rows[a][1] * p[1] + rows[a][2] * p[2] + rows[a][3]) as [number, number, number]) : p;

/** Scales to mm and places; the float64 origin takes the shift, so nothing far from zero is rounded. */
function placed<T extends Mesh | Cloud>(m: T, scale: number, rows?: Rows): T {
  if (scale === 1 && !rows) return m;
  const turn: Rows = rows ?? [
    [1, 0, 0, 0],
    [0, 1, 0, 0],
    [0, 0, 1, 0],
  ];
  const at = (x: number, y: number, z: number, a: number): number => turn[a][0] * x + turn[a][1] * y + turn[a][2] * z;
  const [ox, oy, oz] = m.origin.map((v) => v * scale);
  const origin = placedPoint([ox, oy, oz], turn);
  const positions = new Float32Array(m.positions.length);
  for (let i = 0; i < positions.length; i += 3) {
    const x = m.positions[i] * scale;
    const y = m.positions[i + 1] * scale;
    const z = m.positions[i + 2] * scale;
    for (let a = 0; a < 3; a++) positions[i + a] = at(x, y, z, a);
  }
  return { ...m, origin, positions };
}

/** The scan moved as it stands. */
export function movedScan(scan: Scan, move: Rigid): Scan {
  const mesh = posed(scan.mesh, move);
  const { cloud } = scan;
  return {
    ...scan,
    mesh,
    box: boxOfUsed(mesh),
    specks: scan.specks.map((s) => ({ ...s, at: moveBy(move, s.at) })),
    ...(cloud ? { cloud: { ...cloud, kept: cloud.kept.map((k) => ({ ...k, cloud: posed(k.cloud, move) })) } } : {}),
  };
}

/** Box of the vertices that triangles use, mm. */
export function boxOfUsed({ origin, positions: p, indices }: Mesh): Box3 {
  const used = new Uint8Array(p.length / 3);
  for (let i = 0; i < indices.length; i++) used[indices[i]] = 1;
  const kept = new Float32Array(indices.length === 0 ? 0 : p.length);
  let n = 0;
  for (let v = 0; v < used.length; v++) {
    if (!used[v]) continue;
    kept[n++] = p[v * 3];
    kept[n++] = p[v * 3 + 1];
    kept[n++] = p[v * 3 + 2];
  }
  return boxOfPositions(origin, kept.subarray(0, n));
}

/** The box of all scans, mm. */
export const boxOfScans = (scans: readonly Scan[]): Box3 => scans.map((s) => s.box).reduce(unionBox);

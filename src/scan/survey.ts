import type { Task } from '../core/context.ts';
import { type Mesh, meshArea, meshVolume } from '../core/mesh.ts';
import { MM2_PER_DM2, MM3_PER_LITRE } from '../core/units.ts';
import { type Box3, boxSize, type Vec3 } from '../core/vec.ts';
import type { Loop } from './borders.ts';
import { doubleSheets } from './double-sheets.ts';
import { surfaceNoise } from './noise.ts';
import { bySize, type Patch, pointPatches } from './patches.ts';
import type { Scan } from './scan.ts';
import type { Speck } from './specks.ts';
import { type Topology, topology } from './topology.ts';

/**
 * What a scan is like, told while the vehicle is still on the stand. Plain JSON values; lengths mm, areas dm2. Specks are left out of
 * everything but their own list.
 */
export interface ScanSurvey {
  readonly scan: string;
  readonly triangles: number;
  readonly points: number;
  readonly unit: string;
  readonly box_mm: Box3;
  readonly size_mm: Vec3;
  /** 0 for a cloud. */
  readonly area_dm2: number;
  /** Connected pieces that stay, most triangles first and points after them; how many, and the first PIECES of them. A job takes some by `piece`. */
  readonly pieces: number;
  readonly largest_pieces: readonly PieceSurvey[];
  /** Loose pieces that are left out, largest first: their number, and the first LISTED of them. */
  readonly specks: number;
  readonly largest_specks: readonly SpeckSurvey[];
  /** Borders, longest first. Single missing triangles only count. */
  readonly loops: number;
  readonly border_mm: number;
  readonly largest_loops: readonly LoopSurvey[];
  readonly duplicate_triangles: number;
  readonly degenerate_triangles: number;
  readonly crowded_edges: number;
  readonly double_sheets: { readonly area_percent: number; readonly apart_mm: number };
  readonly flipped: readonly PatchSurvey[];
  /** Closed pieces whose faces point inwards: their number. */
  readonly inside_out: number;
  /** Root mean square roughness, mm; null when there are too few points. */
  readonly noise_mm: number | null;
  readonly spacing_mm: number;
  /** Closed: no border at all. */
  readonly closed: boolean;
  /** Litres, when it is closed. */
  readonly volume_l: number | null;
}

export interface PatchSurvey {
  readonly triangles: number;
  /** Of a piece of a cloud, which has no triangles. */
  readonly points: number;
  readonly area_dm2: number;
  readonly size_mm: Vec3;
  /** Its middle: the centre of its area, or the mean of its points. */
  readonly at_mm: Vec3;
  /** The corner or point of it nearest to its middle: a job may name the piece by it, where the scan stands as in its file. */
  readonly on_mm: Vec3;
}

export interface PieceSurvey extends PatchSurvey {
  /** Its number, from 1. */
  readonly piece: number;
}

export interface SpeckSurvey {
  readonly triangles: number;
  readonly points: number;
  readonly across_mm: number;
  readonly at_mm: Vec3;
}

export interface LoopSurvey {
  readonly scan: string;
  /** Centre of its length. */
  readonly at_mm: Vec3;
  readonly length_mm: number;
  /** Diagonal of its box. */
  readonly across_mm: number;
  /** Corners in order, every so many of them, for drawing: at most DRAWN. */
  readonly points_mm: readonly Vec3[];
}

const PIECES = 100;
const LISTED = 20;
const DRAWN = 64;
/** Loops that are listed. */
const LOOPS = 200;
/** Borders of fewer corners are single missing triangles. */
const LEAST_CORNERS = 4;

/** Looks a scan over. `specks` are the pieces that were left out of it. */
export function surveyScan(scan: Scan): ScanSurvey {
  const { name, triangles, points, unit, box, specks } = scan;
  // Faces alone: the small triangles of smoothed points come after them.
  const faces = triangles - specks.reduce((n, s) => n + s.triangles, 0);
  const mesh = points > 0 ? { ...scan.mesh, indices: scan.mesh.indices.subarray(0, faces * 3) } : scan.mesh;
  const cloud = faces === 0;
  const dotted = (scan.cloud?.kept ?? []).flatMap((k) => bySize(pointPatches(k.cloud, k.pieces)));
  const shape = cloud ? NOTHING : topology(mesh);
  const spacing = cloud ? (scan.cloud?.spacing ?? 0) : edgeLength(mesh);
  const noise = cloud ? (scan.cloud?.noise ?? Number.NaN) : surfaceNoise(mesh, spacing);
  const sheets = cloud ? { share: 0, apart: 0 } : doubleSheets(mesh);
  const loops = shape.loops.filter((l) => l.vertices.length >= LEAST_CORNERS);
  const closed = !cloud && shape.loops.length === 0 && shape.flipped.length === 0 && shape.crowdedEdges === 0;
  return {
    scan: name,
    triangles,
    points,
    unit,
    box_mm: box,
    size_mm: boxSize(box),
    area_dm2: cloud ? 0 : meshArea(mesh) / MM2_PER_DM2,
    pieces: shape.pieces.length + dotted.length,
    largest_pieces: [...shape.pieces, ...dotted].slice(0, PIECES).map((p, i) => ({ piece: i + 1, ...patchSurvey(p) })),
    specks: specks.length,
    largest_specks: specks
      .slice(0, LISTED)
      .map((s: Speck) => ({ triangles: s.triangles, points: s.points, across_mm: s.across, at_mm: s.at })),
    loops: shape.loops.length,
    border_mm: shape.loops.reduce((s, l) => s + l.length, 0),
    largest_loops: loops.slice(0, LOOPS).map((l) => loopSurvey(name, mesh, l)),
    duplicate_triangles: shape.duplicates,
    degenerate_triangles: shape.degenerate,
    crowded_edges: shape.crowdedEdges,
    double_sheets: { area_percent: sheets.share * 100, apart_mm: sheets.apart },
    flipped: shape.flipped.slice(0, LISTED).map(patchSurvey),
    inside_out: closed && meshVolume(mesh) < 0 ? 1 : 0,
    noise_mm: Number.isFinite(noise) ? noise : null,
    spacing_mm: spacing,
    closed,
    volume_l: closed ? Math.abs(meshVolume(mesh)) / MM3_PER_LITRE : null,
  };
}

const NOTHING: Topology = { loops: [], flipped: [], duplicates: 0, crowdedEdges: 0, degenerate: 0, pieces: [] };

/** A survey as one task, so that several scans are looked over at once. */
export const surveyTask: Task<Scan, ScanSurvey> = { name: 'survey.scan', run: surveyScan };

const patchSurvey = ({ triangles, points, area, size, at: middle, on }: Patch): PatchSurvey => ({
  triangles,
  points,
  area_dm2: area / MM2_PER_DM2,
  size_mm: size,
  at_mm: middle,
  on_mm: on,
});

function loopSurvey(scan: string, mesh: Mesh, loop: Loop): LoopSurvey {
  const every = Math.ceil(loop.vertices.length / DRAWN);
  const corners = loop.vertices.filter((_, i) => i % every === 0);
  return {
    scan,
    at_mm: loop.at,
    length_mm: loop.length,
    across_mm: loop.across,
    points_mm: corners.map((v): Vec3 => [at(mesh, v, 0), at(mesh, v, 1), at(mesh, v, 2)]),
  };
}

const at = (m: Mesh, v: number, a: number): number => m.origin[a] + m.positions[v * 3 + a];

const EDGES = 20_000;

/** Median length of an edge, mm, from up to 20,000 triangles spread over the mesh: what a mesh has for the spacing of points. */
function edgeLength({ positions: p, indices: t }: Mesh): number {
  const every = Math.max(1, Math.floor(t.length / 3 / EDGES));
  const found: number[] = [];
  for (let i = 0; i < t.length; i += 3 * every)
    for (let k = 0; k < 3; k++) {
      const [a, b] = [t[i + k] * 3, t[i + ((k + 1) % 3)] * 3];
      const d = Math.hypot(p[a] - p[b], p[a + 1] - p[b + 1], p[a + 2] - p[b + 2]);
      if (d > 0) found.push(d);
    }
  found.sort((x, y) => x - y);
  return found[Math.floor(found.length / 2)] ?? 0;
}

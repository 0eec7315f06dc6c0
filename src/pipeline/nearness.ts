import { allocateF32, type Context, slabs } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellCentre, cellCount, type Grid, gridBox, gridOver } from '../core/grid.ts';
import { type Mesh, meshBox, triangleCount, vertexCount } from '../core/mesh.ts';
import { add, boxCentre, dot, growBox, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { halvesOf, longestEdge } from '../field/halving.ts';
import { insideOf } from '../field/inside.ts';
import { buildWinding, type WindingTree, windingNumber } from '../field/winding.ts';
import { type Deep, exitsOf } from '../fit/exits.ts';
import { backFrom, type Pose, posed, turnedBy } from '../fit/pose.ts';
import { type Pieces, pieceRadius, piecesWhere } from '../fit/refine.ts';
import type { Contact } from '../fit/settle.ts';
import { approachTask, buildTree, NEAR, type Tree } from '../make/approach.ts';
import { type CertificateObstacle, type PreparedObstacle, prepareObstacle } from '../make/certificate.ts';

/**
 * A finished body in any pose against the scans: exact distances of its faces to every obstacle by the certificate's trees, and where a scan's surface
 * lies inside the body, how deep.
 */

/** Faces a task. */
const CHUNK = 250;
/** Pieces of a scan's surface that may lie inside the body are no longer than this, mm. */
const PIECE = 3;
/** The deepest place is found to this, mm, as long as there are not more pieces than MOST_PIECES. */
const DEPTH_ERROR = 0.02;
const MOST_PIECES = 200_000;

export interface Deepest extends Deep {
  /** It is surely not deeper than `depth` and this, mm. */
  readonly error: number;
}

export class Nearness {
  readonly body: Mesh;
  readonly centre: Vec3;
  /** Greatest distance of a corner from the centre, mm. */
  readonly radius: number;
  /** Signed distance to the body, positive inside, mm, on a grid round it. */
  readonly field: Field;
  readonly prepared: readonly PreparedObstacle[];
  private readonly context: Context;
  private readonly tree: Tree;
  private readonly winding: WindingTree;
  /** Pieces of each obstacle that may come to lie inside the body. */
  private readonly pieces: readonly Pieces[];
  /** Outward normals of the faces, three numbers each, not of unit length. */
  private readonly normals: Float64Array;

  private constructor(
    own: Pick<Nearness, 'body' | 'centre' | 'radius' | 'field' | 'prepared'>,
    winding: WindingTree,
    pieces: Pieces[],
    context: Context,
  ) {
    this.body = own.body;
    this.centre = own.centre;
    this.radius = own.radius;
    this.field = own.field;
    this.prepared = own.prepared;
    this.context = context;
    this.winding = winding;
    this.pieces = pieces;
    this.tree = buildTree(own.body.positions, own.body.indices, context.pool);
    this.normals = normalsOf(own.body);
  }

  /** `reach`: how far any point of the body may be moved, mm; `step`: cell of its field. The body is closed. */
  static async of(
    body: Mesh,
    obstacles: readonly CertificateObstacle[],
    { reach, step }: { reach: number; step: number },
    context: Context,
  ): Promise<Nearness> {
    const box = meshBox(body);
    const centre = boxCentre(box);
    const winding = buildWinding(body);
    const field = await bodyField(body, winding, gridOver(growBox(box, 3 * step), step), context);
    const prepared = obstacles.map((o) => prepareObstacle(o, context));
    const room = gridBox(field.grid);
    const pieces = obstacles.map((o) => {
      // A ball of this radius about p reaches a place that some pose puts inside the body.
      const mayBeInside = (x: number, y: number, z: number, radius: number): boolean => {
        const p: Vec3 = [x, y, z];
        const off = Math.hypot(...p.map((v, a) => Math.max(0, room.min[a] - v, v - room.max[a])));
        return off - sampleField(field, p) < radius + reach + 2 * step;
      };
      return 'mesh' in o ? piecesWhere(o.mesh, PIECE, mayBeInside) : pointPieces(o.cloud.positions, o.cloud.origin, mayBeInside);
    });
    return new Nearness({ body, centre, radius: radiusOf(body, centre), field, prepared }, winding, pieces, context);
  }

  /** Signed distance to the body in some other place, positive inside, mm, on any grid. */
  async fieldAt(moved: Mesh, grid: Grid): Promise<Field> {
    return bodyField(moved, buildWinding(moved), grid, this.context);
  }

  /** See Judge. */
  async contacts(pose: Pose, below: number, names?: ReadonlySet<string>): Promise<Contact[]> {
    const moved = posed(this.body, pose, this.centre);
    const out: Contact[] = [];
    for (const [i, p] of this.prepared.entries()) {
      if (names && !names.has(p.obstacle.name)) continue;
      const deep = await this.insiders(i, pose);
      for (const e of exitsOf(deep, 2 * PIECE)) out.push({ obstacle: i, slack: -e.depth - askedOf(p), at: e.at, normal: e.normal });
      out.push(...(await this.outsiders(i, moved, pose, { below, crossed: deep.length > 0 })));
    }
    return out;
  }

  /** Where obstacle i reaches deepest into the body, to DEPTH_ERROR: pieces are halved wherever one could hold a deeper place. */
  async deepest(i: number, pose: Pose): Promise<Deepest | undefined> {
    let pieces: Pieces = this.pieces[i];
    let best: Deep | undefined;
    let bound = 0;
    while (pieces.length > 0) {
      const depths = await this.depthsOf(i, pieces, pose);
      for (const d of depths) if (d && (!best || d.depth > best.depth)) best = d;
      const top = best?.depth ?? 0;
      const next: number[] = [];
      bound = top;
      for (let n = 0; n < depths.length; n++) {
        const d = depths[n];
        // No place is deeper than it is far from the middle's nearest face; middles outside are only known to be no deeper than 0.
        const most = d ? farthest(pieces, 9 * n, this.shiftTo(i, d.onBody)) : pieceRadius(pieces, 9 * n);
        if (most <= top + DEPTH_ERROR || (!d && most <= DEPTH_ERROR)) continue;
        bound = Math.max(bound, most);
        const c = pieces.slice(9 * n, 9 * n + 9);
        const cut = longestEdge(c, 1e-6);
        if (cut >= 0) for (const h of halvesOf(c, cut)) next.push(...h);
      }
      if (next.length / 9 > MOST_PIECES) break;
      bound = next.length === 0 ? top + DEPTH_ERROR : bound;
      pieces = Float64Array.from(next);
    }
    return best && { ...best, error: bound - best.depth };
  }

  /** Pieces of obstacle i whose middles lie inside the body. */
  private async insiders(i: number, pose: Pose): Promise<Deep[]> {
    return (await this.depthsOf(i, this.pieces[i], pose)).filter((d) => d !== undefined);
  }

  /** Depth of each piece's middle, undefined outside the body. */
  private async depthsOf(i: number, pieces: Pieces, pose: Pose): Promise<(Deep | undefined)[]> {
    const { origin } = this.prepared[i];
    const { grid } = this.field;
    const room = gridBox(grid);
    const out = new Array<Deep | undefined>(pieces.length / 9).fill(undefined);
    const which: number[] = [];
    const middles: Vec3[] = [];
    for (let n = 0; n < out.length; n++) {
      const p = backFrom(middleOf(pieces, 9 * n, origin), pose, this.centre);
      if (p.some((v, a) => v < room.min[a] || v > room.max[a]) || sampleField(this.field, p) < -1.5 * grid.step) continue;
      if (windingNumber(this.winding, p) <= 0.5) continue;
      which.push(n);
      middles.push(p);
    }
    if (which.length === 0) return out;
    const faces = new Float64Array(this.context.pool.allocate(72 * which.length));
    middles.forEach((p, n) => {
      const q = sub(p, this.body.origin);
      for (let c = 0; c < 9; c++) faces[9 * n + c] = q[c % 3];
    });
    const found = await this.search(this.tree, faces, { cutoff: Infinity, within: Infinity });
    for (const r of found)
      for (let o = 0; o < r.found.length; o += NEAR) {
        const n = r.found[o];
        const onBody = this.forward(add(pointAt(r.found, o + 5), this.body.origin), pose);
        out[which[n]] = { depth: r.found[o + 1], at: this.forward(middles[n], pose), onBody };
      }
    return out;
  }

  /** A place of the moved body, about the origin of obstacle i. */
  private shiftTo(i: number, p: Vec3): Vec3 {
    return sub(p, this.prepared[i].origin);
  }

  private forward(p: Vec3, pose: Pose): Vec3 {
    return add(add(turnedBy(sub(p, this.centre), pose), this.centre), pose.shift);
  }

  /** Contacts of the faces with obstacle i from outside. */
  private async outsiders(i: number, moved: Mesh, pose: Pose, { below, crossed }: { below: number; crossed: boolean }): Promise<Contact[]> {
    const p = this.prepared[i];
    if (!p.tree) return [];
    const off = askedOf(p) + radiusOfPoints(p);
    // A scan that is far off holds nothing back; only its nearest place is asked for.
    const near = await this.approach(moved, p, { cutoff: Math.max(0, below + off), within: Infinity });
    const rows: number[][] = [];
    let nearest: number[] | undefined;
    for (const r of near) {
      for (let o = 0; o < r.found.length; o += NEAR) rows.push(Array.from(r.found.subarray(o, o + NEAR)));
      if (r.nearest.length > 0 && (!nearest || r.nearest[1] < nearest[1])) nearest = Array.from(r.nearest);
    }
    if (rows.length === 0 && nearest) rows.push(nearest);
    const out: Contact[] = [];
    for (const row of rows) {
      const [face, d] = row;
      const at = add(pointAt(row, 2), p.origin);
      const away = sub(pointAt(row, 2), pointAt(row, 5));
      const outward = turnedBy([this.normals[3 * face], this.normals[3 * face + 1], this.normals[3 * face + 2]], pose);
      if (d < 1e-9) {
        // The place is on both: where nothing lies inside the body, the face itself tells the way out.
        if (!crossed) out.push({ obstacle: i, slack: -off, at, normal: normalize(scale(outward, -1)) });
        continue;
      }
      // A neighbour on the inside of this face is counted by its depth.
      if (dot(away, outward) > 0 && windingNumber(this.winding, backFrom(add(pointAt(row, 5), p.origin), pose, this.centre)) > 0.5)
        continue;
      out.push({ obstacle: i, slack: d - off, at, normal: scale(away, 1 / d) });
    }
    return out;
  }

  private approach(moved: Mesh, p: PreparedObstacle, limits: { cutoff: number; within: number }): Promise<Found[]> {
    const shift = sub(moved.origin, p.origin);
    const { positions, indices } = moved;
    const faces = new Float64Array(this.context.pool.allocate(72 * triangleCount(moved)));
    for (let c = 0; c < indices.length; c++) for (let a = 0; a < 3; a++) faces[3 * c + a] = positions[3 * indices[c] + a] + shift[a];
    return this.search(p.tree!, faces, limits);
  }

  private search(tree: Tree, faces: Float64Array, limits: { cutoff: number; within: number }): Promise<Found[]> {
    const count = faces.length / 9;
    return this.context.pool.map(
      approachTask,
      slabs(count, Math.ceil(count / CHUNK)).map((run) => ({ tree, faces, ...run, ...limits })),
    );
  }
}

/** Greatest distance of the corners of the piece at `o` from a point: no point of the piece is farther. */
const farthest = (c: Pieces, o: number, p: Vec3): number =>
  Math.sqrt(Math.max(...[0, 3, 6].map((v) => (c[o + v] - p[0]) ** 2 + (c[o + v + 1] - p[1]) ** 2 + (c[o + v + 2] - p[2]) ** 2)));

interface Found {
  readonly nearest: Float64Array;
  readonly found: Float64Array;
}

export const askedOf = (p: PreparedObstacle): number => p.obstacle.clearance;

const radiusOfPoints = ({ obstacle }: PreparedObstacle): number => ('mesh' in obstacle ? 0 : obstacle.radius);

const pointAt = (row: ArrayLike<number>, o: number): Vec3 => [row[o], row[o + 1], row[o + 2]];

const middleOf = (c: Pieces, o: number, origin: Vec3): Vec3 => [
  (c[o] + c[o + 3] + c[o + 6]) / 3 + origin[0],
  (c[o + 1] + c[o + 4] + c[o + 7]) / 3 + origin[1],
  (c[o + 2] + c[o + 5] + c[o + 8]) / 3 + origin[2],
];

/** Points as pieces whose corners fall together. */
function pointPieces(p: Float32Array, origin: Vec3, wanted: (x: number, y: number, z: number, radius: number) => boolean): Pieces {
  const out: number[] = [];
  for (let i = 0; i < p.length; i += 3)
    if (wanted(p[i] + origin[0], p[i + 1] + origin[1], p[i + 2] + origin[2], 0)) for (let c = 0; c < 9; c++) out.push(p[i + (c % 3)]);
  return Float64Array.from(out);
}

function radiusOf(body: Mesh, centre: Vec3): number {
  const off = sub(body.origin, centre);
  let most = 0;
  for (let v = 0; v < vertexCount(body); v++)
    most = Math.max(
      most,
      Math.hypot(body.positions[3 * v] + off[0], body.positions[3 * v + 1] + off[1], body.positions[3 * v + 2] + off[2]),
    );
  return most;
}

function normalsOf({ positions: p, indices: t }: Mesh): Float64Array {
  const out = new Float64Array(t.length);
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [3 * t[f], 3 * t[f + 1], 3 * t[f + 2]];
    const [ux, uy, uz] = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
    const [vx, vy, vz] = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
    out[f] = uy * vz - uz * vy;
    out[f + 1] = uz * vx - ux * vz;
    out[f + 2] = ux * vy - uy * vx;
  }
  return out;
}

async function bodyField(body: Mesh, winding: WindingTree, grid: Grid, context: Context): Promise<Field> {
  const field: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(1e6) };
  await lowerToDistance(field, body, { levels: [0], offset: 0 }, context);
  const inside = await insideOf(winding, field, context);
  for (let c = 0; c < field.data.length; c++) {
    // Close to the surface only the winding number of the very cell tells the side.
    const within = field.data[c] < grid.step ? windingNumber(winding, cellCentre(grid, c)) > 0.5 : inside.data[c] === 1;
    if (!within) field.data[c] = -field.data[c];
  }
  return field;
}

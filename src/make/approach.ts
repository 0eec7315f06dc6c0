import { BufferAttribute, BufferGeometry, type Box3 as ThreeBox } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import type { Pool, Task } from '../core/context.ts';
import { halvesOf, longestEdge } from '../field/halving.ts';
import { TrianglePair } from './triangle-pair.ts';

/**
 * How near the faces of a body come to one obstacle: branch and bound over pairs of triangles. Each face goes down the obstacle's
 * tree of boxes, nearer child first, and leaves a branch as soon as its box is no nearer than what is known; so whatever was not looked at is
 * proved to be at least that far away. Long faces are halved first, their boxes would touch everything.
 *
 * The boxes are float32, but three-mesh-bvh pads them outwards, so they always hold their triangles.
 * A chunk of faces starts afresh, which keeps the bytes the same for any number of workers.
 */
const LONGEST = 12;

/** An obstacle's triangles (or points, as triangles with three equal corners) with their tree, plain and shareable. */
export interface Tree {
  readonly positions: Float32Array;
  /** In the tree's order. */
  readonly index: Uint32Array;
  readonly root: Uint8Array;
}

export interface FaceChunk {
  readonly tree: Tree;
  /** Nine numbers a face, mm about the obstacle's origin. */
  readonly faces: Float64Array;
  readonly from: number;
  readonly to: number;
  /** Faces nearer than this, mm, are each told apart. */
  readonly cutoff: number;
  /** Nothing farther than this, mm, is of interest. Default: everything is. */
  readonly within?: number;
}

/** Eight numbers a face found: face, distance, point on the face, point on the obstacle. */
export interface Near {
  /** The nearest face of the chunk. Empty when the obstacle is, or when none is within what is of interest. */
  readonly nearest: Float64Array;
  /** Every face nearer than the cutoff, in order. */
  readonly found: Float64Array;
}

export const NEAR = 8;

/** Builds the tree on memory that all workers see. `indices` is copied. */
export function buildTree(positions: Float32Array, indices: Uint32Array, pool: Pool): Tree {
  const index = new Uint32Array(pool.allocate(indices.length * 4));
  index.set(indices);
  const shared = new Float32Array(pool.allocate(positions.length * 4));
  shared.set(positions);
  const bvh = new MeshBVH(geometryOf(shared, index), { targetLeafSize: 8 });
  const { roots } = MeshBVH.serialize(bvh, { cloneBuffers: false });
  const bytes = new Uint8Array(roots[0]);
  const root = new Uint8Array(pool.allocate(bytes.length));
  root.set(bytes);
  return { positions: shared, index, root };
}

function geometryOf(positions: Float32Array, index: Uint32Array): BufferGeometry {
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(positions, 3));
  geometry.setIndex(new BufferAttribute(index, 1));
  return geometry;
}

function approach({ tree, faces, from, to, cutoff, within = Infinity }: FaceChunk): Near {
  const search = new Search(tree);
  const found: number[] = [];
  const nearest: number[] = [];
  let best = within;
  for (let f = from; f < to; f++) {
    const limit = Math.max(best, cutoff);
    const d = search.face(faces.subarray(9 * f, 9 * f + 9), limit);
    if (!(d < limit)) continue;
    if (d < cutoff) found.push(f, d, ...search.points);
    if (d >= best) continue;
    best = d;
    nearest.splice(0, NEAR, f, d, ...search.points);
  }
  return { nearest: Float64Array.from(nearest), found: Float64Array.from(found) };
}

export const approachTask: Task<FaceChunk, Near> = { name: 'make.approach', run: approach };

/** One walk down the tree at a time. */
export class Search {
  /** Nearest points of the last face that came under its limit: on the face, on the obstacle. */
  readonly points = new Float64Array(6);
  private readonly tree: Tree;
  private readonly bvh: MeshBVH;
  private readonly pair = new TrianglePair();
  private best = 0;
  private readonly low = new Float64Array(3);
  private readonly high = new Float64Array(3);
  private readonly calls = {
    boundsTraverseOrder: (box: ThreeBox): number => this.gap(box),
    intersectsBounds: (_box: ThreeBox, _leaf: boolean, score: number | undefined): boolean => score === undefined || score < this.best,
    intersectsRange: (offset: number, count: number): boolean => this.range(offset, count),
  };

  constructor(tree: Tree) {
    this.tree = tree;
    const data = { roots: [tree.root.buffer as ArrayBuffer], index: tree.index, indirectBuffer: null, version: 1 };
    this.bvh = MeshBVH.deserialize(data, geometryOf(tree.positions, tree.index), { setIndex: false });
  }

  /** Distance of one face when it is below `limit`, else `limit`. */
  face(corners: Float64Array, limit: number): number {
    this.best = limit * limit;
    this.part(corners, 0);
    return this.best < limit * limit ? Math.sqrt(this.best) : limit;
  }

  private part(corners: Float64Array, depth: number): void {
    const cut = depth < 40 ? longestEdge(corners, LONGEST) : -1;
    if (cut >= 0) {
      const [p, q] = halvesOf(corners, cut);
      this.part(p, depth + 1);
      this.part(q, depth + 1);
      return;
    }
    this.bound(corners);
    this.pair.corners.set(corners);
    this.bvh.shapecast(this.calls);
  }

  private bound(c: Float64Array): void {
    for (let a = 0; a < 3; a++) {
      this.low[a] = Math.min(c[a], c[a + 3], c[a + 6]);
      this.high[a] = Math.max(c[a], c[a + 3], c[a + 6]);
    }
  }

  /** Squared distance from the face's box to a box of the tree. */
  private gap(box: ThreeBox): number {
    const { low, high } = this;
    const x = Math.max(box.min.x - high[0], low[0] - box.max.x, 0);
    const y = Math.max(box.min.y - high[1], low[1] - box.max.y, 0);
    const z = Math.max(box.min.z - high[2], low[2] - box.max.z, 0);
    return x * x + y * y + z * z;
  }

  private range(offset: number, count: number): boolean {
    const { pair, points } = this;
    const { positions: p, index } = this.tree;
    const c = pair.corners;
    for (let t = 3 * offset; t < 3 * (offset + count); t++) {
      const v = 3 * index[t];
      const o = 9 + 3 * (t % 3);
      c[o] = p[v];
      c[o + 1] = p[v + 1];
      c[o + 2] = p[v + 2];
      if (t % 3 !== 2) continue;
      const d = pair.squared(this.best);
      if (d >= this.best) continue;
      this.best = d;
      points.set(pair.points);
    }
    // Nothing is nearer than touching: stop.
    return this.best === 0;
  }
}

import type { Context } from '../core/context.ts';
import { joinMeshes, type Mesh, vertexCount } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { BodyTree, type Neighbour, type RoughSlack } from '../fit/body-tree.ts';
import type { Pose } from '../fit/pose.ts';
import type { Gap } from '../fit/rigid-move.ts';
import { buildTree, Search } from '../make/approach.ts';
import type { Nearness } from './nearness.ts';

export interface JudgeAsk {
  /** Obstacles that count. */
  readonly names: ReadonlySet<string>;
  /** Asked of all of them, mm. */
  readonly clearance: number;
  /** Gaps of this and more are all the same, mm. */
  readonly within: number;
  readonly rough?: RoughSlack;
}

/**
 * The gap of a body in pose after pose: all obstacles in one tree, the body in another, see BodyTree. On the demo's seed mesh (20k faces against 0.9M
 * triangles) 3 ms a pose once the first was looked at (0.9 s); every face against each obstacle's tree 2.4 s.
 */
export class GapJudge {
  private readonly tree: BodyTree;
  private readonly neighbours: readonly Neighbour[];
  private readonly ask: JudgeAsk;

  constructor(near: Nearness, ask: JudgeAsk, context: Context) {
    this.ask = ask;
    this.tree = new BodyTree(near.body, near.centre);
    const present = near.prepared.filter((p) => p.tree && ask.names.has(p.obstacle.name));
    const owners = present.map((p) => ({ name: p.obstacle.name, origin: p.origin, search: new Search(p.tree!) }));
    const nameAt = (p: Vec3): string => nearestOwner(owners, p);
    // Points have a radius, one a cloud; all meshes have none and share a tree.
    const groups = new Map<number, Mesh[]>();
    for (const { obstacle: o } of present) {
      const [radius, mesh] = 'mesh' in o ? [0, o.mesh] : [o.radius, asTriangles(o.cloud)];
      groups.set(radius, [...(groups.get(radius) ?? []), mesh]);
    }
    this.neighbours = Array.from(groups, ([radius, meshes]): Neighbour => {
      const joined = joinMeshes(meshes);
      const search = new Search(buildTree(joined.positions, joined.indices, context.pool));
      const { points } = search;
      return {
        origin: joined.origin,
        off: ask.clearance + radius,
        distance: (corners, limit) => search.face(corners, limit),
        nearest: () => ({ body: [points[0], points[1], points[2]], own: [points[3], points[4], points[5]] }),
        nameAt,
      };
    });
  }

  /** Least of distance less the clearance, exact where it is below what is of interest; see BodyTree.least. */
  gap(pose: Pose, floor?: number): Gap {
    const { within, rough } = this.ask;
    return this.tree.least(pose, this.neighbours, { within, rough, ...(floor === undefined ? {} : { floor }) });
  }
}

interface Owner {
  readonly name: string;
  readonly origin: Vec3;
  readonly search: Search;
}

/** Whose surface a place lies on. */
function nearestOwner(owners: readonly Owner[], p: Vec3): string {
  let best = Infinity;
  let name = '';
  for (const o of owners) {
    const d = o.search.face(
      Float64Array.from({ length: 9 }, (_, c) => p[c % 3] - o.origin[c % 3]),
      best,
    );
    if (d >= best) continue;
    best = d;
    name = o.name;
  }
  return name;
}

/** Points as triangles whose corners fall together. */
const asTriangles = (cloud: { readonly origin: Vec3; readonly positions: Float32Array }): Mesh => ({
  origin: cloud.origin,
  positions: cloud.positions,
  indices: Uint32Array.from({ length: 3 * vertexCount({ ...cloud, indices: new Uint32Array(0) }) }, (_, i) => Math.floor(i / 3)),
});

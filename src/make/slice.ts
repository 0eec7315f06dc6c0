import { type Mesh, triangleCount } from '../core/mesh.ts';
import { cross, dot, sub } from '../core/vec.ts';
import type { SectionPlane } from '../field/outlines.ts';

/** A line in a plane that may end: a scan has holes. */
export interface SliceLine {
  /** Plane coordinates, alternating, mm. */
  readonly points: Float64Array;
  readonly closed: boolean;
}

/** Part of a plane: least and greatest coordinates, mm. */
export type PlaneBox = readonly [a0: number, b0: number, a1: number, b1: number];

/**
 * Where a plane cuts the triangles of a mesh: lines chained over common edges, those wholly outside `box` left out. Corners exactly in
 * the plane count as in front of it, so every cut triangle gives one piece. Triangles whose corners fall together (points of a cloud)
 * give nothing.
 */
export function sliceMesh(mesh: Mesh, plane: SectionPlane, box: PlaneBox): SliceLine[] {
  const { positions: p, indices: t } = mesh;
  const normal = cross(plane.u, plane.v);
  const o = sub(mesh.origin, plane.origin);
  const [oa, ob, oc] = [dot(o, plane.u), dot(o, plane.v), dot(o, normal)];
  const height = (v: number): number => p[v] * normal[0] + p[v + 1] * normal[1] + p[v + 2] * normal[2] + oc;
  // Points on edges, by the edge's two vertices; each triangle joins two of them.
  const named = new Map<number, number>();
  const at: number[] = [];
  const link: number[] = [];
  const vertices = p.length / 3;
  const point = (v: number, w: number): number => {
    const [low, high] = v < w ? [v, w] : [w, v];
    const key = low * vertices + high;
    const known = named.get(key);
    if (known !== undefined) return known;
    const [h0, h1] = [height(3 * low), height(3 * high)];
    const s = h0 / (h0 - h1);
    const [x, y, z] = [0, 1, 2].map((a) => p[3 * low + a] + s * (p[3 * high + a] - p[3 * low + a]));
    named.set(key, at.length / 2);
    at.push(x * plane.u[0] + y * plane.u[1] + z * plane.u[2] + oa, x * plane.v[0] + y * plane.v[1] + z * plane.v[2] + ob);
    link.push(-1, -1);
    return at.length / 2 - 1;
  };
  const spare: [number, number][] = [];
  for (let f = 0; f < triangleCount(mesh); f++) {
    const c = [t[3 * f], t[3 * f + 1], t[3 * f + 2]];
    const front = [height(3 * c[0]) >= 0, height(3 * c[1]) >= 0, height(3 * c[2]) >= 0];
    if (front[0] === front[1] && front[1] === front[2]) continue;
    const ends: number[] = [];
    for (let i = 0; i < 3; i++) if (front[i] !== front[(i + 1) % 3]) ends.push(point(c[i], c[(i + 1) % 3]));
    const [a, b] = ends;
    // Where more than two faces meet at an edge, the third goes on its own.
    const slotA = link[2 * a] < 0 ? 2 * a : link[2 * a + 1] < 0 ? 2 * a + 1 : -1;
    const slotB = link[2 * b] < 0 ? 2 * b : link[2 * b + 1] < 0 ? 2 * b + 1 : -1;
    if (slotA < 0 || slotB < 0) spare.push([a, b]);
    else {
      link[slotA] = b;
      link[slotB] = a;
    }
  }
  const lines = chain(link).concat(spare.map((ids) => ({ ids, closed: false })));
  return lines
    .map(({ ids, closed }) => ({ points: Float64Array.from(ids.flatMap((i) => [at[2 * i], at[2 * i + 1]])), closed }))
    .filter(({ points }) => meets(points, box));
}

/** Follows the links from loose ends first, then round what is closed. */
function chain(link: readonly number[]): { ids: number[]; closed: boolean }[] {
  const n = link.length / 2;
  const seen = new Uint8Array(n);
  const out: { ids: number[]; closed: boolean }[] = [];
  const follow = (start: number): number[] => {
    const ids: number[] = [];
    for (let at = start, from = -1; at >= 0 && !seen[at]; ) {
      seen[at] = 1;
      ids.push(at);
      const [p, q] = [link[2 * at], link[2 * at + 1]];
      const to = p === from ? q : p;
      from = at;
      at = to;
    }
    return ids;
  };
  for (let i = 0; i < n; i++)
    if (!seen[i] && (link[2 * i] < 0 || link[2 * i + 1] < 0)) {
      // A loose end has its only link first.
      const ids = follow(i);
      if (ids.length > 1) out.push({ ids, closed: false });
    }
  for (let i = 0; i < n; i++) if (!seen[i]) out.push({ ids: follow(i), closed: true });
  return out;
}

function meets(points: Float64Array, [a0, b0, a1, b1]: PlaneBox): boolean {
  let [la, lb, ha, hb] = [Infinity, Infinity, -Infinity, -Infinity];
  for (let i = 0; i < points.length; i += 2) {
    la = Math.min(la, points[i]);
    ha = Math.max(ha, points[i]);
    lb = Math.min(lb, points[i + 1]);
    hb = Math.max(hb, points[i + 1]);
  }
  return la <= a1 && ha >= a0 && lb <= b1 && hb >= b0;
}

/**
 * Points of a cloud within `radius` mm of the plane (plane coordinates alternating, mm) and in the box. A cloud is kept as triangles
 * whose corners fall together.
 */
export function slicePoints(mesh: Mesh, radius: number, plane: SectionPlane, [a0, b0, a1, b1]: PlaneBox): Float64Array {
  const { positions: p } = mesh;
  const normal = cross(plane.u, plane.v);
  const o = sub(mesh.origin, plane.origin);
  const out: number[] = [];
  for (let i = 0; i < p.length; i += 3) {
    const q: [number, number, number] = [p[i] + o[0], p[i + 1] + o[1], p[i + 2] + o[2]];
    if (Math.abs(dot(q, normal)) > radius) continue;
    const [a, b] = [dot(q, plane.u), dot(q, plane.v)];
    if (a >= a0 && a <= a1 && b >= b0 && b <= b1) out.push(a, b);
  }
  return Float64Array.from(out);
}

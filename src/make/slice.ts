import type { Mesh } from '../core/mesh.ts';
import { cross, dot, sub, type Vec3 } from '../core/vec.ts';
import type { SectionPlane } from '../field/outlines.ts';

/** A line in a plane that may end: a scan has holes. */
export interface SliceLine {
  /** Plane coordinates, alternating, mm. */
  readonly points: Float64Array;
  readonly closed: boolean;
}

/** Part of a plane: least and greatest coordinates, mm. */
export type PlaneBox = readonly [a0: number, b0: number, a1: number, b1: number];

/** Lines on a mesh: points in mm about the mesh's origin, x, y, z alternating, and the numbers of the points along each line. */
export interface MeshLines {
  readonly at: Float64Array;
  readonly lines: readonly { readonly ids: readonly number[]; readonly closed: boolean }[];
}

/**
 * Where a value given at the vertices and linear on the faces is zero. Vertices at zero exactly count as above, so every face that is crossed
 * gives one piece; pieces are chained over common edges.
 */
export function zeroLines({ positions: p, indices: t }: Mesh, value: Float64Array): MeshLines {
  // Points on edges, by the edge's two vertices; each triangle joins two of them.
  const named = new Map<number, number>();
  const at: number[] = [];
  const link: number[] = [];
  const point = (v: number, w: number): number => {
    const [low, high] = v < w ? [v, w] : [w, v];
    const key = low * value.length + high;
    const known = named.get(key);
    if (known !== undefined) return known;
    const s = value[low] / (value[low] - value[high]);
    const id = at.length / 3;
    named.set(key, id);
    for (let a = 0; a < 3; a++) at.push(p[3 * low + a] + s * (p[3 * high + a] - p[3 * low + a]));
    link.push(-1, -1);
    return id;
  };
  const spare: number[][] = [];
  for (let f = 0; f < t.length; f += 3) {
    const [i, j, k] = [t[f], t[f + 1], t[f + 2]];
    const [u, v, w] = [value[i] >= 0, value[j] >= 0, value[k] >= 0];
    if (u === v && v === w) continue;
    // The corner that lies alone on its side has both crossed edges.
    const [lone, p1, p2] = v === w ? [i, j, k] : u === w ? [j, k, i] : [k, i, j];
    const a = point(lone, p1);
    const b = point(lone, p2);
    // Where more than two faces meet at an edge, the third goes on its own.
    const slotA = link[2 * a] < 0 ? 2 * a : link[2 * a + 1] < 0 ? 2 * a + 1 : -1;
    const slotB = link[2 * b] < 0 ? 2 * b : link[2 * b + 1] < 0 ? 2 * b + 1 : -1;
    if (slotA < 0 || slotB < 0) spare.push([a, b]);
    else {
      link[slotA] = b;
      link[slotB] = a;
    }
  }
  return { at: Float64Array.from(at), lines: chain(link).concat(spare.map((ids) => ({ ids, closed: false }))) };
}

/**
 * Where a plane cuts the triangles of a mesh: lines chained over common edges, those wholly outside `box` left out. Triangles whose corners
 * fall together (points of a cloud) give nothing.
 */
export function sliceMesh(mesh: Mesh, plane: SectionPlane, box: PlaneBox): SliceLine[] {
  const { positions: p } = mesh;
  const [nx, ny, nz] = cross(plane.u, plane.v);
  const o = sub(mesh.origin, plane.origin);
  const height = new Float64Array(p.length / 3);
  const lift = o[0] * nx + o[1] * ny + o[2] * nz;
  for (let v = 0; v < height.length; v++) height[v] = p[3 * v] * nx + p[3 * v + 1] * ny + p[3 * v + 2] * nz + lift;
  const { at, lines } = zeroLines(mesh, height);
  const along = (i: number, d: Vec3): number => (at[3 * i] + o[0]) * d[0] + (at[3 * i + 1] + o[1]) * d[1] + (at[3 * i + 2] + o[2]) * d[2];
  return lines
    .map(({ ids, closed }) => ({ points: Float64Array.from(ids.flatMap((i) => [along(i, plane.u), along(i, plane.v)])), closed }))
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

import type { Mesh } from '../core/mesh.ts';
import type { Box3 } from '../core/vec.ts';

/**
 * A scan as points with outward unit normals, in a lattice of buckets for looking up what is near. `corner` is 1 for the mesh's
 * own vertices and 0 for points put into large faces, which lie inside a round surface by the faces' height of arc.
 */
export interface Points {
  /** Three numbers a point, mm, absolute. */
  readonly position: Float64Array;
  readonly normal: Float32Array;
  readonly corner: Uint8Array;
  readonly count: number;
  readonly buckets: Buckets;
}

interface Buckets {
  readonly min: readonly [number, number, number];
  readonly size: number;
  readonly n: readonly [number, number, number];
  /** Points of bucket b: order[first[b]] .. order[first[b + 1] - 1]. */
  readonly first: Int32Array;
  readonly order: Int32Array;
}

/** Faces with an edge longer than this, mm, get points inside. */
const SPACING = 3;
const MOST_POINTS = 1_500_000;
const MOST_BUCKETS = 4_000_000;

/** Points and normals of a mesh whose faces point outwards; only those within `box`, when it is given. */
export function pointsOf(mesh: Mesh, box?: Box3): Points {
  const { positions: p, indices: t, origin } = mesh;
  const normals = vertexNormals(mesh);
  const position: number[] = [];
  const normal: number[] = [];
  const corner: number[] = [];
  const inside = (x: number, y: number, z: number): boolean =>
    !box || (x >= box.min[0] && y >= box.min[1] && z >= box.min[2] && x <= box.max[0] && y <= box.max[1] && z <= box.max[2]);
  const put = (x: number, y: number, z: number, n: readonly number[], own: 0 | 1): void => {
    if (!inside(x, y, z)) return;
    position.push(x, y, z);
    normal.push(n[0], n[1], n[2]);
    corner.push(own);
  };
  const step = Math.max(1, Math.ceil(p.length / 3 / MOST_POINTS));
  for (let v = 0; v < p.length; v += 3 * step) {
    const n = [normals[v], normals[v + 1], normals[v + 2]];
    if (n[0] !== 0 || n[1] !== 0 || n[2] !== 0) put(p[v] + origin[0], p[v + 1] + origin[1], p[v + 2] + origin[2], n, 1);
  }
  for (let i = 0; i < t.length && corner.length < MOST_POINTS; i += 3) fillFace(i, put);
  return packed(position, normal, corner);

  /** A lattice of points in a large face, corners left out; normals between those of the corners. */
  function fillFace(i: number, add: typeof put): void {
    const [a, b, c] = [t[i] * 3, t[i + 1] * 3, t[i + 2] * 3];
    const edge = (u: number, v: number): number => Math.hypot(p[u] - p[v], p[u + 1] - p[v + 1], p[u + 2] - p[v + 2]);
    const m = Math.min(200, Math.ceil(Math.max(edge(a, b), edge(b, c), edge(c, a)) / SPACING));
    if (m < 2) return;
    for (let r = 0; r <= m; r++)
      for (let s = 0; s <= m - r; s++) {
        const q = m - r - s;
        if (r === m || s === m || q === m) continue;
        const mix = (f: Float32Array, o: number): number => (f[a + o] * q + f[b + o] * r + f[c + o] * s) / m;
        const n = [mix(normals, 0), mix(normals, 1), mix(normals, 2)];
        const len = Math.hypot(n[0], n[1], n[2]);
        if (len > 0.3)
          add(
            mix(p, 0) + origin[0],
            mix(p, 1) + origin[1],
            mix(p, 2) + origin[2],
            n.map((v) => v / len),
            0,
          );
      }
  }
}

/** Unit normals of the vertices, weighted by the faces' areas; zero where no face is. */
function vertexNormals({ positions: p, indices: t }: Mesh): Float32Array {
  const out = new Float32Array(p.length);
  for (let i = 0; i < t.length; i += 3) {
    const [a, b, c] = [t[i] * 3, t[i + 1] * 3, t[i + 2] * 3];
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    const n = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    for (const v of [a, b, c]) for (let o = 0; o < 3; o++) out[v + o] += n[o];
  }
  for (let v = 0; v < out.length; v += 3) {
    const len = Math.hypot(out[v], out[v + 1], out[v + 2]);
    if (len > 0) for (let o = 0; o < 3; o++) out[v + o] /= len;
  }
  return out;
}

function packed(position: readonly number[], normal: readonly number[], corner: readonly number[]): Points {
  const at = Float64Array.from(position);
  const count = corner.length;
  const min: [number, number, number] = [Infinity, Infinity, Infinity];
  const max: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < at.length; i++) {
    const a = i % 3;
    if (at[i] < min[a]) min[a] = at[i];
    if (at[i] > max[a]) max[a] = at[i];
  }
  const extent = min.map((v, a) => (count ? max[a] - v : 0));
  const size = Math.max(8, Math.cbrt(((extent[0] + 8) * (extent[1] + 8) * (extent[2] + 8)) / MOST_BUCKETS));
  const n: [number, number, number] = [0, 0, 0];
  for (let a = 0; a < 3; a++) n[a] = Math.floor(extent[a] / size) + 1;
  const bucket = (i: number): number => {
    const x = Math.floor((at[3 * i] - min[0]) / size);
    const y = Math.floor((at[3 * i + 1] - min[1]) / size);
    return x + n[0] * (y + n[1] * Math.floor((at[3 * i + 2] - min[2]) / size));
  };
  const first = new Int32Array(n[0] * n[1] * n[2] + 1);
  for (let i = 0; i < count; i++) first[bucket(i) + 1]++;
  for (let b = 1; b < first.length; b++) first[b] += first[b - 1];
  const next = first.slice();
  const order = new Int32Array(count);
  for (let i = 0; i < count; i++) order[next[bucket(i)]++] = i;
  return {
    position: at,
    normal: Float32Array.from(normal),
    corner: Uint8Array.from(corner),
    count,
    buckets: { min, size, n, first, order },
  };
}

/** Indices of all points within `radius` of x, y, z. */
export function pointsNear(points: Points, at: readonly number[], radius: number): number[] {
  const { min, size, n, first, order } = points.buckets;
  const p = points.position;
  const lo = [0, 1, 2].map((a) => Math.max(0, Math.floor((at[a] - radius - min[a]) / size)));
  const hi = [0, 1, 2].map((a) => Math.min(n[a] - 1, Math.floor((at[a] + radius - min[a]) / size)));
  const out: number[] = [];
  for (let z = lo[2]; z <= hi[2]; z++)
    for (let y = lo[1]; y <= hi[1]; y++) {
      const row = n[0] * (y + n[1] * z);
      if (lo[0] > hi[0]) continue;
      for (let o = first[row + lo[0]]; o < first[row + hi[0] + 1]; o++) {
        const i = order[o];
        const d2 = (p[3 * i] - at[0]) ** 2 + (p[3 * i + 1] - at[1]) ** 2 + (p[3 * i + 2] - at[2]) ** 2;
        if (d2 <= radius * radius) out.push(i);
      }
    }
  return out;
}

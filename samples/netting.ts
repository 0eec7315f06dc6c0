import type { Vec3 } from '../src/core/vec.ts';
import { at, type CurvePiece, type Primitive, type Sheet } from './primitives.ts';

/**
 * Surfaces of exact solids as fine triangles, with the exact outward normal at each corner. Thick parts: a dual net (one corner a
 * cell that the surface crosses, moved onto the exact surface) over a lattice whose lines lie close together where the surface
 * matters and wide apart elsewhere, so that unions come out as one skin. Thin sheets: a strip along the middle line.
 * Only blocks that the surface can cross are looked at: a frame of 150 primitives at 2 mm takes about 1 s.
 */
export interface Skin {
  /** mm. */
  readonly positions: Float64Array;
  readonly normals: Float64Array;
  readonly indices: Uint32Array;
}

/** Lattice lines of one axis, mm, rising. */
export type Lines = Float64Array;

/** Lines from `lo` to `hi`, `fine` mm apart within [from, to], and growing by a fifth of the way beyond it up to `coarse` beyond. */
export function lines(range: { lo: number; hi: number; from: number; to: number }, fine: number, coarse: number): Lines {
  const { lo, hi, from, to } = range;
  const up: number[] = [];
  const step = (d: number): number => Math.min(coarse, fine + 0.2 * Math.max(0, d));
  let x = Math.min(Math.max(lo, from), hi);
  for (let y = x; y < hi + coarse; y += step(Math.max(y - to, from - y))) up.push(y);
  const down: number[] = [];
  while (x > lo - coarse) {
    x -= step(Math.max(from - x, x - to));
    down.push(x);
  }
  return Float64Array.from([...down.reverse(), ...up]);
}

/** Cells to a block's edge. */
const B = 12;
const N = B + 1;

interface Block {
  /** Sign of the distance at each of the block's N^3 lattice points: 1 inside. */
  readonly inside: Uint8Array;
  /** Corner number of each of its B^3 cells, -1 for none. */
  readonly corner: Int32Array;
}

/** The net over the union of `primitives`. */
export function net(primitives: readonly Primitive[], axes: readonly [Lines, Lines, Lines]): Skin {
  const [nx, ny, nz] = axes.map((l) => Math.ceil((l.length - 1) / B));
  const blocks = new Map<number, Block>();
  const out: Growing = { positions: [], normals: [] };
  const values = new Float64Array(N * N * N);
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++) {
        const near = crossing(primitives, axes, [i * B, j * B, k * B]);
        if (near.length === 0) continue;
        const made = fillBlock(near, { axes, start: [i * B, j * B, k * B] }, values, out);
        if (made) blocks.set(i + nx * (j + ny * k), made);
      }
  const indices = faces(blocks, nx, ny);
  return { positions: Float64Array.from(out.positions), normals: Float64Array.from(out.normals), indices };
}

interface Growing {
  readonly positions: number[];
  readonly normals: number[];
}

const lineAt = (l: Lines, i: number): number => (i < l.length ? l[i] : l[l.length - 1] + (i - l.length + 1));

/** Those primitives whose surface may pass through the block; none when it lies wholly inside one or outside all. */
function crossing(primitives: readonly Primitive[], axes: readonly Lines[], start: Vec3): Primitive[] {
  const lo = axes.map((l, a) => lineAt(l, start[a]));
  const hi = axes.map((l, a) => lineAt(l, start[a] + B));
  const [x, y, z] = [0, 1, 2].map((a) => (lo[a] + hi[a]) / 2);
  const reach = Math.sqrt([0, 1, 2].reduce((s, a) => s + (hi[a] - lo[a]) ** 2, 0)) / 2 + 0.5;
  const near: Primitive[] = [];
  for (const p of primitives) {
    const { min, max } = p.box;
    if (min[0] > hi[0] + 1 || max[0] < lo[0] - 1 || min[1] > hi[1] + 1 || max[1] < lo[1] - 1 || min[2] > hi[2] + 1 || max[2] < lo[2] - 1)
      continue;
    const d = p.distance(x, y, z);
    if (d < -reach) return [];
    if (d <= reach) near.push(p);
  }
  return near;
}

export function least(primitives: readonly Primitive[], x: number, y: number, z: number): number {
  let d = Infinity;
  for (let i = 0; i < primitives.length; i++) {
    const e = primitives[i].distance(x, y, z);
    if (e < d) d = e;
  }
  return d;
}

interface Place {
  readonly axes: readonly [Lines, Lines, Lines];
  readonly start: Vec3;
}

/** Signs and corners of one block, or undefined when the surface misses it. */
function fillBlock(near: readonly Primitive[], { axes, start }: Place, values: Float64Array, out: Growing): Block | undefined {
  const inside = new Uint8Array(N * N * N);
  let count = 0;
  for (let k = 0, c = 0; k < N; k++)
    for (let j = 0; j < N; j++)
      for (let i = 0; i < N; i++, c++) {
        const d = least(near, lineAt(axes[0], start[0] + i), lineAt(axes[1], start[1] + j), lineAt(axes[2], start[2] + k));
        values[c] = d;
        if (d < 0) {
          inside[c] = 1;
          count++;
        }
      }
  if (count === 0 || count === N * N * N) return undefined;
  const corner = new Int32Array(B * B * B).fill(-1);
  for (let k = 0; k < B; k++)
    for (let j = 0; j < B; j++)
      for (let i = 0; i < B; i++) {
        const c = i + N * (j + N * k);
        if (!crosses(inside, c)) continue;
        corner[i + B * (j + B * k)] = out.positions.length / 3;
        const lo: Vec3 = [lineAt(axes[0], start[0] + i), lineAt(axes[1], start[1] + j), lineAt(axes[2], start[2] + k)];
        const hi: Vec3 = [lineAt(axes[0], start[0] + i + 1), lineAt(axes[1], start[1] + j + 1), lineAt(axes[2], start[2] + k + 1)];
        ontoSurface(near, middleOfCuts(values, c, { lo, hi }), out);
      }
  return { inside, corner };
}

const CORNERS = [0, 1, N, N + 1, N * N, N * N + 1, N * N + N, N * N + N + 1];
/** The twelve edges of a cell as pairs of its corners (bit 0 x, bit 1 y, bit 2 z). */
const EDGES = [0, 1, 2, 3, 4, 5, 6, 7].flatMap((a) => [1, 2, 4].filter((b) => (a & b) === 0).map((b) => [a, a | b] as const));

function crosses(inside: Uint8Array, c: number): boolean {
  const first = inside[c];
  for (let q = 1; q < 8; q++) if (inside[c + CORNERS[q]] !== first) return true;
  return false;
}

/** Mean of the places where the surface cuts the cell's edges. */
function middleOfCuts(values: Float64Array, c: number, cell: { lo: Vec3; hi: Vec3 }): [number, number, number] {
  const sum: [number, number, number] = [0, 0, 0];
  let n = 0;
  for (const [a, b] of EDGES) {
    const da = values[c + CORNERS[a]];
    const db = values[c + CORNERS[b]];
    if (da < 0 === db < 0) continue;
    const t = da / (da - db);
    for (let q = 0; q < 3; q++) {
      const bit = 1 << q;
      const u = a & bit ? 1 : b & bit ? t : 0;
      sum[q] += cell.lo[q] + (cell.hi[q] - cell.lo[q]) * u;
    }
    n++;
  }
  return [sum[0] / n, sum[1] / n, sum[2] / n];
}

/** Moves a point onto the union's exact surface (three Newton steps along the numeric gradient) and keeps it with its normal. */
function ontoSurface(near: readonly Primitive[], p: [number, number, number], out: Growing): void {
  const e = 0.01;
  let [x, y, z] = p;
  let gx = 0;
  let gy = 0;
  let gz = 0;
  for (let turn = 0; turn < 3; turn++) {
    // Gradient from the four corners of a small tetrahedron, whose mean is the distance itself.
    const a = least(near, x + e, y - e, z - e);
    const b = least(near, x - e, y - e, z + e);
    const c = least(near, x - e, y + e, z - e);
    const d = least(near, x + e, y + e, z + e);
    gx = a - b - c + d;
    gy = -a - b + c + d;
    gz = -a + b - c + d;
    const n = Math.sqrt(gx * gx + gy * gy + gz * gz) || 1;
    gx /= n;
    gy /= n;
    gz /= n;
    const f = (a + b + c + d) / 4;
    x -= f * gx;
    y -= f * gy;
    z -= f * gz;
  }
  out.positions.push(x, y, z);
  out.normals.push(gx, gy, gz);
}

/** Two triangles for each lattice edge that the surface cuts, from the corners of the four cells round it. */
function faces(blocks: ReadonlyMap<number, Block>, nx: number, ny: number): Uint32Array {
  const out: number[] = [];
  const cornerOf = (block: number, i: number, j: number, k: number): number => {
    let b = block;
    let [x, y, z] = [i, j, k];
    if (x < 0) [b, x] = [b - 1, x + B];
    if (y < 0) [b, y] = [b - nx, y + B];
    if (z < 0) [b, z] = [b - nx * ny, z + B];
    return blocks.get(b)?.corner[x + B * (y + B * z)] ?? -1;
  };
  const steps = [1, N, N * N];
  for (const [id, { inside }] of blocks)
    for (let k = 0; k < B; k++)
      for (let j = 0; j < B; j++)
        for (let i = 0; i < B; i++) {
          const c = i + N * (j + N * k);
          for (let axis = 0; axis < 3; axis++) {
            const here = inside[c];
            if (here === inside[c + steps[axis]]) continue;
            const q = [0, 0, 0];
            const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
            // Counter-clockwise about the axis, seen from its positive end.
            const loop = [
              [-1, -1],
              [0, -1],
              [0, 0],
              [-1, 0],
            ].map(([du, dv]) => {
              q[axis] = 0;
              q[u] = du;
              q[v] = dv;
              return cornerOf(id, i + q[0], j + q[1], k + q[2]);
            });
            if (loop.some((w) => w < 0)) continue;
            const [a, b, d, e] = here ? loop : loop.reverse();
            out.push(a, b, d, a, d, e);
          }
        }
  return Uint32Array.from(out);
}

/** A closed strip round a bent sheet, `spacing` mm between its points: both faces, round edges and ends. */
export function strip(s: Sheet, spacing: number): Skin {
  const positions: number[] = [];
  const normals: number[] = [];
  const across = Math.max(2, Math.round((2 * s.half) / spacing));
  const stations = walk(s, spacing);
  // Once round the section: over the upper face, the rounded edge, back under the lower one, the other edge.
  const loop: { w: number; n: number; o: number }[] = [];
  for (const side of [1, -1]) {
    for (let i = 0; i <= across; i++) loop.push({ w: side * s.half * ((2 * i) / across - 1), n: side, o: 0 });
    for (const t of [Math.PI / 3, (2 * Math.PI) / 3]) loop.push({ w: side * s.half, n: side * Math.cos(t), o: side * Math.sin(t) });
  }
  const { w } = s.frame;
  const last = stations.length - 1;
  const rows = [
    ...[1.4, 0.8].map((t) => ({ at: 0, t })),
    ...stations.map((_, i) => ({ at: i, t: 0 })),
    ...[0.8, 1.4].map((t) => ({ at: last, t })),
  ];
  for (const row of rows) {
    const { p, tangent, normal } = stations[row.at];
    const forward = row.at === 0 ? -1 : 1;
    const [c, d] = [Math.cos(row.t), forward * Math.sin(row.t)];
    for (const l of loop) {
      const dir = [0, 1, 2].map((a) => (normal[a] * l.n + w[a] * l.o) * c + tangent[a] * d);
      for (let a = 0; a < 3; a++) {
        positions.push(p[a] + w[a] * l.w + (dir[a] * s.thickness) / 2);
        normals.push(dir[a]);
      }
    }
  }
  const m = loop.length;
  const indices: number[] = [];
  for (let r = 0; r + 1 < rows.length; r++)
    for (let i = 0; i < m; i++) {
      const [a, b] = [r * m + i, r * m + ((i + 1) % m)];
      // Alternate the diagonal so that neither direction is favoured.
      if ((r + i) % 2) indices.push(a, b + m, a + m, a, b, b + m);
      else indices.push(a, b, a + m, b, b + m, a + m);
    }
  // Close both ends between the upper and the lower half of the section, and at the two sides.
  for (const [start, flip] of [
    [0, false],
    [(rows.length - 1) * m, true],
  ] as const) {
    const quad = (a: number, b: number, c: number, d: number): void => {
      const t = [a, b, c, a, c, d].map((q) => start + (q % m));
      indices.push(...(flip ? t : t.reverse()));
    };
    for (let i = 0; i < across; i++) quad(i, i + 1, m / 2 + across - i - 1, m / 2 + across - i);
    for (const side of [across, m / 2 + across]) quad(side, side + 1, side + 2, side + 3);
  }
  return { positions: Float64Array.from(positions), normals: Float64Array.from(normals), indices: Uint32Array.from(indices) };
}

interface Station {
  readonly p: Vec3;
  readonly tangent: Vec3;
  readonly normal: Vec3;
}

/** Evenly spaced points along a sheet's middle line, with tangent and the normal w x tangent. */
function walk(s: Sheet, spacing: number): Station[] {
  const out: Station[] = [];
  const { w } = s.frame;
  const keep = (p: Vec3, t: Vec3): void => {
    out.push({ p, tangent: t, normal: [w[1] * t[2] - w[2] * t[1], w[2] * t[0] - w[0] * t[2], w[0] * t[1] - w[1] * t[0]] });
  };
  s.curve.forEach((piece, index) => {
    const long = pieceLength(piece);
    const n = Math.max(1, Math.round(long / spacing));
    for (let i = index === 0 ? 0 : 1; i <= n; i++) {
      const [p, t] = pointOn(piece, i / n);
      keep(p, t);
    }
  });
  return out;
}

function pieceLength({ a, b, arc }: CurvePiece): number {
  return arc ? arc.radius * arc.sweep : Math.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 + (b[2] - a[2]) ** 2);
}

/** Point and unit tangent at the share `k` of a piece. */
function pointOn(piece: CurvePiece, k: number): [Vec3, Vec3] {
  const { a, b, arc } = piece;
  if (!arc) {
    const n = pieceLength(piece);
    const t: Vec3 = [(b[0] - a[0]) / n, (b[1] - a[1]) / n, (b[2] - a[2]) / n];
    return [[a[0] + t[0] * n * k, a[1] + t[1] * n * k, a[2] + t[2] * n * k], t];
  }
  const { centre, axis, radius: R } = arc;
  const u: Vec3 = [(a[0] - centre[0]) / R, (a[1] - centre[1]) / R, (a[2] - centre[2]) / R];
  const v: Vec3 = [axis[1] * u[2] - axis[2] * u[1], axis[2] * u[0] - axis[0] * u[2], axis[0] * u[1] - axis[1] * u[0]];
  const [c, s] = [Math.cos(arc.sweep * k), Math.sin(arc.sweep * k)];
  const f = { origin: centre, u, v, w: axis };
  return [at(f, R * c, R * s, 0), [v[0] * c - u[0] * s, v[1] * c - u[1] * s, v[2] * c - u[2] * s]];
}

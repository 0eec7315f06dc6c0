import type { Mesh } from '../src/core/mesh.ts';
import { add, cross, dot, frameOf, length, normalize, scale, sub, type Vec3 } from '../src/core/vec.ts';

/** Plain closed solids for the drawing, mm, counter-clockwise seen from outside. */

const ROUND = 24;

/** A box about `centre`, its sides along the unit vectors `axes`. */
export function boxMesh(centre: Vec3, size: Vec3, axes: readonly [Vec3, Vec3, Vec3] = IDENTITY): Mesh {
  const positions: number[] = [];
  // A left-handed frame would turn the faces inside out; the box is the same with its last axis the other way.
  const hand = dot(cross(axes[0], axes[1]), axes[2]) < 0 ? -1 : 1;
  for (let c = 0; c < 8; c++) {
    let p = centre;
    for (let a = 0; a < 3; a++) p = add(p, scale(axes[a], (c & (1 << a) ? 0.5 : -0.5) * size[a] * (a === 2 ? hand : 1)));
    positions.push(...p);
  }
  const faces = [0, 4, 6, 2, 1, 3, 7, 5, 0, 1, 5, 4, 2, 6, 7, 3, 0, 2, 3, 1, 4, 5, 7, 6];
  const indices: number[] = [];
  for (let f = 0; f < 24; f += 4) indices.push(faces[f], faces[f + 1], faces[f + 2], faces[f], faces[f + 2], faces[f + 3]);
  return meshOf(positions, indices);
}

const IDENTITY: readonly [Vec3, Vec3, Vec3] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

/** A ball of that radius, by rings. */
export function ballMesh(centre: Vec3, radius: number): Mesh {
  const rings = ROUND / 2;
  const line: Vec3[] = [];
  const radii: number[] = [];
  for (let i = 0; i <= rings; i++) {
    const t = (Math.PI * i) / rings;
    line.push(add(centre, [0, 0, -radius * Math.cos(t)]));
    radii.push(radius * Math.sin(t));
  }
  return turned(line, radii);
}

/** A round rod along a line of at least two points, with flat ends. */
export const rodMesh = (line: readonly Vec3[], radius: number): Mesh => turned(line, new Array<number>(line.length).fill(radius));

/** An arrow from one point to another: a shaft and a head three times as wide, at most a third of the length. */
export function arrowMesh(from: Vec3, to: Vec3, radius: number): Mesh {
  const along = sub(to, from);
  const head = Math.min(7 * radius, length(along) / 3);
  const neck = sub(to, scale(normalize(along), head));
  return turned([from, neck, neck, to], [radius, radius, 3 * radius, 0]);
}

/** The rings of a round body about a bent line, carried along it without twist, closed at both ends. */
function turned(line: readonly Vec3[], radii: readonly number[]): Mesh {
  const positions: number[] = [];
  const indices: number[] = [];
  const n = line.length;
  let [u] = frameOf(normalize(tangent(line, 0)));
  for (let i = 0; i < n; i++) {
    const t = normalize(tangent(line, i));
    u = normalize(sub(u, scale(t, dot(u, t))));
    const v = cross(t, u);
    for (let j = 0; j < ROUND; j++) {
      const a = (2 * Math.PI * j) / ROUND;
      positions.push(...add(line[i], add(scale(u, radii[i] * Math.cos(a)), scale(v, radii[i] * Math.sin(a)))));
    }
  }
  const ring = (i: number, j: number): number => i * ROUND + (j % ROUND);
  for (let i = 0; i + 1 < n; i++)
    for (let j = 0; j < ROUND; j++)
      indices.push(ring(i, j), ring(i, j + 1), ring(i + 1, j + 1), ring(i, j), ring(i + 1, j + 1), ring(i + 1, j));
  const ends = positions.length / 3;
  positions.push(...line[0], ...line[n - 1]);
  for (let j = 0; j < ROUND; j++) indices.push(ends, ring(0, j + 1), ring(0, j), ends + 1, ring(n - 1, j), ring(n - 1, j + 1));
  return meshOf(positions, indices);
}

/** Direction of a line at one of its points; doubled points are looked past. */
function tangent(line: readonly Vec3[], at: number): Vec3 {
  let [lo, hi] = [Math.max(0, at - 1), Math.min(line.length - 1, at + 1)];
  while (length(sub(line[hi], line[lo])) < 1e-9 && (lo > 0 || hi < line.length - 1)) {
    lo = Math.max(0, lo - 1);
    hi = Math.min(line.length - 1, hi + 1);
  }
  const d = sub(line[hi], line[lo]);
  return length(d) < 1e-9 ? [0, 0, 1] : d;
}

/** Several meshes as one. */
export function together(meshes: readonly Mesh[]): Mesh {
  const positions: number[] = [];
  const indices: number[] = [];
  for (const m of meshes) {
    const before = positions.length / 3;
    for (const v of m.positions) positions.push(v);
    for (const i of m.indices) indices.push(i + before);
  }
  return meshOf(positions, indices);
}

const meshOf = (positions: readonly number[], indices: readonly number[]): Mesh => ({
  origin: [0, 0, 0],
  positions: Float32Array.from(positions),
  indices: Uint32Array.from(indices),
});

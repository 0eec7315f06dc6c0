import { allocateF32, type Pool } from './context.ts';
import { type Box3, emptyBox, type Vec3 } from './vec.ts';

/**
 * Triangles. `positions` holds x, y, z in mm as float32 about the float64 point `origin` (so scans far from zero keep
 * their accuracy); `indices` holds three corners a triangle, counter-clockwise seen from outside.
 */
export interface Mesh {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly indices: Uint32Array;
}

/** The mesh in memory that every task of a pool sees; a pool of one needs no other. */
export function meshIn(pool: Pool, { origin, positions, indices }: Mesh): Mesh {
  if (pool.size === 1) return { origin, positions, indices };
  const at = allocateF32(pool, positions.length);
  at.set(positions);
  const of = new Uint32Array(pool.allocate(indices.byteLength));
  of.set(indices);
  return { origin, positions: at, indices: of };
}

export const triangleCount = (m: Mesh): number => m.indices.length / 3;
export const vertexCount = (m: Mesh): number => m.positions.length / 3;

/** Box of all positions (used or not), mm. */
export function boxOfPositions(origin: Vec3, positions: Float32Array): Box3 {
  const { min, max } = emptyBox();
  const lo = [...min];
  const hi = [...max];
  for (let i = 0; i < positions.length; i += 3)
    for (let a = 0; a < 3; a++) {
      const v = positions[i + a];
      if (v < lo[a]) lo[a] = v;
      if (v > hi[a]) hi[a] = v;
    }
  return {
    min: [lo[0] + origin[0], lo[1] + origin[1], lo[2] + origin[2]],
    max: [hi[0] + origin[0], hi[1] + origin[1], hi[2] + origin[2]],
  };
}

export const meshBox = (m: Mesh): Box3 => boxOfPositions(m.origin, m.positions);

/** Surface area, mm2. */
export function meshArea(m: Mesh): number {
  const { positions: p, indices: t } = m;
  let sum = 0;
  for (let i = 0; i < t.length; i += 3) {
    const a = t[i] * 3;
    const b = t[i + 1] * 3;
    const c = t[i + 2] * 3;
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    sum += Math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx);
  }
  return sum / 2;
}

/** Enclosed volume by the divergence theorem, mm3; negative when the faces point inwards. Only meaningful for closed meshes. */
export function meshVolume(m: Mesh): number {
  const { positions: p, indices: t } = m;
  let sum = 0;
  for (let i = 0; i < t.length; i += 3) {
    const a = t[i] * 3;
    const b = t[i + 1] * 3;
    const c = t[i + 2] * 3;
    sum +=
      p[a] * (p[b + 1] * p[c + 2] - p[b + 2] * p[c + 1]) +
      p[a + 1] * (p[b + 2] * p[c] - p[b] * p[c + 2]) +
      p[a + 2] * (p[b] * p[c + 1] - p[b + 1] * p[c]);
  }
  return sum / 6;
}

/** All triangles of several meshes in one, about the first mesh's origin. */
export function joinMeshes(meshes: readonly Mesh[]): Mesh {
  if (meshes.length === 1) return meshes[0];
  const origin = meshes[0]?.origin ?? [0, 0, 0];
  const positions = new Float32Array(meshes.reduce((n, m) => n + m.positions.length, 0));
  const indices = new Uint32Array(meshes.reduce((n, m) => n + m.indices.length, 0));
  let v = 0;
  let t = 0;
  for (const m of meshes) {
    const base = v / 3;
    const [x, y, z] = [m.origin[0] - origin[0], m.origin[1] - origin[1], m.origin[2] - origin[2]];
    const { positions: p, indices: of } = m;
    for (let i = 0; i < p.length; i += 3, v += 3) {
      positions[v] = p[i] + x;
      positions[v + 1] = p[i + 1] + y;
      positions[v + 2] = p[i + 2] + z;
    }
    for (let i = 0; i < of.length; i++) indices[t++] = of[i] + base;
  }
  return { origin, positions, indices };
}

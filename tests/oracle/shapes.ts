import type { Mesh } from '../../src/core/mesh.ts';
import { type Random, random } from '../../src/core/random.ts';
import { cross, normalize, sub, type Vec3 } from '../../src/core/vec.ts';

/** Test meshes, mm, faces outwards, about the origin unless said otherwise. Built without any code of the program but types and seeds. */

/** Three rows of a rotation matrix. */
export type Turn = readonly [Vec3, Vec3, Vec3];

/** A rotation drawn uniformly (a unit quaternion of four normals; Shoemake, Graphics Gems III, 1992: recalled). */
export function randomTurn(rng: Random): Turn {
  const q = [rng.normal(), rng.normal(), rng.normal(), rng.normal()];
  const n = Math.hypot(...q);
  const [w, x, y, z] = q.map((v) => v / n);
  return [
    [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
    [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
    [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
  ];
}

/** p' = turn p + shift. */
export const movePoint = (p: Vec3, turn: Turn, shift: Vec3): Vec3 => {
  const row = (i: number): number => turn[i][0] * p[0] + turn[i][1] * p[1] + turn[i][2] * p[2] + shift[i];
  return [row(0), row(1), row(2)];
};

/** The mesh turned about zero, then shifted; its new `origin` is the shift, so nothing is lost far from zero. */
export function moveMesh(mesh: Mesh, turn: Turn, shift: Vec3): Mesh {
  const positions = new Float32Array(mesh.positions.length);
  for (let i = 0; i < positions.length; i += 3) {
    const p: Vec3 = [mesh.positions[i] + mesh.origin[0], mesh.positions[i + 1] + mesh.origin[1], mesh.positions[i + 2] + mesh.origin[2]];
    positions.set(movePoint(p, turn, [0, 0, 0]), i);
  }
  return { origin: shift, positions, indices: mesh.indices };
}

/** A patch of quads: `at(u, v)` for whole u, v gives its corners; the faces look along du x dv. */
function patch(nu: number, nv: number, at: (u: number, v: number) => Vec3): Mesh {
  const positions = new Float32Array((nu + 1) * (nv + 1) * 3);
  for (let v = 0; v <= nv; v++) for (let u = 0; u <= nu; u++) positions.set(at(u, v), (u + (nu + 1) * v) * 3);
  const indices = new Uint32Array(nu * nv * 6);
  let o = 0;
  for (let v = 0; v < nv; v++)
    for (let u = 0; u < nu; u++) {
      const a = u + (nu + 1) * v;
      indices.set([a, a + 1, a + nu + 2, a, a + nu + 2, a + nu + 1], o);
      o += 6;
    }
  return { origin: [0, 0, 0], positions, indices };
}

/** A ball by latitude and longitude, 4 rings^2 triangles (two rows of them without area at the poles). Corners lie on the sphere. */
export const ballMesh = (radius: number, rings: number): Mesh =>
  patch(2 * rings, rings, (u, v) => {
    const t = (Math.PI * u) / rings;
    const s = Math.PI * (v / rings - 0.5);
    return [radius * Math.cos(s) * Math.cos(t), radius * Math.cos(s) * Math.sin(t), radius * Math.sin(s)];
  });

/** A box of twelve triangles centred on zero. */
export function boxMesh([a, b, c]: Vec3): Mesh {
  const positions = new Float32Array(24);
  for (let i = 0; i < 8; i++) positions.set([i & 1 ? a / 2 : -a / 2, i & 2 ? b / 2 : -b / 2, i & 4 ? c / 2 : -c / 2], i * 3);
  const quads = [
    [0, 2, 3, 1],
    [4, 5, 7, 6],
    [0, 1, 5, 4],
    [2, 6, 7, 3],
    [0, 4, 6, 2],
    [1, 3, 7, 5],
  ];
  return { origin: [0, 0, 0], positions, indices: Uint32Array.from(quads.flatMap(([p, q, r, s]) => [p, q, r, p, r, s])) };
}

/** An open sheet in the plane z = 0, two triangles. */
export const sheetMesh = (a: number, b: number): Mesh => patch(1, 1, (u, v) => [(u - 0.5) * a, (v - 0.5) * b, 0]);

/** An open-ended tube about a line of points; `around` quads a ring, one ring a point. */
export function tubeMesh(path: readonly Vec3[], radius: number, around: number): Mesh {
  // The ring's first direction is carried along without twist.
  let u = normalize(
    cross(sub(path[1], path[0]), Math.abs(path[1][2] - path[0][2]) > Math.abs(path[1][0] - path[0][0]) ? [1, 0, 0] : [0, 0, 1]),
  );
  const rings = path.map((p, i) => {
    const d = normalize(sub(path[Math.min(i + 1, path.length - 1)], path[Math.max(i - 1, 0)]));
    const v = normalize(cross(d, u));
    u = cross(v, d);
    return { p, u, v };
  });
  return patch(around, path.length - 1, (s, i) => {
    const { p, u, v } = rings[i];
    const t = (2 * Math.PI * s) / around;
    const on = (a: number): number => p[a] + radius * (Math.cos(t) * u[a] + Math.sin(t) * v[a]);
    return [on(0), on(1), on(2)];
  });
}

export interface FrameSpec {
  readonly seed: number;
  /** Outer size, mm. */
  readonly size: Vec3;
  readonly tubes: number;
  /** Edge of a triangle along the tube and around it, mm. */
  readonly edge: number;
  /** Deviation of the noise on every corner, mm. */
  readonly noise?: number;
}

/** Bent tubes of 20 to 45 mm all over a box: what a frame's scan looks like to a kernel. */
export function tubeFrame(spec: FrameSpec): Mesh {
  const rng = random(spec.seed);
  const point = (): Vec3 => [(rng.next() - 0.5) * spec.size[0], (rng.next() - 0.5) * spec.size[1], (rng.next() - 0.5) * spec.size[2]];
  const parts = Array.from({ length: spec.tubes }, () => {
    const radius = rng.range(10, 22.5);
    const around = Math.max(6, Math.round((2 * Math.PI * radius) / spec.edge));
    return tubeMesh(bezier(point(), point(), point(), spec.edge), radius, around);
  });
  const positions = new Float32Array(parts.reduce((n, m) => n + m.positions.length, 0));
  const indices = new Uint32Array(parts.reduce((n, m) => n + m.indices.length, 0));
  let v = 0;
  let t = 0;
  for (const m of parts) {
    for (const i of m.indices) indices[t++] = i + v / 3;
    positions.set(m.positions, v);
    v += m.positions.length;
  }
  if (spec.noise) for (let i = 0; i < positions.length; i++) positions[i] += spec.noise * rng.normal();
  return { origin: [0, 0, 0], positions, indices };
}

function bezier(a: Vec3, b: Vec3, c: Vec3, step: number): Vec3[] {
  const n = Math.max(2, Math.round((Math.hypot(...sub(b, a)) + Math.hypot(...sub(c, b))) / step));
  return Array.from({ length: n + 1 }, (_, i): Vec3 => {
    const t = i / n;
    const on = (k: number): number => (1 - t) ** 2 * a[k] + 2 * t * (1 - t) * b[k] + t * t * c[k];
    return [on(0), on(1), on(2)];
  });
}

/** Several meshes as one, about zero; small ones only. */
export function together(...meshes: readonly Mesh[]): Mesh {
  const positions: number[] = [];
  const indices: number[] = [];
  for (const m of meshes) {
    const base = positions.length / 3;
    for (let i = 0; i < m.positions.length; i++) positions.push(m.positions[i] + m.origin[i % 3]);
    for (const i of m.indices) indices.push(i + base);
  }
  return { origin: [0, 0, 0], positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
}

/** Every triangle cut in four, `rounds` times: noise on the corners then has somewhere to sit. */
export function refineMesh(mesh: Mesh, rounds: number): Mesh {
  const positions = [...mesh.positions];
  let indices = [...mesh.indices];
  const middle = new Map<number, number>();
  const between = (a: number, b: number): number => {
    const key = Math.min(a, b) * 2 ** 26 + Math.max(a, b);
    const known = middle.get(key);
    if (known !== undefined) return known;
    for (let k = 0; k < 3; k++) positions.push((positions[a * 3 + k] + positions[b * 3 + k]) / 2);
    middle.set(key, positions.length / 3 - 1);
    return positions.length / 3 - 1;
  };
  for (let round = 0; round < rounds; round++) {
    const next: number[] = [];
    for (let t = 0; t < indices.length; t += 3) {
      const [a, b, c] = [indices[t], indices[t + 1], indices[t + 2]];
      const [p, q, r] = [between(a, b), between(b, c), between(c, a)];
      next.push(a, p, r, p, b, q, r, q, c, p, q, r);
    }
    indices = next;
  }
  return { origin: mesh.origin, positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
}

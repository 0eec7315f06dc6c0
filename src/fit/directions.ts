import { add, cross, dot, frameOf, normalize, scale, type Vec3 } from '../core/vec.ts';

/** The six directions along the axes: what a designer tries first, and no spread of points over a sphere hits them. */
export const AXES: readonly Vec3[] = [
  [0, 0, 1],
  [0, 0, -1],
  [1, 0, 0],
  [-1, 0, 0],
  [0, 1, 0],
  [0, -1, 0],
];

/** The 26 directions to a cell's neighbours, unit vectors; the axes first. */
export const NEIGHBOUR_DIRECTIONS: readonly Vec3[] = [-1, 0, 1]
  .flatMap((z) => [-1, 0, 1].flatMap((y) => [-1, 0, 1].map((x): Vec3 => [x, y, z])))
  .filter((d) => d.some((v) => v !== 0))
  .sort((a, b) => dot(a, a) - dot(b, b))
  .map(normalize);

/**
 * `count` unit vectors spread evenly over the sphere: the axes, and for the rest a Fibonacci lattice (Gonzalez, Measurement of
 * Areas on a Sphere Using Fibonacci and Latitude-Longitude Lattices, Mathematical Geosciences 42, 2010).
 */
export function sphereOfDirections(count: number): Vec3[] {
  const out: Vec3[] = [...AXES];
  const n = Math.max(0, count - out.length);
  const turn = Math.PI * (3 - Math.sqrt(5));
  for (let i = 0; i < n; i++) {
    const z = 1 - (2 * i + 1) / n;
    const s = Math.sqrt(1 - z * z);
    out.push([s * Math.cos(i * turn), s * Math.sin(i * turn), z]);
  }
  return out;
}

/** About half the angle between neighbours of such a sphere, radians. */
export const halfSpacing = (count: number): number => Math.sqrt(Math.PI / Math.max(1, count));

/** Six directions at `angle` (radians) round `d`. */
export function ringAround(d: Vec3, angle: number): Vec3[] {
  const [u, v] = frameOf(d);
  return Array.from({ length: 6 }, (_, i) => {
    const t = (i * Math.PI) / 3;
    const side = add(scale(u, Math.cos(t)), scale(v, Math.sin(t)));
    return normalize(add(scale(d, Math.cos(angle)), scale(side, Math.sin(angle))));
  });
}

/** Angle between two unit vectors, radians; good for small ones too. */
export function angleBetween(a: Vec3, b: Vec3): number {
  const c = cross(a, b);
  return Math.atan2(Math.hypot(c[0], c[1], c[2]), dot(a, b));
}

/** A point or direction, float64, mm unless said otherwise. */
export type Vec3 = readonly [number, number, number];

/** An axis-aligned box, mm. Empty when any min exceeds its max. */
export interface Box3 {
  readonly min: Vec3;
  readonly max: Vec3;
}

export const add = (a: Vec3, b: Vec3): Vec3 => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const scale = (a: Vec3, k: number): Vec3 => [a[0] * k, a[1] * k, a[2] * k];
export const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a: Vec3, b: Vec3): Vec3 => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const length = (a: Vec3): number => Math.hypot(a[0], a[1], a[2]);
export const distance = (a: Vec3, b: Vec3): number => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

/** Unit vector along `a`; the zero vector stays zero. */
export function normalize(a: Vec3): Vec3 {
  const n = length(a);
  return n > 0 ? scale(a, 1 / n) : a;
}

/** Any two unit vectors that make a right-handed frame (u, v, d) with the unit vector `d`. */
export function frameOf(d: Vec3): [Vec3, Vec3] {
  const pick: Vec3 = Math.abs(d[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const u = normalize(cross(pick, d));
  return [u, cross(d, u)];
}

export const emptyBox = (): Box3 => ({ min: [Infinity, Infinity, Infinity], max: [-Infinity, -Infinity, -Infinity] });
export const isEmptyBox = (b: Box3): boolean => !(b.min[0] <= b.max[0] && b.min[1] <= b.max[1] && b.min[2] <= b.max[2]);

/** The box that holds both. */
export function unionBox(a: Box3, b: Box3): Box3 {
  const pick = (f: (p: number, q: number) => number, p: Vec3, q: Vec3): Vec3 => [f(p[0], q[0]), f(p[1], q[1]), f(p[2], q[2])];
  return { min: pick(Math.min, a.min, b.min), max: pick(Math.max, a.max, b.max) };
}

/** What both boxes share; may be empty. */
export function intersectBox(a: Box3, b: Box3): Box3 {
  const pick = (f: (p: number, q: number) => number, p: Vec3, q: Vec3): Vec3 => [f(p[0], q[0]), f(p[1], q[1]), f(p[2], q[2])];
  return { min: pick(Math.max, a.min, b.min), max: pick(Math.min, a.max, b.max) };
}

/** The box grown by `by` mm on every side. */
export const growBox = (b: Box3, by: number): Box3 => ({
  min: [b.min[0] - by, b.min[1] - by, b.min[2] - by],
  max: [b.max[0] + by, b.max[1] + by, b.max[2] + by],
});

export const boxSize = (b: Box3): Vec3 => sub(b.max, b.min);
export const boxCentre = (b: Box3): Vec3 => scale(add(b.min, b.max), 0.5);

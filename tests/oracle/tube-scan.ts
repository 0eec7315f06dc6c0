import type { Mesh } from '../../src/core/mesh.ts';
import type { Random } from '../../src/core/random.ts';
import { add, cross, distance, dot, frameOf, normalize, scale, sub, type Vec3 } from '../../src/core/vec.ts';

/** Points and tangents every `step` mm along a line through the corners, each corner rounded to the bend radius. */
export function bentLine(corners: readonly Vec3[], bend: number, step: number): { at: Vec3; along: Vec3 }[] {
  const out: { at: Vec3; along: Vec3 }[] = [];
  let from = corners[0];
  const straight = (a: Vec3, b: Vec3): void => {
    const d = normalize(sub(b, a));
    const n = Math.max(1, Math.round(distance(a, b) / step));
    for (let i = 0; i < n; i++) out.push({ at: add(a, scale(d, (i * distance(a, b)) / n)), along: d });
  };
  for (let c = 1; c < corners.length - 1; c++) {
    const a = normalize(sub(corners[c], corners[c - 1]));
    const b = normalize(sub(corners[c + 1], corners[c]));
    const angle = Math.acos(Math.max(-1, Math.min(1, dot(a, b))));
    const cut = bend * Math.tan(angle / 2);
    const start = sub(corners[c], scale(a, cut));
    straight(from, start);
    const inwards = normalize(sub(b, scale(a, dot(a, b))));
    const centre = add(start, scale(inwards, bend));
    const n = Math.max(2, Math.round((bend * angle) / step));
    for (let i = 0; i < n; i++) {
      const t = (i * angle) / n;
      out.push({
        at: add(centre, add(scale(inwards, -bend * Math.cos(t)), scale(a, bend * Math.sin(t)))),
        along: add(scale(a, Math.cos(t)), scale(inwards, Math.sin(t))),
      });
    }
    from = add(corners[c], scale(b, cut));
  }
  const last = corners[corners.length - 1];
  straight(from, last);
  out.push({ at: last, along: normalize(sub(last, from)) });
  return out;
}

export interface ScanOptions {
  readonly radius: number;
  readonly bend: number;
  /** Deviation of each vertex along its normal, mm. */
  readonly noise: number;
  /** Degrees of the circumference that are there, about the direction `seenFrom`. */
  readonly arc: number;
  readonly seenFrom: Vec3;
  /** Distance between vertices, mm. */
  readonly spacing: number;
}

/** The part of a tube's surface that a scanner saw, as triangles facing outwards. */
export function tubeScan(corners: readonly Vec3[], o: ScanOptions, r: Random): Mesh {
  const line = bentLine(corners, o.bend, o.spacing);
  const full = o.arc >= 360;
  const round = Math.max(6, Math.round((2 * Math.PI * o.radius * (o.arc / 360)) / o.spacing));
  const columns = full ? round : round + 1;
  const positions = new Float32Array(line.length * columns * 3);
  line.forEach(({ at, along }, i) => {
    const across = sub(o.seenFrom, scale(along, dot(o.seenFrom, along)));
    const u = Math.hypot(...across) > 0.2 ? normalize(across) : frameOf(along)[0];
    const v = cross(along, u);
    for (let j = 0; j < columns; j++) {
      const t = (((j / round) * o.arc - o.arc / 2) * Math.PI) / 180;
      const out = add(scale(u, Math.cos(t)), scale(v, Math.sin(t)));
      positions.set(add(at, scale(out, o.radius + o.noise * r.normal())), 3 * (i * columns + j));
    }
  });
  const indices: number[] = [];
  for (let i = 0; i + 1 < line.length; i++)
    for (let j = 0; j < round; j++) {
      const next = full ? (j + 1) % columns : j + 1;
      const [a, b, c, d] = [i * columns + j, i * columns + next, (i + 1) * columns + j, (i + 1) * columns + next];
      indices.push(a, b, d, a, d, c);
    }
  return { origin: [0, 0, 0], positions, indices: Uint32Array.from(indices) };
}

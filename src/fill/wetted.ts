import type { Field } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';
import { surface } from '../field/surface.ts';

/** Share of the cavity's surface that lies below a height. */
export function wettedShare(cavity: Field, level: number): number {
  const mesh = surface(cavity, 0);
  let all = 0;
  let below = 0;
  for (let t = 0; t < mesh.indices.length; t += 3) {
    const [size, share] = triangleBelow(mesh, t, level);
    all += size;
    below += size * share;
  }
  return all > 0 ? below / all : 0;
}

/** Area of a triangle, and the share of it below a height: the cut-off corner is similar, so its share is a product of two ratios. */
function triangleBelow({ positions: p, indices, origin }: Mesh, t: number, level: number): [number, number] {
  const [a, b, c] = [indices[t] * 3, indices[t + 1] * 3, indices[t + 2] * 3];
  const u: Vec3 = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
  const v: Vec3 = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
  const size = Math.hypot(u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]) / 2;
  const z = [p[a + 2], p[b + 2], p[c + 2]].map((h) => h + origin[2] - level).sort((x, y) => x - y);
  if (z[0] >= 0) return [size, 0];
  if (z[2] <= 0) return [size, 1];
  return [size, z[1] >= 0 ? (z[0] / (z[0] - z[1])) * (z[0] / (z[0] - z[2])) : 1 - (z[2] / (z[2] - z[0])) * (z[2] / (z[2] - z[1]))];
}

import type { Cloud } from '../core/cloud.ts';
import type { Note } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import type { Vec3 } from '../core/vec.ts';

/** Coordinates beyond this, in any unit, belong to no vehicle: the bytes are not what the reader takes them for. */
export const FARTHEST = 1e12;

/** True for a coordinate that can be one: finite and within FARTHEST. */
export const isCoordinate = (v: number): boolean => v >= -FARTHEST && v <= FARTHEST;

/** Points looked at to find where a part lies; the median of a sample shrugs off stray specks and points at zero. */
const SAMPLE = 255;

/**
 * The point that positions are stored about: zero, unless the part lies so far from zero that float32 would round away more than
 * about a millionth of its size. Then the coordinate-wise median, rounded to whole units so that subtracting it is exact.
 */
function originOf(points: Float32Array | Float64Array): Vec3 {
  const n = points.length / 3;
  const count = Math.min(n, SAMPLE);
  const middle = [0, 0, 0];
  let spread = 0;
  let far = 0;
  const values = new Float64Array(count);
  for (let a = 0; a < 3; a++) {
    for (let i = 0; i < count; i++) values[i] = points[3 * Math.floor(((i + 0.5) * n) / count) + a];
    values.sort();
    middle[a] = count > 0 ? values[count >> 1] : 0;
    spread = Math.max(spread, values[Math.floor(count * 0.9)] - values[Math.floor(count * 0.1)]);
    far = Math.max(far, Math.abs(middle[a]));
  }
  if (!(far >= 64 && far > 16 * spread)) return [0, 0, 0];
  return [Math.round(middle[0]) + 0, Math.round(middle[1]) + 0, Math.round(middle[2]) + 0];
}

/** Points as float32 about `origin`, subtracted in float64. */
function positionsAbout(origin: Vec3, points: Float32Array | Float64Array): Float32Array {
  if (origin[0] === 0 && origin[1] === 0 && origin[2] === 0)
    return points instanceof Float32Array ? points.slice() : Float32Array.from(points);
  const out = new Float32Array(points.length);
  for (let i = 0; i < points.length; i += 3) {
    out[i] = points[i] - origin[0];
    out[i + 1] = points[i + 1] - origin[1];
    out[i + 2] = points[i + 2] - origin[2];
  }
  return out;
}

/**
 * A mesh from vertices in file units and corners that are all in range. Triangles with a repeated corner have no area and are
 * dropped; a note says how many. Undefined when no triangle is left.
 */
export function buildMesh(points: Float32Array | Float64Array, corners: Uint32Array, name: string, notes: Note[]): Mesh | undefined {
  let kept = 0;
  for (let i = 0; i + 2 < corners.length; i += 3) {
    const a = corners[i];
    const b = corners[i + 1];
    const c = corners[i + 2];
    if (a === b || b === c || a === c) continue;
    corners[kept] = a;
    corners[kept + 1] = b;
    corners[kept + 2] = c;
    kept += 3;
  }
  const dropped = (corners.length - kept) / 3;
  if (dropped > 0)
    notes.push({
      code: 'scan-degenerate',
      text: `${count(dropped)} of ${count(corners.length / 3)} triangles have two corners in one point and were left out.`,
      where: name,
    });
  if (kept === 0) return undefined;
  const origin = originOf(points);
  return { origin, positions: positionsAbout(origin, points), indices: corners.slice(0, kept) };
}

/** A cloud from points in file units, with normals (any length; three a point) if there are any. */
export function buildCloud(points: Float32Array | Float64Array, normals?: Float32Array): Cloud {
  const origin = originOf(points);
  const positions = positionsAbout(origin, points);
  return normals ? { origin, positions, normals: unitNormals(normals) } : { origin, positions };
}

/** Normals of unit length; those that are zero or not finite become zero: "not known". */
function unitNormals(normals: Float32Array): Float32Array {
  const out = new Float32Array(normals.length);
  for (let i = 0; i < normals.length; i += 3) {
    const n = Math.hypot(normals[i], normals[i + 1], normals[i + 2]);
    if (!(n > 0 && n < Infinity)) continue;
    for (let a = 0; a < 3; a++) out[i + a] = normals[i + a] / n;
  }
  return out;
}

/** The vertices that `corners` use, and the corners renumbered in place. `seen` holds one number a vertex, all zero or from earlier marks. */
export function compact(points: Float64Array, corners: Uint32Array, seen: Int32Array, local: Uint32Array, mark: number): Float64Array {
  const used = new Uint32Array(Math.min(corners.length, seen.length));
  let n = 0;
  for (let i = 0; i < corners.length; i++) {
    const v = corners[i];
    if (seen[v] !== mark) {
      seen[v] = mark;
      local[v] = n;
      used[n++] = v;
    }
    corners[i] = local[v];
  }
  const out = new Float64Array(3 * n);
  for (let i = 0; i < n; i++) for (let a = 0; a < 3; a++) out[3 * i + a] = points[3 * used[i] + a];
  return out;
}

/** Names that occur twice get a number: "left", "left 2". `taken` holds each name used so far and the number to try next. */
export function uniqueName(name: string, taken: Map<string, number>): string {
  let next = taken.get(name);
  if (next === undefined) {
    taken.set(name, 2);
    return name;
  }
  while (taken.has(`${name} ${next}`)) next++;
  taken.set(name, next + 1);
  taken.set(`${name} ${next}`, 2);
  return `${name} ${next}`;
}

/** A whole number with thin groups of three, for messages. */
export const count = (n: number): string => String(n).replace(/\B(?=(\d{3})+(?!\d))/g, ',');

import type { Mesh } from '../core/mesh.ts';
import { halvesOf, longestEdge } from '../field/halving.ts';

/** Some faces of a mesh, cut so that no edge is longer than asked; `parent` tells the face that each piece came from. */
export interface Refined {
  readonly mesh: Mesh;
  readonly parent: Uint32Array;
}

/**
 * Cuts `faces` (all of them when left out) at the middles of edges longer than `longest` mm, until none is left. Neighbours share the new corners, so
 * the pieces hang together as the faces did. Of two pieces the longest edge goes first: no piece gets flatter than its face.
 */
export function refineFaces(mesh: Mesh, longest: number, faces?: readonly number[]): Refined {
  const positions: number[] = Array.from(mesh.positions);
  const middles = new Map<number, number>();
  const out: number[] = [];
  const parent: number[] = [];
  const squared = (a: number, b: number): number =>
    (positions[3 * a] - positions[3 * b]) ** 2 +
    (positions[3 * a + 1] - positions[3 * b + 1]) ** 2 +
    (positions[3 * a + 2] - positions[3 * b + 2]) ** 2;
  const middleOf = (a: number, b: number): number => {
    const key = Math.min(a, b) * 2 ** 26 + Math.max(a, b);
    const known = middles.get(key);
    if (known !== undefined) return known;
    const v = positions.length / 3;
    for (let c = 0; c < 3; c++) positions.push((positions[3 * a + c] + positions[3 * b + c]) / 2);
    middles.set(key, v);
    return v;
  };
  const todo: number[] = [];
  const count = faces?.length ?? mesh.indices.length / 3;
  for (let n = 0; n < count; n++) {
    const f = faces ? faces[n] : n;
    todo.push(mesh.indices[3 * f], mesh.indices[3 * f + 1], mesh.indices[3 * f + 2]);
    while (todo.length > 0) {
      const c = todo.pop()!;
      const b = todo.pop()!;
      const a = todo.pop()!;
      const [ab, bc, ca] = [squared(a, b), squared(b, c), squared(c, a)];
      const most = Math.max(ab, bc, ca);
      if (most <= longest * longest) {
        out.push(a, b, c);
        parent.push(f);
      } else if (most === ab) {
        const m = middleOf(a, b);
        todo.push(a, m, c, m, b, c);
      } else if (most === bc) {
        const m = middleOf(b, c);
        todo.push(b, m, a, m, c, a);
      } else {
        const m = middleOf(c, a);
        todo.push(c, m, b, m, a, b);
      }
    }
  }
  return {
    mesh: { origin: mesh.origin, positions: Float32Array.from(positions), indices: Uint32Array.from(out) },
    parent: Uint32Array.from(parent),
  };
}

/** Triangles, nine numbers each, mm about the mesh's origin. */
export type Pieces = Float64Array;

/**
 * The faces of a mesh in pieces with no edge longer than `longest` mm, of which only those are kept, and cut, that `wanted` admits: by a middle
 * and the radius of the ball about it that holds the piece, mm.
 */
export function piecesWhere(mesh: Mesh, longest: number, wanted: (x: number, y: number, z: number, radius: number) => boolean): Pieces {
  const { positions: p, indices: t, origin } = mesh;
  const out: number[] = [];
  const todo: Float64Array[] = [];
  for (let f = 0; f < t.length; f += 3) {
    const first = new Float64Array(9);
    for (let i = 0; i < 9; i++) first[i] = p[3 * t[f + Math.floor(i / 3)] + (i % 3)];
    todo.push(first);
    while (todo.length > 0) {
      const c = todo.pop()!;
      const [x, y, z] = [(c[0] + c[3] + c[6]) / 3, (c[1] + c[4] + c[7]) / 3, (c[2] + c[5] + c[8]) / 3];
      if (!wanted(x + origin[0], y + origin[1], z + origin[2], pieceRadius(c, 0))) continue;
      const cut = longestEdge(c, longest);
      if (cut < 0) for (let i = 0; i < 9; i++) out.push(c[i]);
      else todo.push(...halvesOf(c, cut));
    }
  }
  return Float64Array.from(out);
}

/** Radius of the ball about the middle of the piece at `o` that holds it, mm. */
export function pieceRadius(c: Float64Array, o: number): number {
  const [x, y, z] = [(c[o] + c[o + 3] + c[o + 6]) / 3, (c[o + 1] + c[o + 4] + c[o + 7]) / 3, (c[o + 2] + c[o + 5] + c[o + 8]) / 3];
  let most = 0;
  for (let v = 0; v < 9; v += 3) most = Math.max(most, (c[o + v] - x) ** 2 + (c[o + v + 1] - y) ** 2 + (c[o + v + 2] - z) ** 2);
  return Math.sqrt(most);
}

/**
 * Tables of the dual of marching cubes: for each sign pattern of a cube's corners, the closed cycles that the edge crossings form.
 * Each cycle becomes one vertex. Made here by walking the faces, so there is no table to mistype.
 *
 * Numbering: corner c has coordinates x = c & 1, y = c >> 1 & 1, z = c >> 2; edge = axis * 4 + bits of the other two
 * coordinates (lower axis first); face = axis * 2 + side. Bit c of a pattern is set where corner c is inside.
 *
 * On a face whose corners alternate, either the inside corners are kept apart or they are joined, by the sign of the bilinear
 * saddle (asymptotic decider, Nielson & Hamann, IEEE Visualization 1991). The choice looks at the face alone, so the two cubes that
 * share it agree and the cycles fit together into closed surfaces (dual of Nielson, Dual marching cubes, IEEE Visualization 2004).
 * A pattern with n such faces has 2^n cases.
 */

/** Lower corner of each edge. */
export const EDGE_CORNER = new Uint8Array(12);
/** By pattern: bit (face) where the face's corners alternate. */
export const ALTERNATES = new Uint8Array(256);
/** By pattern: its first case, the one with all inside corners kept apart. */
export const FIRST_CASE = new Uint16Array(256);
/** How many of the three edges at corner 0 are crossed, by pattern. */
export const LOW_CROSSINGS = new Uint8Array(256);

const bit = (pattern: number, corner: number): number => (pattern >> corner) & 1;

/** Edge between two corners that differ in one coordinate. */
function edgeBetween(p: number, q: number): number {
  const axis = (p ^ q) === 1 ? 0 : (p ^ q) === 2 ? 1 : 2;
  const low = p & q;
  const others = axis === 0 ? low >> 1 : axis === 1 ? (low & 1) | ((low >> 1) & 2) : low & 3;
  return axis * 4 + others;
}

/** The four corners of a face, in order round it. */
function faceCorners(face: number): number[] {
  const axis = face >> 1;
  const at = (face & 1) << axis;
  const u = 1 << ((axis + 1) % 3);
  const v = 1 << ((axis + 2) % 3);
  return [at, at | u, at | u | v, at | v];
}

const CORNERS = [0, 1, 2, 3, 4, 5].map(faceCorners);
/** Corners of the six faces, four each, in order round the face from its lowest; the second along the face's first axis (axis + 1). */
export const FACE_CORNERS = Uint8Array.from(CORNERS.flat());

/** Pairs of edges joined by a segment across this face. */
function faceSegments(pattern: number, face: number, join: boolean): [number, number][] {
  const c = CORNERS[face];
  const side = (i: number): number => edgeBetween(c[i & 3], c[(i + 1) & 3]);
  const crossed = [0, 1, 2, 3].filter((i) => bit(pattern, c[i]) !== bit(pattern, c[(i + 1) & 3]));
  if (crossed.length === 2) return [[side(crossed[0]), side(crossed[1])]];
  if (crossed.length === 0) return [];
  // Alternating: cut off each inside corner, or each outside one.
  return [0, 1, 2, 3].filter((i) => (bit(pattern, c[i]) === 1) !== join).map((i) => [side(i + 3), side(i)]);
}

/** Cycle of each edge (255: not crossed), their number, and the faces that one cycle crosses twice. */
function trace(pattern: number, joined: number): { cycleOf: number[]; cycles: number; twice: number } {
  const segments = [0, 1, 2, 3, 4, 5].map((face) => faceSegments(pattern, face, ((joined >> face) & 1) === 1));
  const parent = Array.from({ length: 12 }, (_, e) => e);
  const root = (e: number): number => (parent[e] === e ? e : root(parent[e]));
  for (const [a, b] of segments.flat()) parent[Math.max(root(a), root(b))] = Math.min(root(a), root(b));
  const used = new Set(segments.flat(2));
  const names = [...new Set([...used].map(root))].sort((a, b) => a - b);
  return {
    cycleOf: parent.map((_, e) => (used.has(e) ? names.indexOf(root(e)) : 255)),
    cycles: names.length,
    twice: segments.reduce((bits, s, face) => bits | (s.length === 2 && root(s[0][0]) === root(s[1][0]) ? 1 << face : 0), 0),
  };
}

const traced: ReturnType<typeof trace>[] = [];
for (let p = 0; p < 8; p++) for (const q of [1, 2, 4]) if (!(p & q)) EDGE_CORNER[edgeBetween(p, p | q)] = p;
for (let pattern = 0; pattern < 256; pattern++) {
  for (const corner of [1, 2, 4]) if (bit(pattern, 0) !== bit(pattern, corner)) LOW_CROSSINGS[pattern]++;
  const faces = [0, 1, 2, 3, 4, 5].filter((face) => faceSegments(pattern, face, false).length === 2);
  for (const face of faces) ALTERNATES[pattern] |= 1 << face;
  FIRST_CASE[pattern] = traced.length;
  for (let subset = 0; subset < 1 << faces.length; subset++)
    traced.push(
      trace(
        pattern,
        faces.reduce((bits, face, n) => bits | (((subset >> n) & 1) << face), 0),
      ),
    );
}

/** Number of cycles, by case. */
export const CYCLES = Uint8Array.from(traced, (c) => c.cycles);
/** Cycle that each of the 12 edges belongs to, by case * 12 + edge; 255 where the edge is not crossed. */
export const CYCLE_OF = Uint8Array.from(traced.flatMap((c) => c.cycleOf));
/** By case, bit (face): the face's corners alternate and both of its segments lie on one cycle. */
export const TWICE = Uint8Array.from(traced, (c) => c.twice);

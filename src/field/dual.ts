/**
 * Tables of the dual of marching cubes: for each of the 256 sign patterns of a cube's corners, the closed cycles that the
 * edge crossings form. Each cycle becomes one vertex. Made here by walking the faces, so there is no table to mistype.
 *
 * Numbering: corner c has coordinates x = c & 1, y = c >> 1 & 1, z = c >> 2; edge = axis * 4 + bits of the other two
 * coordinates (lower axis first); face = axis * 2 + side. Bit c of a pattern is set where corner c is inside.
 *
 * On a face whose corners alternate, inside corners are always kept apart. The rule looks at the face's signs only, so the two
 * cubes that share it agree and the cycles fit together into closed surfaces (the choice of Nielson, Dual marching cubes, IEEE
 * Visualization 2004, made consistent face by face).
 */

/** Lower corner of each edge. */
export const EDGE_CORNER = new Uint8Array(12);
/** Number of cycles, by pattern. */
export const CYCLES = new Uint8Array(256);
/** Cycle that each of the 12 edges belongs to, by pattern * 12 + edge; 255 where the edge is not crossed. */
export const CYCLE_OF = new Uint8Array(256 * 12).fill(255);
/** By pattern, bit (face): the face's corners alternate and both of its segments lie on one cycle. */
export const TWICE = new Uint8Array(256);
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

/** Pairs of edges joined by a segment across this face. */
function faceSegments(pattern: number, face: number): [number, number][] {
  const c = faceCorners(face);
  const side = (i: number): number => edgeBetween(c[i & 3], c[(i + 1) & 3]);
  const crossed = [0, 1, 2, 3].filter((i) => bit(pattern, c[i]) !== bit(pattern, c[(i + 1) & 3]));
  if (crossed.length === 2) return [[side(crossed[0]), side(crossed[1])]];
  if (crossed.length === 0) return [];
  // Alternating: cut each inside corner off by itself.
  return [0, 1, 2, 3].filter((i) => bit(pattern, c[i])).map((i) => [side(i + 3), side(i)]);
}

function fillPattern(pattern: number): void {
  const parent = Array.from({ length: 12 }, (_, e) => e);
  const root = (e: number): number => (parent[e] === e ? e : root(parent[e]));
  const used = new Set<number>();
  for (let face = 0; face < 6; face++)
    for (const [a, b] of faceSegments(pattern, face)) {
      used.add(a).add(b);
      parent[Math.max(root(a), root(b))] = Math.min(root(a), root(b));
    }
  const names = new Map<number, number>();
  for (let e = 0; e < 12; e++) {
    if (!used.has(e)) continue;
    if (!names.has(root(e))) names.set(root(e), names.size);
    CYCLE_OF[pattern * 12 + e] = names.get(root(e))!;
  }
  CYCLES[pattern] = names.size;
  for (let face = 0; face < 6; face++) {
    const s = faceSegments(pattern, face);
    if (s.length === 2 && root(s[0][0]) === root(s[1][0])) TWICE[pattern] |= 1 << face;
  }
  for (const corner of [1, 2, 4]) if (bit(pattern, 0) !== bit(pattern, corner)) LOW_CROSSINGS[pattern]++;
}

for (let p = 0; p < 8; p++) for (const q of [1, 2, 4]) if (!(p & q)) EDGE_CORNER[edgeBetween(p, p | q)] = p;
for (let pattern = 0; pattern < 256; pattern++) fillPattern(pattern);

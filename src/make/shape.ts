import { type Mesh, vertexCount } from '../core/mesh.ts';
import { selfCrossings } from './crossings.ts';
import type { Room } from './room.ts';

/** Small moves of a mesh's vertices that keep it within the room. All of them change `mesh.positions` and never the triangles. */

/** Unit normals at the vertices, the faces' areas as weights. */
export function vertexNormals({ positions: p, indices: t }: Mesh): Float64Array {
  const n = new Float64Array(p.length);
  for (let i = 0; i < t.length; i += 3) {
    const [a, b, c] = [3 * t[i], 3 * t[i + 1], 3 * t[i + 2]];
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    for (const v of [a, b, c]) {
      n[v] += uy * vz - uz * vy;
      n[v + 1] += uz * vx - ux * vz;
      n[v + 2] += ux * vy - uy * vx;
    }
  }
  for (let v = 0; v < n.length; v += 3) {
    const s = Math.hypot(n[v], n[v + 1], n[v + 2]) || 1;
    n[v] /= s;
    n[v + 1] /= s;
    n[v + 2] /= s;
  }
  return n;
}

/**
 * Fairs by `passes` pairs of shrinking and growing steps (Taubin, A signal processing approach to fair surface design, SIGGRAPH 1995),
 * which leave the volume almost as it is. A vertex that would come under `floor` mm of room goes back where it was.
 */
export function fair(mesh: Mesh, room: Room, passes: number, floor: number): void {
  const { positions: p, origin } = mesh;
  const before = p.slice();
  for (let pass = 0; pass < passes; pass++) {
    towardNeighbours(mesh, 0.5);
    towardNeighbours(mesh, -0.526);
  }
  for (let v = 0; v < p.length; v += 3) {
    if (room.at(p[v] + origin[0], p[v + 1] + origin[1], p[v + 2] + origin[2]) >= floor) continue;
    for (let a = 0; a < 3; a++) p[v + a] = before[v + a];
  }
}

/** Moves vertices (those marked in `only`, when given) by a share of the way to the mean of their neighbours. */
function towardNeighbours({ positions: p, indices: t }: Mesh, share: number, only?: Uint8Array): void {
  const sum = new Float64Array(p.length);
  const count = new Uint32Array(p.length / 3);
  for (let i = 0; i < t.length; i++) {
    // Each edge is met once in each direction: once from either end.
    const v = t[i];
    const w = t[i % 3 === 2 ? i - 2 : i + 1];
    count[v]++;
    for (let a = 0; a < 3; a++) sum[3 * v + a] += p[3 * w + a];
  }
  for (let v = 0; v < count.length; v++) {
    if (count[v] === 0 || (only && !only[v])) continue;
    for (let a = 0; a < 3; a++) p[3 * v + a] += share * (sum[3 * v + a] / count[v] - p[3 * v + a]);
  }
}

const UNTANGLE_ROUNDS = 12;
const MOST_CROSSINGS = 2000;

/**
 * Smooths out faces that cross, as edge collapses leave them on flat ground: corners of such faces, and from the third round on their
 * neighbours, go halfway to the mean of their neighbours, and what then sticks out is drawn in. Returns how many pairs are left.
 */
export function untangle(mesh: Mesh, room: Room): number {
  for (let round = 0; ; round++) {
    const pairs = selfCrossings(mesh, MOST_CROSSINGS);
    if (pairs.length === 0 || round === UNTANGLE_ROUNDS) return pairs.length;
    const only = new Uint8Array(vertexCount(mesh));
    for (const f of pairs.flat()) for (let i = 0; i < 3; i++) only[mesh.indices[3 * f + i]] = 1;
    for (let ring = 2; ring < round; ring++) widen(mesh, only);
    towardNeighbours(mesh, 0.5, only);
    drawIn(mesh, room, 0);
  }
}

/** Adds the neighbours of marked vertices. */
function widen({ indices: t }: Mesh, marked: Uint8Array): void {
  const before = marked.slice();
  for (let i = 0; i < t.length; i++) if (before[t[i]]) marked[t[i % 3 === 2 ? i - 2 : i + 1]] = 1;
}

const DRAW_IN_ROUNDS = 12;

/**
 * Draws vertices in until every face has at least `floor` mm of room; each face that lacks d moves its corners inwards by d, along the
 * direction in which the room grows. Returns the least room left, mm (below `floor` when the rounds did not do).
 */
export function drawIn(mesh: Mesh, room: Room, floor: number): number {
  const { positions: p, indices: t, origin } = mesh;
  const { least, place } = room.ofFaces(mesh);
  for (let round = 0; ; round++) {
    const worst = least.reduce((a, b) => Math.min(a, b), Infinity);
    if (worst >= floor || round === DRAW_IN_ROUNDS) return worst;
    const normals = vertexNormals(mesh);
    const by = new Float64Array(p.length);
    const lack = new Float64Array(vertexCount(mesh));
    for (let f = 0; f < least.length; f++) {
      const d = floor - least[f];
      if (!(d > 0)) continue;
      const to = room.inward(place[3 * f] + origin[0], place[3 * f + 1] + origin[1], place[3 * f + 2] + origin[2]);
      for (let i = 0; i < 3; i++) {
        const v = t[3 * f + i];
        if (d <= lack[v]) continue;
        lack[v] = d;
        const flat = to[0] === 0 && to[1] === 0 && to[2] === 0;
        for (let a = 0; a < 3; a++) by[3 * v + a] = (flat ? -normals[3 * v + a] : to[a]) * (d + 1e-3);
      }
    }
    for (let i = 0; i < p.length; i++) p[i] += by[i];
    for (let f = 0; f < least.length; f++)
      if (lack[t[3 * f]] > 0 || lack[t[3 * f + 1]] > 0 || lack[t[3 * f + 2]] > 0) least[f] = room.ofFace(mesh, f, place);
  }
}

/**
 * Lets vertices out along their normals into the room that all of their faces have over `floor`. A point of a face moves by no more than
 * its corners do and the room shrinks by no more than the way moved, so no face can come under the floor.
 */
export function letOut(mesh: Mesh, room: Room, floor: number, passes: number): void {
  const { positions: p, indices: t } = mesh;
  for (let pass = 0; pass < passes; pass++) {
    const { least } = room.ofFaces(mesh);
    const spare = new Float64Array(vertexCount(mesh)).fill(Infinity);
    for (let i = 0; i < t.length; i++) spare[t[i]] = Math.min(spare[t[i]], least[Math.floor(i / 3)] - floor);
    const normals = vertexNormals(mesh);
    for (let v = 0; v < spare.length; v++) {
      if (!(spare[v] > 0) || spare[v] === Infinity) continue;
      for (let a = 0; a < 3; a++) p[3 * v + a] += normals[3 * v + a] * spare[v];
    }
  }
}

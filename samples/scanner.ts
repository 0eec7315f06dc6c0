import type { Mesh } from '../src/core/mesh.ts';
import { type Random, random } from '../src/core/random.ts';
import { cross, normalize, sub, unionBox, type Vec3 } from '../src/core/vec.ts';
import { lines, net, type Skin, strip } from './netting.ts';
import { obstacleDistance, PART_NAMES, type PartName, part } from './solids.ts';

/**
 * A virtual hand-held scanner. It keeps what at least one of its stations sees, under no more than 75 degrees from square on, with
 * 0.1 mm of noise along the surface's normal, dropouts on the shiny pipe, and a few loose specks. What it sees is found by depth
 * pictures, one a station; testing a ray for each corner and station was tried and takes twenty times as long.
 * Seeded: the same seed gives the same bytes.
 */
export interface ScanOptions {
  readonly seed: number;
  /** Standard deviation along the normal, mm. */
  readonly sigma?: number;
  /** Loose specks in the whole set. */
  readonly specks?: number;
  /** Multiplies every point spacing; 1 gives about a million triangles. */
  readonly coarseness?: number;
  /** `bare`: airbox out, intake in. `stock`: airbox in place, no intake; for a second set scanned before the work began. */
  readonly state?: 'bare' | 'stock';
  /** Where the set lies in the scanner's own frame; default: where the vehicle stands. Maps a point, keeps lengths and handedness. */
  readonly placing?: (p: Vec3) => Vec3;
}

export interface Scan {
  readonly name: PartName;
  readonly mesh: Mesh;
  /** How many of the last triangles are loose specks. */
  readonly speckTriangles: number;
}

/** Point spacing near the void and far from it, mm, and how the part is scanned. */
interface Manner {
  readonly fine: number;
  readonly coarse: number;
  /** Scanned on the bench by itself, from all round. */
  readonly bench?: boolean;
  readonly shiny?: boolean;
}

const MANNERS: Record<PartName, Manner> = {
  frame: { fine: 2.4, coarse: 7 },
  brace: { fine: 1.8, coarse: 2 },
  engine: { fine: 2, coarse: 3.6 },
  intake: { fine: 1.8, coarse: 2 },
  exhaust: { fine: 2.4, coarse: 4, shiny: true },
  tray: { fine: 1.9, coarse: 2 },
  'seat-base': { fine: 4.2, coarse: 4.2, bench: true },
  mudguard: { fine: 10, coarse: 10 },
  'swing-arm': { fine: 3.2, coarse: 5 },
  shock: { fine: 2, coarse: 3 },
  'front-end': { fine: 6, coarse: 7 },
  wheels: { fine: 12, coarse: 12 },
  airbox: { fine: 3, coarse: 3, bench: true },
};

/** Where the points lie close together: the bay and what stands round it, mm. */
const CARE = { min: [-540, -182, 530], max: [-40, 182, 765] } as const;

const COS_LIMIT = Math.cos((75 * Math.PI) / 180);
/** Pieces of fewer triangles than this are thrown away, as scanning programs do before they hand a mesh over. */
const LEAST_PIECE = 60;

interface StationView {
  readonly eye: Vec3;
  readonly aim: Vec3;
  /** Half the field of view, radians. */
  readonly half: number;
  /** Pixels along each side of the depth picture. */
  readonly pixels: number;
}

/** Three rings round the vehicle, views from above and below, and close views into the bay and the pocket behind it. */
function walkRound(): StationView[] {
  const out: StationView[] = [];
  const view = (eye: Vec3, aim: Vec3, half: number): void => {
    out.push({ eye, aim, half: (half * Math.PI) / 180, pixels: 900 });
  };
  for (const [height, count, turn] of [
    [350, 8, 0.2],
    [900, 8, 0.6],
    [1500, 6, 0.1],
  ])
    for (let i = 0; i < count; i++) {
      const t = turn + (i * 2 * Math.PI) / count;
      view([1500 * Math.cos(t), 1300 * Math.sin(t), height], [0, 0, 480], 34);
    }
  view([300, 0, 2000], [200, 0, 500], 32);
  view([-500, 0, 1900], [-450, 0, 500], 32);
  for (const [x, y] of [
    [-700, 250],
    [-250, -250],
    [350, 200],
  ])
    view([x, y, -650], [x * 0.7, 0, 500], 36);
  for (const s of [-1, 1]) {
    view([-120, s * 260, 1150], [-250, -s * 20, 620], 26);
    view([-420, s * 240, 1130], [-330, -s * 20, 620], 26);
    view([-250, s * 680, 700], [-260, 0, 610], 28);
    view([-520, s * 560, 560], [-330, 0, 640], 28);
    view([-10, s * 520, 600], [-180, 0, 610], 28);
    view([-560, s * 190, 1080], [-455, 0, 660], 26);
    view([-250, s * 120, 60], [-240, 0, 640], 34);
    view([-60, s * 90, 980], [-330, s * 20, 590], 30);
  }
  view([-240, 0, 1060], [-240, 0, 600], 30);
  view([-300, 60, 960], [-460, -10, 690], 30);
  view([-700, 0, 980], [-380, 0, 660], 30);
  return out;
}

/** Fourteen views all round a part on the bench: the corners and face centres of a cube about it. */
function benchViews(skin: Skin): StationView[] {
  let box = { min: [Infinity, Infinity, Infinity] as Vec3, max: [-Infinity, -Infinity, -Infinity] as Vec3 };
  for (let i = 0; i < skin.positions.length; i += 3) {
    const p: Vec3 = [skin.positions[i], skin.positions[i + 1], skin.positions[i + 2]];
    box = unionBox(box, { min: p, max: p });
  }
  const centre: Vec3 = [(box.min[0] + box.max[0]) / 2, (box.min[1] + box.max[1]) / 2, (box.min[2] + box.max[2]) / 2];
  const directions: Vec3[] = [-1, 1].flatMap((i) => [
    ...[-1, 1].flatMap((j) => [-1, 1].map((k): Vec3 => [i, j * 0.9, k * 0.8])),
    [i, 0.1, 0.2] as Vec3,
    [0.1, i, 0.1] as Vec3,
    [0.2, 0.1, i] as Vec3,
  ]);
  return directions.map((d) => {
    const n = normalize(d);
    return { eye: [centre[0] + n[0] * 750, centre[1] + n[1] * 750, centre[2] + n[2] * 750], aim: centre, half: 0.5, pixels: 700 };
  });
}

function joinSkins(skins: readonly Skin[]): Skin {
  const positions = new Float64Array(skins.reduce((n, s) => n + s.positions.length, 0));
  const normals = new Float64Array(positions.length);
  const indices = new Uint32Array(skins.reduce((n, s) => n + s.indices.length, 0));
  let v = 0;
  let t = 0;
  for (const s of skins) {
    positions.set(s.positions, v);
    normals.set(s.normals, v);
    for (let i = 0; i < s.indices.length; i++) indices[t++] = s.indices[i] + v / 3;
    v += s.positions.length;
  }
  return { positions, normals, indices };
}

/** The full surface of a part, closed, before anything is lost. `coarseness` multiplies the point spacing. */
export function fullSkin(name: PartName, coarseness = 1): Skin {
  const p = part(name);
  const m = MANNERS[name];
  const fine = m.fine * coarseness;
  if (p.sheets.length > 0) return joinSkins(p.sheets.map((s) => strip(s, fine)));
  const box = p.primitives.map((q) => q.box).reduce(unionBox);
  const axis = (a: 0 | 1 | 2) => lines({ lo: box.min[a], hi: box.max[a], from: CARE.min[a], to: CARE.max[a] }, fine, m.coarse * coarseness);
  return net(p.primitives, [axis(0), axis(1), axis(2)]);
}

/** Marks the corners that `view` sees in `seen`. */
function look(skin: Skin, view: StationView, seen: Uint8Array, scratch: { x: Float32Array; y: Float32Array; z: Float32Array }): void {
  const { positions: p, normals: n, indices: t } = skin;
  const { eye, pixels } = view;
  const forward = normalize(sub(view.aim, eye));
  const right = normalize(cross(forward, Math.abs(forward[2]) > 0.95 ? [1, 0, 0] : [0, 0, 1]));
  const up = cross(right, forward);
  const focal = pixels / 2 / Math.tan(view.half);
  const { x: sx, y: sy, z: sz } = scratch;
  const count = p.length / 3;
  for (let i = 0, q = 0; i < count; i++, q += 3) {
    const dx = p[q] - eye[0];
    const dy = p[q + 1] - eye[1];
    const dz = p[q + 2] - eye[2];
    const depth = dx * forward[0] + dy * forward[1] + dz * forward[2];
    sz[i] = depth;
    if (depth < 40) continue;
    sx[i] = ((dx * right[0] + dy * right[1] + dz * right[2]) * focal) / depth + pixels / 2;
    sy[i] = ((dx * up[0] + dy * up[1] + dz * up[2]) * focal) / depth + pixels / 2;
  }
  const picture = new Float32Array(pixels * pixels).fill(Infinity);
  for (let i = 0; i < t.length; i += 3) drawTriangle(picture, pixels, scratch, [t[i], t[i + 1], t[i + 2]]);
  for (let i = 0, q = 0; i < count; i++, q += 3) {
    if (seen[i] || sz[i] < 40) continue;
    const u = Math.floor(sx[i]);
    const v = Math.floor(sy[i]);
    if (!(u >= 0 && v >= 0 && u < pixels && v < pixels)) continue;
    const dx = eye[0] - p[q];
    const dy = eye[1] - p[q + 1];
    const dz = eye[2] - p[q + 2];
    const range = Math.sqrt(dx * dx + dy * dy + dz * dz);
    const cos = (dx * n[q] + dy * n[q + 1] + dz * n[q + 2]) / range;
    if (cos < COS_LIMIT) continue;
    // The picture holds the depth at the pixel's middle: allow for the surface's slope across half a pixel, up to 2.5 mm.
    const slack = Math.min(2.5, 1 + ((0.6 * sz[i]) / focal) * (Math.sqrt(1 - cos * cos) / cos));
    if (sz[i] <= picture[u + v * pixels] + slack) seen[i] = 1;
  }
}

/** Draws one triangle into a depth picture, if it faces the eye. */
function drawTriangle(
  picture: Float32Array,
  pixels: number,
  s: { x: Float32Array; y: Float32Array; z: Float32Array },
  t: [number, number, number],
): void {
  const [a, b, c] = t;
  if (s.z[a] < 40 || s.z[b] < 40 || s.z[c] < 40) return;
  const ax = s.x[a];
  const ay = s.y[a];
  const bx = s.x[b] - ax;
  const by = s.y[b] - ay;
  const cx = s.x[c] - ax;
  const cy = s.y[c] - ay;
  const area = bx * cy - by * cx;
  if (!(area > 0)) return;
  const x0 = Math.max(0, Math.ceil(ax + Math.min(0, bx, cx) - 0.5));
  const x1 = Math.min(pixels - 1, Math.floor(ax + Math.max(0, bx, cx) - 0.5));
  const y0 = Math.max(0, Math.ceil(ay + Math.min(0, by, cy) - 0.5));
  const y1 = Math.min(pixels - 1, Math.floor(ay + Math.max(0, by, cy) - 0.5));
  const zb = s.z[b] - s.z[a];
  const zc = s.z[c] - s.z[a];
  for (let y = y0; y <= y1; y++)
    for (let x = x0; x <= x1; x++) {
      const px = x + 0.5 - ax;
      const py = y + 0.5 - ay;
      const wb = (px * cy - py * cx) / area;
      const wc = (bx * py - by * px) / area;
      if (wb < 0 || wc < 0 || wb + wc > 1) continue;
      const z = s.z[a] + wb * zb + wc * zc;
      const at = x + y * pixels;
      if (z < picture[at]) picture[at] = z;
    }
}

/** A fixed pseudo-random number in [0, 1) for a lattice point. */
function hashed(i: number, j: number, k: number, seed: number): number {
  let h = Math.imul(i, 0x27d4eb2d) ^ Math.imul(j, 0x165667b1) ^ Math.imul(k, 0x9e3779b1) ^ Math.imul(seed + 1, 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 15), 0x2c1b3c6d);
  h = Math.imul(h ^ (h >>> 12), 0x297a2d39);
  return ((h ^ (h >>> 15)) >>> 0) / 4294967296;
}

/** Smooth noise of mean 0 and deviation about 1, its bumps `size` mm wide. */
function smoothNoise(x: number, y: number, z: number, by: { size: number; seed: number }): number {
  const [u, v, w] = [x / by.size, y / by.size, z / by.size];
  const [i, j, k] = [Math.floor(u), Math.floor(v), Math.floor(w)];
  let sum = 0;
  for (let c = 0; c < 8; c++) {
    const [a, b, d] = [c & 1, (c >> 1) & 1, c >> 2];
    const weight = (a ? u - i : 1 - u + i) * (b ? v - j : 1 - v + j) * (d ? w - k : 1 - w + k);
    sum += weight * (hashed(i + a, j + b, k + d, by.seed) - 0.5);
  }
  // Uniform lattice values have deviation 1/sqrt(12); linear blending over three axes takes off a factor (2/3)^1.5.
  return sum * Math.sqrt(12) * 1.5 ** 1.5;
}

/** Of the triangles marked in `keep`, unmarks those in pieces of fewer than LEAST_PIECE. */
function dropCrumbs(indices: Uint32Array, keep: Uint8Array, corners: number): void {
  const parent = new Int32Array(corners).map((_, i) => i);
  const root = (i: number): number => {
    let r = i;
    while (parent[r] !== r) {
      parent[r] = parent[parent[r]];
      r = parent[r];
    }
    return r;
  };
  for (let t = 0; t < keep.length; t++) {
    if (!keep[t]) continue;
    const a = root(indices[3 * t]);
    parent[root(indices[3 * t + 1])] = a;
    parent[root(indices[3 * t + 2])] = a;
  }
  const size = new Int32Array(corners);
  for (let t = 0; t < keep.length; t++) if (keep[t]) size[root(indices[3 * t])]++;
  for (let t = 0; t < keep.length; t++) if (keep[t] && size[root(indices[3 * t])] < LEAST_PIECE) keep[t] = 0;
}

/** Triangles that a scan of this skin keeps: all corners seen, none in a dropout, facing as its corners do. */
function keptTriangles(name: PartName, skin: Skin, seen: Uint8Array, shiny: number | undefined): Uint8Array {
  const { positions: p, normals: n, indices: t } = skin;
  if (shiny !== undefined)
    for (let i = 0; i < seen.length; i++)
      if (smoothNoise(p[3 * i], p[3 * i + 1], p[3 * i + 2], { size: 13, seed: shiny }) > 2.1) seen[i] = 0;
  const keep = new Uint8Array(t.length / 3);
  for (let f = 0; f < keep.length; f++) {
    const [a, b, c] = [t[3 * f], t[3 * f + 1], t[3 * f + 2]];
    if (!(seen[a] && seen[b] && seen[c])) continue;
    keep[f] = facesOut(p, n, [a * 3, b * 3, c * 3]) && !cutsCorner(name, skin, [a * 3, b * 3, c * 3]) ? 1 : 0;
  }
  dropCrumbs(t, keep, seen.length);
  return keep;
}

/**
 * Whether a triangle leaves the exact surface by more than 0.7 mm at its middle, across a crease or over a groove; scanners leave
 * such places open. Only asked where corners' normals differ or sides are long.
 */
function cutsCorner(name: PartName, { positions: p, normals: n }: Skin, [a, b, c]: [number, number, number]): boolean {
  const along = (q: number, r: number): number => n[q] * n[r] + n[q + 1] * n[r + 1] + n[q + 2] * n[r + 2];
  const apart = (q: number, r: number): number => (p[q] - p[r]) ** 2 + (p[q + 1] - p[r + 1]) ** 2 + (p[q + 2] - p[r + 2]) ** 2;
  const flat = along(a, b) > 0.9 && along(b, c) > 0.9 && along(a, c) > 0.9;
  if (flat && Math.max(apart(a, b), apart(b, c), apart(a, c)) < 25) return false;
  const middle = (axis: number): number => (p[a + axis] + p[b + axis] + p[c + axis]) / 3;
  return Math.abs(obstacleDistance(name, middle(0), middle(1), middle(2))) > 0.7;
}

function facesOut(p: Float64Array, n: Float64Array, [a, b, c]: [number, number, number]): boolean {
  const [ux, uy, uz] = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
  const [vx, vy, vz] = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
  const [x, y, z] = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
  const twice = Math.sqrt(x * x + y * y + z * z);
  if (twice < 1e-6) return false;
  return [a, b, c].every((q) => x * n[q] + y * n[q + 1] + z * n[q + 2] > 0.05 * twice);
}

/** A growing mesh of one scan. */
interface Draft {
  readonly positions: number[];
  readonly indices: number[];
}

/** The seen triangles with noise; corners that no triangle uses are left out. */
function draftOf(skin: Skin, keep: Uint8Array, noise: { sigma: number; seed: number; rng: Random }): Draft {
  const { positions: p, normals: n, indices: t } = skin;
  const number = new Int32Array(p.length / 3).fill(-1);
  const out: Draft = { positions: [], indices: [] };
  for (let f = 0; f < keep.length; f++) {
    if (!keep[f]) continue;
    for (let e = 0; e < 3; e++) {
      const v = t[3 * f + e];
      if (number[v] < 0) {
        number[v] = out.positions.length / 3;
        const [x, y, z] = [p[3 * v], p[3 * v + 1], p[3 * v + 2]];
        // Part of the error is common to a patch some 12 mm wide, the rest is each point's own: 0.6^2 + 0.8^2 = 1.
        const d = noise.sigma * (0.6 * smoothNoise(x, y, z, { size: 12, seed: noise.seed }) + 0.8 * noise.rng.normal());
        out.positions.push(x + d * n[3 * v], y + d * n[3 * v + 1], z + d * n[3 * v + 2]);
      }
      out.indices.push(number[v]);
    }
  }
  return out;
}

/** Adds a loose scrap of 5 to 24 triangles, a few mm across, floating 6 to 70 mm off what was seen of the surface; gives their number. */
function addSpeck(draft: Draft, skin: Skin, keep: Uint8Array, rng: Random): number {
  if (!keep.includes(1)) return 0;
  let f = rng.below(keep.length);
  while (!keep[f]) f = (f + 1) % keep.length;
  const v = skin.indices[3 * f] * 3;
  const off = rng.range(6, 70);
  const centre = [0, 1, 2].map((a) => skin.positions[v + a] + skin.normals[v + a] * off);
  const d = normalize(rng.direction());
  const u = normalize(cross(d, Math.abs(d[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0]));
  const w = cross(d, u);
  const around = 5 + rng.below(4);
  const rings = 1 + rng.below(2);
  const size = rng.range(0.7, 1.8);
  const base = draft.positions.length / 3;
  draft.positions.push(centre[0], centre[1], centre[2]);
  for (let r = 1; r <= rings; r++)
    for (let i = 0; i < around; i++) {
      const t = (i * 2 * Math.PI) / around;
      const reach = size * r * rng.range(0.7, 1.3);
      for (let a = 0; a < 3; a++)
        draft.positions.push(centre[a] + reach * (u[a] * Math.cos(t) + w[a] * Math.sin(t)) + d[a] * rng.range(-0.4, 0.4));
    }
  const before = draft.indices.length;
  for (let i = 0; i < around; i++) {
    const j = (i + 1) % around;
    draft.indices.push(base, base + 1 + i, base + 1 + j);
    if (rings === 2) {
      const [a, b] = [base + 1 + i, base + 1 + j];
      draft.indices.push(a, a + around, b + around, a, b + around, b);
    }
  }
  return (draft.indices.length - before) / 3;
}

/** The parts that are scanned together on the vehicle in this state, and those scanned by themselves. */
function partsOf(state: 'bare' | 'stock'): { standing: PartName[]; bench: PartName[] } {
  const benched = (n: PartName): boolean => Boolean(MANNERS[n].bench) && !(state === 'stock' && n === 'airbox');
  const standing = PART_NAMES.filter((n) => !benched(n) && !(state === 'stock' && n === 'intake'));
  return { standing, bench: PART_NAMES.filter(benched) };
}

/** Which corners of each skin are seen from any of the views, all skins in place together. */
function seenCorners(skins: readonly Skin[], views: readonly StationView[]): Uint8Array[] {
  const all = joinSkins(skins);
  const count = all.positions.length / 3;
  const seen = new Uint8Array(count);
  const scratch = { x: new Float32Array(count), y: new Float32Array(count), z: new Float32Array(count) };
  for (const v of views) look(all, v, seen, scratch);
  let at = 0;
  return skins.map((s) => {
    const mine = seen.slice(at, at + s.positions.length / 3);
    at += mine.length;
    return mine;
  });
}

/** Scans the whole quad; one scan a part, in the order of PART_NAMES. `done` is told each step. */
export function scanQuad(options: ScanOptions, done: (step: string) => void = () => {}): Scan[] {
  const { seed, sigma = 0.1, specks = 36, coarseness = 1, state = 'bare', placing } = options;
  const { standing, bench } = partsOf(state);
  const skins = new Map<PartName, Skin>();
  for (const n of [...standing, ...bench]) skins.set(n, fullSkin(n, coarseness));
  done('surfaces laid out');
  const seen = new Map<PartName, Uint8Array>();
  const together = standing.map((n) => skins.get(n)!);
  seenCorners(together, walkRound()).forEach((s, i) => {
    seen.set(standing[i], s);
  });
  for (const n of bench) seen.set(n, seenCorners([skins.get(n)!], benchViews(skins.get(n)!))[0]);
  done('looked at from every station');
  const names = PART_NAMES.filter((n) => skins.has(n));
  const scans = names.map((name, i): Scan => {
    const skin = skins.get(name)!;
    const rng = random(seed * 101 + i);
    const keep = keptTriangles(name, skin, seen.get(name)!, MANNERS[name].shiny ? seed + 7 : undefined);
    const draft = draftOf(skin, keep, { sigma, seed: seed + i, rng });
    let speckTriangles = 0;
    const share = Math.floor(((i + 1) * specks) / names.length) - Math.floor((i * specks) / names.length);
    for (let s = 0; s < share; s++) speckTriangles += addSpeck(draft, skin, keep, rng);
    return { name, mesh: toMesh(draft, placing), speckTriangles };
  });
  done('noise and specks added');
  return scans;
}

function toMesh(draft: Draft, placing: ((p: Vec3) => Vec3) | undefined): Mesh {
  const positions = Float32Array.from(draft.positions);
  if (placing)
    for (let i = 0; i < positions.length; i += 3)
      positions.set(placing([draft.positions[i], draft.positions[i + 1], draft.positions[i + 2]]), i);
  return { origin: [0, 0, 0], positions, indices: Uint32Array.from(draft.indices) };
}

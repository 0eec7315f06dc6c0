import { type Context, checkCancelled, type Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { joinMeshes, type Mesh } from '../core/mesh.ts';
import { type Box3, boxSize, growBox } from '../core/vec.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import { normalInto } from '../scan/place-samples.ts';
import type { Scan } from '../scan/scan.ts';

/**
 * What looks free but lies inside an obstacle: the bore of a tube, the crankcase of an engine, of which a scan has the outside only, and that
 * with holes. Told by the winding number of the scan's faces: beyond one half is inside.
 *
 * The number changes slowly away from the surface, so it is asked at few points, each of which speaks for the ball round it that no surface
 * enters; and the faces of a cube smaller than the distance of the nearest point count as one (their areas and moments added up). The
 * quad at 2 mm: 25,000 points for 1.8M cells, about 1 s of processor time on a busy machine; asking every 3.5 cells took 68,000 and 2.5 s.
 * Clusters seen as points from 1.5 of their radii on and not from 2: 0.99 s against 1.34 for the quad at 4 mm, 3 of 334,000 cells told otherwise.
 */
export interface Insides {
  /** Cells that were taken away, and the obstacle that they lie in. */
  readonly inside: ReadonlyMap<string, number>;
  /** Cells where the number lies between UNSURE's limits, free or not: near large openings it says little. */
  readonly undecided: ReadonlyMap<string, number>;
  /** Cells that were asked about at all. */
  readonly asked: number;
}

const HALF = 0.5;
export const UNSURE = [0.3, 0.7] as const;
/** Side of the blocks of cells that are asked together. */
const BLOCK = 6;
/**
 * Between 0 and 1 and without a surface in a ball, the number is a positive harmonic function there, and so is what it lacks to 1: within
 * this share of the radius neither is more than (1 + s) / (1 - s)^2 = 10 times its value in the middle (Harnack's inequality).
 */
const SHARE = 0.6;
/** So a middle this near to 0 or 1 (the number's own error, 0.014 at worst on the bunny, taken off) speaks for its ball; else closer points are asked, CLOSE cells apart. */
const VAGUE = 0.04;
const CLOSE = 2.5;
/** Outside of a scan's box its number is never beyond one half; so far beside it, mm, it still counts with that of a scan it meets. */
const BESIDE = 10;
/** Faces count as one in cubes of this share of the distance at which they are looked at. */
const CUBE = 0.6;

/** Whether a scan's inside is to be found: faces, and not said to be a sheet. One that moves is taken by its surface alone. */
const mayBeSolid = (s: Scan): boolean => s.points === 0 && s.settings.solid !== 'sheet' && s.settings.motion.length === 0;

/**
 * Turns `field` (slack, mm) negative in all cells of at least `level` mm that lie inside one of the obstacles. A scan said to be `solid`
 * counts whichever way its faces point; one that is to be told by itself only with its faces outwards, since the faces round a bay that
 * was scanned from within look the same the other way round.
 */
export async function closeInsides(field: Field, obstacles: readonly Scan[], level: number, context: Context): Promise<Insides> {
  const solids = obstacles.filter(mayBeSolid);
  const inside = new Map<string, number>();
  const undecided = new Map<string, number>();
  const found: Insides = { inside, undecided, asked: 0 };
  if (solids.length === 0) return found;
  const { data } = field;
  const speaker = new Int32Array(data.length).fill(-1);
  let asked = 0;
  for (let c = 0; c < data.length; c++)
    if (data[c] >= level) {
      speaker[c] = ASKED;
      asked++;
    }
  const nearest = Math.min(...solids.map((s) => s.settings.clearance + s.settings.doubt));
  // First points far apart; then, where their numbers are neither near 0 nor near 1, closer ones.
  const rough = await ask(speakers(field, speaker, { nearest, widest: Infinity }), solids, level, context);
  const settle = (told: Told, again: boolean): void => {
    for (let c = 0; c < data.length; c++) {
      const q = speaker[c];
      if (q < 0) continue;
      if (again && told.vague[q]) {
        speaker[c] = ASKED;
        continue;
      }
      speaker[c] = -1;
      count(undecided, solids, told.unsure[q]);
      count(inside, solids, told.taken[q]);
      if (told.taken[q] >= 0) data[c] = -data[c];
    }
  };
  settle(rough, true);
  const close = speakers(field, speaker, { nearest, widest: CLOSE });
  if (close.length > 0) {
    const left = solids.map((s, o) => (rough.blurred.has(o) ? s : null));
    settle(await ask(close, left, level, context), false);
  }
  return { ...found, asked };
}

function count(map: Map<string, number>, solids: readonly Scan[], o: number): void {
  if (o >= 0) map.set(solids[o].name, (map.get(solids[o].name) ?? 0) + 1);
}

/** Of each point: the obstacle that it lies in or may lie in, else -1, and whether points close by may have another answer. */
interface Told {
  readonly taken: Int16Array;
  readonly unsure: Int16Array;
  readonly vague: Uint8Array;
  /** The obstacles that made any of them vague. */
  readonly blurred: Set<number>;
}

async function ask(points: Float64Array, solids: readonly (Scan | null)[], level: number, context: Context): Promise<Told> {
  const n = points.length / 3;
  const told: Told = {
    taken: new Int16Array(n).fill(-1),
    unsure: new Int16Array(n).fill(-1),
    vague: new Uint8Array(n),
    blurred: new Set(),
  };
  const grid = boundsOf(points);
  const orders = solids.flatMap((scan, o) => {
    const own = scan ? within(points, growBox(scan.box, BESIDE)) : [];
    return scan && own.length > 0 ? [{ o, scan, own }] : [];
  });
  const numbers = await context.pool.map(
    windingsTask,
    orders.map(({ scan, own }) => {
      const at = new Float64Array(own.length * 3);
      own.forEach((q, i) => {
        at.set(points.subarray(q * 3, q * 3 + 3), i * 3);
      });
      return { mesh: scan.mesh, points: at, cube: CUBE * (level + scan.settings.clearance + scan.settings.doubt), grid };
    }),
  );
  checkCancelled(context);
  const sure = new Uint8Array(n);
  // Scans that meet at their openings, a pipe and what it runs into, close each other: together their numbers are those of one surface.
  const total = new Float32Array(n);
  const most = new Float32Array(n);
  const whose = new Int16Array(n).fill(-1);
  orders.forEach(({ o, scan, own }, i) => {
    own.forEach((q, k) => {
      const w = scan.settings.solid === 'solid' ? Math.abs(numbers[i][k]) : numbers[i][k];
      if (w > HALF) told.taken[q] = o;
      total[q] += Math.max(0, w);
      if (w > most[q]) {
        most[q] = w;
        whose[q] = o;
      }
      if (w > VAGUE && w < 1 - VAGUE) {
        told.vague[q] = 1;
        told.blurred.add(o);
      }
      if (w >= 1 - VAGUE) sure[q] = 1;
    });
  });
  for (let q = 0; q < n; q++) {
    if (told.taken[q] < 0 && total[q] > HALF) told.taken[q] = whose[q];
    if (total[q] > UNSURE[0] && total[q] < UNSURE[1]) told.unsure[q] = whose[q];
  }
  // Well inside one of them, the others have no say.
  for (let q = 0; q < n; q++) if (sure[q]) told.vague[q] = 0;
  return told;
}

/** A cell that waits for its speaker. */
const ASKED = -2;

/**
 * Gives each cell that is ASKED the number of the point that speaks for it; returns the points. Block by block the cell with the most room speaks
 * for all of the block within SHARE of its room (`nearest` more than the slack, since every surface keeps at least that off) and within
 * `widest` cells, then the next.
 */
function speakers({ grid, data }: Field, speaker: Int32Array, reach: { readonly nearest: number; readonly widest: number }): Float64Array {
  const { nx, ny, nz, step, origin } = grid;
  const points: number[] = [];
  const cells = new Int32Array(BLOCK ** 3);
  for (let k0 = 0; k0 < nz; k0 += BLOCK)
    for (let j0 = 0; j0 < ny; j0 += BLOCK)
      for (let i0 = 0; i0 < nx; i0 += BLOCK) {
        let left = 0;
        for (let k = k0; k < Math.min(k0 + BLOCK, nz); k++)
          for (let j = j0; j < Math.min(j0 + BLOCK, ny); j++)
            for (let i = i0; i < Math.min(i0 + BLOCK, nx); i++) {
              const c = i + nx * (j + ny * k);
              if (speaker[c] === ASKED) cells[left++] = c;
            }
        while (left > 0) {
          let best = cells[0];
          for (let n = 1; n < left; n++) if (data[cells[n]] > data[best]) best = cells[n];
          const [bi, bj, bk] = [best % nx, Math.floor(best / nx) % ny, Math.floor(best / (nx * ny))];
          const room = Math.min((SHARE * (data[best] + reach.nearest)) / step, reach.widest) ** 2;
          const q = points.length / 3;
          points.push(origin[0] + step * bi, origin[1] + step * bj, origin[2] + step * bk);
          let rest = 0;
          for (let n = 0; n < left; n++) {
            const c = cells[n];
            const far = ((c % nx) - bi) ** 2 + ((Math.floor(c / nx) % ny) - bj) ** 2 + (Math.floor(c / (nx * ny)) - bk) ** 2;
            if (far <= room) speaker[c] = q;
            else cells[rest++] = c;
          }
          left = rest;
        }
      }
  return Float64Array.from(points);
}

/** Numbers of the points inside a box. */
function within(points: Float64Array, box: Box3): number[] {
  const out: number[] = [];
  for (let q = 0; q < points.length; q += 3)
    if ([0, 1, 2].every((a) => points[q + a] >= box.min[a] && points[q + a] <= box.max[a])) out.push(q / 3);
  return out;
}

function boundsOf(points: Float64Array): Box3 {
  const lo = [Infinity, Infinity, Infinity];
  const hi = [-Infinity, -Infinity, -Infinity];
  for (let q = 0; q < points.length; q++) {
    lo[q % 3] = Math.min(lo[q % 3], points[q]);
    hi[q % 3] = Math.max(hi[q % 3], points[q]);
  }
  return { min: [lo[0], lo[1], lo[2]], max: [hi[0], hi[1], hi[2]] };
}

interface Windings {
  readonly mesh: Mesh;
  /** mm */
  readonly points: Float64Array;
  /** Side of the cubes whose faces count as one, mm; farther from `grid` they grow. */
  readonly cube: number;
  /** Box of the points. */
  readonly grid: Box3;
}

function windings({ mesh, points, cube, grid }: Windings): Float32Array {
  const tree = buildWinding(gathered(mesh, cube, grid));
  const out = new Float32Array(points.length / 3);
  for (let q = 0; q < out.length; q++) out[q] = windingNumber(tree, [points[q * 3], points[q * 3 + 1], points[q * 3 + 2]]);
  return out;
}

export const windingsTask: Task<Windings, Float32Array> = { name: 'insides.windings', run: windings };

/**
 * One triangle for the faces of each cube: with the sum of their area vectors, at their common centre of area. Seen from farther than the
 * cube, they are the same dipole. Faces that are larger than a cube, as drawn parts have them, stay as they are. Cubes double in size with every doubling of the distance from `grid`.
 */
export function gathered(mesh: Mesh, cube: number, grid: Box3): Mesh {
  const { positions: p, indices: t, origin } = mesh;
  // Sums of seven numbers a cube, found by open addressing on the cube's number.
  let size = 1024;
  while (size < t.length / 3) size *= 2;
  const slots = new Int32Array(size).fill(-1);
  const keys = new Float64Array(t.length / 3);
  const sums = new Float64Array((t.length / 3) * 7);
  let count = 0;
  const large: number[] = [];
  const normal = new Float64Array(3);
  const near = growBox(grid, cube);
  const half = boxSize(grid).reduce((m, s) => Math.max(m, s), cube);
  for (let f = 0; f < t.length / 3; f++) {
    const a = t[f * 3] * 3;
    const b = t[f * 3 + 1] * 3;
    const c = t[f * 3 + 2] * 3;
    const x = (p[a] + p[b] + p[c]) / 3 + origin[0];
    const y = (p[a + 1] + p[b + 1] + p[c + 1]) / 3 + origin[1];
    const z = (p[a + 2] + p[b + 2] + p[c + 2]) / 3 + origin[2];
    const off = Math.max(near.min[0] - x, x - near.max[0], near.min[1] - y, y - near.max[1], near.min[2] - z, z - near.max[2], 0);
    const level = off > 2 * cube ? Math.min(Math.floor(Math.log2(off / cube)), Math.max(0, Math.floor(Math.log2(half / cube)))) : 0;
    const side = cube * 2 ** level;
    if (longest(p, a, b, c) > side) {
      large.push(f);
      continue;
    }
    const i = Math.floor(x / side);
    const j = Math.floor(y / side);
    const k = Math.floor(z / side);
    const key = (((i + 16384) * 32768 + j + 16384) * 32768 + k + 16384) * 16 + level;
    let h = (Math.imul(i, 0x9e3779b1) ^ Math.imul(j, 0x85ebca6b) ^ Math.imul(k, 0xc2b2ae35) ^ level) >>> 0;
    h = (h ^ (h >>> 15)) & (size - 1);
    while (slots[h] >= 0 && keys[slots[h]] !== key) h = (h + 1) & (size - 1);
    if (slots[h] < 0) {
      keys[count] = key;
      slots[h] = count++;
    }
    const o = slots[h] * 7;
    normalInto(p, t, f, normal);
    const area = normalInto(p, t, f, normal);
    sums[o] += normal[0];
    sums[o + 1] += normal[1];
    sums[o + 2] += normal[2];
    sums[o + 3] += area * (x - origin[0]);
    sums[o + 4] += area * (y - origin[1]);
    sums[o + 5] += area * (z - origin[2]);
    sums[o + 6] += area;
  }
  const few = dipoles(sums.subarray(0, count * 7), mesh);
  if (large.length === 0) return few;
  const own = Uint32Array.from({ length: large.length * 3 }, (_, q) => t[large[Math.floor(q / 3)] * 3 + (q % 3)]);
  return joinMeshes([few, { ...mesh, indices: own }]);
}

/** Size of a triangle's box along its longest side; its corners begin at `a`, `b`, `c`. */
function longest(p: Float32Array, a: number, b: number, c: number): number {
  let most = 0;
  for (let k = 0; k < 3; k++) {
    const [u, v, w] = [p[a + k], p[b + k], p[c + k]];
    const span = Math.max(u, v, w) - Math.min(u, v, w);
    if (span > most) most = span;
  }
  return most;
}

/** Triangles with twice the area vector and the centre of each sum. */
function dipoles(sums: Float64Array, { origin }: Mesh): Mesh {
  const count = sums.length / 7;
  const positions = new Float32Array(count * 9);
  for (let g = 0; g < count; g++) {
    const [nx, ny, nz] = [sums[g * 7], sums[g * 7 + 1], sums[g * 7 + 2]];
    const area = sums[g * 7 + 6];
    const size = Math.hypot(nx, ny, nz);
    if (!(area > 0) || !(size > 0)) continue;
    // Two directions at right angles to n; an equilateral triangle of circumradius r has the area 3 sqrt(3) / 4 r^2.
    const [ax, ay, az] = Math.abs(nx) < 0.6 * size ? [1, 0, 0] : [0, 1, 0];
    const [ux, uy, uz] = [ay * nz - az * ny, az * nx - ax * nz, ax * ny - ay * nx];
    const u = Math.hypot(ux, uy, uz);
    const [vx, vy, vz] = [(ny * uz - nz * uy) / size, (nz * ux - nx * uz) / size, (nx * uy - ny * ux) / size];
    const r = Math.sqrt(size / 2 / ((3 * Math.sqrt(3)) / 4));
    for (let k = 0; k < 3; k++) {
      const [c, s] = [(Math.cos((2 * Math.PI * k) / 3) * r) / u, (Math.sin((2 * Math.PI * k) / 3) * r) / u];
      positions[g * 9 + k * 3] = sums[g * 7 + 3] / area + c * ux + s * vx;
      positions[g * 9 + k * 3 + 1] = sums[g * 7 + 4] / area + c * uy + s * vy;
      positions[g * 9 + k * 3 + 2] = sums[g * 7 + 5] / area + c * uz + s * vz;
    }
  }
  return { origin, positions, indices: Uint32Array.from({ length: count * 3 }, (_, i) => i) };
}

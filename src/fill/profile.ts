import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { heights } from './level.ts';

/**
 * Everything about a cavity that depends on a level along one direction: how much lies below it, and where.
 * One pass: a whole cell is spread over the levels as a cube sliced by planes (exact); a cell that the border may cut is taken in
 * SPLIT^3 parts, each covered by the field's value at its centre.
 */
export interface Profile {
  readonly up: Vec3;
  /** Heights along `up`, mm, from the cavity's lowest point to its highest, evenly spaced. */
  readonly levels: Float64Array;
  /** mm3 below each level. */
  readonly below: Float64Array;
  /** Integral of x, y, z over what is below each level, mm4: three numbers a level. */
  readonly moments: Float64Array;
}

const SPLIT = 4;
const TABLE = 512;

/**
 * The profile along `up` (unit) with `steps` equal steps. `total` (mm3), when given, is what the whole must come to: the pass then only
 * shares it out. An empty cavity gives levels of NaN and no volume.
 */
export function profileOf(cavity: Field, up: Vec3, steps: number, total?: number): Profile {
  const [low, high] = extent(cavity, up);
  const sums = new Float64Array(4 * (steps + 1));
  if (low < high) {
    const { step } = cavity.grid;
    const width = (high - low) / steps;
    // Nodes an eighth of a cell apart smear a cell by less than the table's own error.
    const every = Math.max(1, Math.ceil((8 * width) / step));
    const gap = width / every;
    const half = ((Math.abs(up[0]) + Math.abs(up[1]) + Math.abs(up[2])) * step) / 2;
    const pad = Math.ceil((3 * step) / gap);
    const count = 4 * (steps * every + 2 * pad + 2);
    const nodes: Nodes = { low, gap, pad, whole: new Float64Array(count), parts: new Float64Array(count) };
    gather(cavity, up, nodes);
    const table = sliceTable(up);
    below(nodes.whole, nodes, half, table, every, sums);
    below(nodes.parts, nodes, half / SPLIT, table, every, sums);
    // The ends stand on the border itself: nothing lies below the lowest, everything below the highest.
    sums.fill(0, 0, 4);
    for (let a = 0; a < 4; a++) sums[4 * steps + a] = sumOf(nodes.whole, a) + sumOf(nodes.parts, a);
  }
  const k = total === undefined || !(sums[4 * steps] > 0) ? 1 : total / sums[4 * steps];
  return {
    up,
    levels: Float64Array.from({ length: steps + 1 }, (_, i) => (low < high ? low + ((high - low) * i) / steps : Number.NaN)),
    below: Float64Array.from({ length: steps + 1 }, (_, i) => k * sums[4 * i]),
    moments: Float64Array.from({ length: 3 * (steps + 1) }, (_, i) => k * sums[4 * Math.floor(i / 3) + 1 + (i % 3)]),
  };
}

function sumOf(sums: Float64Array, a: number): number {
  let v = 0;
  for (let i = a; i < sums.length; i += 4) v += sums[i];
  return v;
}

/** mm3 below a height. */
export function volumeBelow(p: Profile, height: number): number {
  const n = p.levels.length - 1;
  const t = ((height - p.levels[0]) / (p.levels[n] - p.levels[0])) * n;
  if (!(t > 0)) return 0;
  if (t >= n) return p.below[n];
  const i = Math.floor(t);
  return p.below[i] + (t - i) * (p.below[i + 1] - p.below[i]);
}

/** Height at which `volume` mm3 lies below; the ends for less than none and more than all. */
export function levelOf(p: Profile, volume: number): number {
  const n = p.levels.length - 1;
  if (!(volume > 0)) return p.levels[0];
  if (volume >= p.below[n]) return p.levels[n];
  let i = 0;
  while (p.below[i + 1] < volume) i++;
  return p.levels[i] + ((volume - p.below[i]) / (p.below[i + 1] - p.below[i])) * (p.levels[i + 1] - p.levels[i]);
}

/** Centre of the first `volume` mm3 from below, mm. */
export function centreOf(p: Profile, volume: number): Vec3 {
  const n = p.levels.length - 1;
  const v = Math.min(Math.max(volume, 1e-9 * p.below[n]), p.below[n]);
  let i = 0;
  while (i + 1 < n && p.below[i + 1] < v) i++;
  const part = p.below[i + 1] > p.below[i] ? (v - p.below[i]) / (p.below[i + 1] - p.below[i]) : 0;
  const at = (a: number): number => (p.moments[3 * i + a] + part * (p.moments[3 * i + 3 + a] - p.moments[3 * i + a])) / v;
  return [at(0), at(1), at(2)];
}

function extent(cavity: Field, up: Vec3): [number, number] {
  return [-highest(heights(cavity, [-up[0], -up[1], -up[2]]).data), highest(heights(cavity, up).data)];
}

function highest(values: Float32Array): number {
  let most = -Infinity;
  for (let c = 0; c < values.length; c++) if (values[c] > most) most = values[c];
  return most;
}

/** Sums at evenly spaced heights: node q stands at low + (q - pad) * gap; four numbers a node: volume and its moments about x, y, z. */
interface Nodes {
  readonly low: number;
  readonly gap: number;
  readonly pad: number;
  readonly whole: Float64Array;
  readonly parts: Float64Array;
}

/** Puts every cell, or the parts of a cut cell, on the two nearest nodes in proportion. */
function gather(cavity: Field, up: Vec3, nodes: Nodes): void {
  const { grid, data: f } = cavity;
  const { step, origin, nx, ny, nz } = grid;
  // The farthest that a plane through a corner can stand from the cell's centre; beyond it the cell is whole or empty.
  const cutAt = (Math.sqrt(3) / 2) * step;
  const eight = new Float64Array(8);
  let c = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++, c++) {
        if (!(f[c] > -cutAt)) continue;
        const x = origin[0] + i * step;
        const y = origin[1] + j * step;
        const z = origin[2] + k * step;
        if (f[c] >= cutAt) {
          put(nodes.whole, nodes, up[0] * x + up[1] * y + up[2] * z, step ** 3, x, y, z);
          continue;
        }
        for (let o = 0; o < 8; o++) {
          const dx = o & 1 ? (i + 1 < nx ? 1 : 0) : i > 0 ? -1 : 0;
          const dy = o & 2 ? (j + 1 < ny ? nx : 0) : j > 0 ? -nx : 0;
          const dz = o & 4 ? (k + 1 < nz ? nx * ny : 0) : k > 0 ? -nx * ny : 0;
          for (let m = 0; m < 8; m++) eight[m] = f[c + (m & 1 ? dx : 0) + (m & 2 ? dy : 0) + (m & 4 ? dz : 0)];
          octant(nodes, up, { eight, o, x, y, z, step });
        }
      }
}

interface Octant {
  /** Field at the cell's centre and towards its seven neighbours of this octant. */
  readonly eight: Float64Array;
  readonly o: number;
  readonly x: number;
  readonly y: number;
  readonly z: number;
  readonly step: number;
}

/** The eight parts of a cell in one octant: a quarter cell wide, 1/8 and 3/8 of a cell from the centre, the field between trilinear. */
function octant(nodes: Nodes, up: Vec3, { eight: e, o, x, y, z, step }: Octant): void {
  const part = step / SPLIT;
  const size = part ** 3;
  for (let m = 0; m < 8; m++) {
    const u = m & 1 ? 0.375 : 0.125;
    const v = m & 2 ? 0.375 : 0.125;
    const w = m & 4 ? 0.375 : 0.125;
    const low = (e[0] * (1 - u) + e[1] * u) * (1 - v) + (e[2] * (1 - u) + e[3] * u) * v;
    const high = (e[4] * (1 - u) + e[5] * u) * (1 - v) + (e[6] * (1 - u) + e[7] * u) * v;
    const cover = 0.5 + (low * (1 - w) + high * w) / part;
    if (!(cover > 0)) continue;
    const px = x + (o & 1 ? u : -u) * step;
    const py = y + (o & 2 ? v : -v) * step;
    const pz = z + (o & 4 ? w : -w) * step;
    put(nodes.parts, nodes, up[0] * px + up[1] * py + up[2] * pz, Math.min(1, cover) * size, px, py, pz);
  }
}

function put(sums: Float64Array, { low, gap, pad }: Nodes, height: number, v: number, x: number, y: number, z: number): void {
  const t = (height - low) / gap + pad;
  const q = Math.floor(t);
  const far = v * (t - q);
  const near = v - far;
  const at = 4 * q;
  sums[at] += near;
  sums[at + 1] += near * x;
  sums[at + 2] += near * y;
  sums[at + 3] += near * z;
  sums[at + 4] += far;
  sums[at + 5] += far * x;
  sums[at + 6] += far * y;
  sums[at + 7] += far * z;
}

/** Adds to `out` (four numbers a level, every `every` nodes) what lies below each level: nodes wholly below, and slices of those it cuts. */
function below(sums: Float64Array, nodes: Nodes, half: number, table: Float64Array, every: number, out: Float64Array): void {
  const count = sums.length / 4;
  const reach = Math.ceil(half / nodes.gap);
  const done = new Float64Array(4);
  let next = 0;
  for (let level = 0; level < out.length / 4; level++) {
    const at = nodes.pad + level * every;
    for (; next < Math.min(count, at - reach); next++) for (let a = 0; a < 4; a++) done[a] += sums[4 * next + a];
    for (let a = 0; a < 4; a++) out[4 * level + a] += done[a];
    for (let q = next; q < Math.min(count, at + reach + 1); q++) {
      const share = slice(table, ((at - q) * nodes.gap) / half);
      for (let a = 0; a < 4; a++) out[4 * level + a] += share * sums[4 * q + a];
    }
  }
}

/** Share of a cube below a plane at `t` half extents from its centre. */
function slice(table: Float64Array, t: number): number {
  if (t <= -1) return 0;
  if (t >= 1) return 1;
  const at = ((t + 1) / 2) * TABLE;
  const i = Math.floor(at);
  return table[i] + (at - i) * (table[i + 1] - table[i]);
}

/**
 * The share of a cube below planes across `up`, at TABLE steps from one end to the other: the distribution of a sum of three uniform
 * variables, in its alternating-cubes form.
 */
function sliceTable(up: Vec3): Float64Array {
  // A width of nothing would divide by zero; a thousandth of a cell does no harm.
  const w = up.map((u) => Math.max(Math.abs(u), 1e-3));
  const sum = w[0] + w[1] + w[2];
  const table = new Float64Array(TABLE + 2).fill(1);
  for (let i = 0; i < TABLE; i++) {
    const t = (sum * i) / TABLE;
    let v = 0;
    for (let m = 0; m < 8; m++) {
      const at = t - (m & 1 ? w[0] : 0) - (m & 2 ? w[1] : 0) - (m & 4 ? w[2] : 0);
      if (at > 0) v += ((m & 1) + ((m >> 1) & 1) + ((m >> 2) & 1)) % 2 === 1 ? -(at ** 3) : at ** 3;
    }
    table[i] = Math.min(1, Math.max(0, v / (6 * w[0] * w[1] * w[2])));
  }
  return table;
}

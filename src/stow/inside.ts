import { type Field, sampleField } from '../core/field.ts';
import { cellAt } from '../core/grid.ts';
import { add, scale, type Vec3 } from '../core/vec.ts';

/**
 * Whether a plain solid lies inside { f >= 0 }, f a distance-like field (positive inside, mm, changing by at most 1 mm per mm).
 * Two answers: `boxFits` and `cylinderFits` read the field between the cells, for searching; `certifyBox` and `certifyCylinder`
 * prove it from the cells alone.
 *
 * The proof: a ball of radius f(y) about a cell's centre y is free, so a point is free when some cell's ball holds it. A solid is cut into small
 * pieces until each lies in one ball; pieces at flat walls find their ball some cells inwards.
 */

/** A box: centre, three unit axes and half lengths along them, mm. */
export interface PlacedBox {
  readonly centre: Vec3;
  readonly axes: readonly [Vec3, Vec3, Vec3];
  readonly half: Vec3;
}

/** A cylinder along z: centre, radius and half height, mm. */
export interface PlacedCylinder {
  readonly centre: Vec3;
  readonly radius: number;
  readonly halfHeight: number;
}

export const UNIT_AXES: readonly [Vec3, Vec3, Vec3] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

const at = (b: PlacedBox, u: number, v: number, w: number): Vec3 =>
  add(b.centre, add(scale(b.axes[0], u), add(scale(b.axes[1], v), scale(b.axes[2], w))));

/**
 * The field between the cells, as `sampleField`, but -Infinity beyond the box that the cells fill (a hair of room for points that lie on it).
 * Takes numbers, not a vector: the searches read it millions of times.
 */
export function read(f: Field, px: number, py: number, pz: number): number {
  const { origin, step, nx, ny, nz } = f.grid;
  const e = 0.5 + 1e-6;
  let x = (px - origin[0]) / step;
  let y = (py - origin[1]) / step;
  let z = (pz - origin[2]) / step;
  if (!(x >= -e && y >= -e && z >= -e && x <= nx - 1 + e && y <= ny - 1 + e && z <= nz - 1 + e)) return -Infinity;
  x = Math.min(Math.max(x, 0), nx - 1);
  y = Math.min(Math.max(y, 0), ny - 1);
  z = Math.min(Math.max(z, 0), nz - 1);
  const i = Math.min(Math.floor(x), nx > 1 ? nx - 2 : 0);
  const j = Math.min(Math.floor(y), ny > 1 ? ny - 2 : 0);
  const k = Math.min(Math.floor(z), nz > 1 ? nz - 2 : 0);
  const dx = nx > 1 ? 1 : 0;
  const dy = ny > 1 ? nx : 0;
  const dz = nz > 1 ? nx * ny : 0;
  const u = x - i;
  const v = y - j;
  const w = z - k;
  const d = f.data;
  const c = i + nx * (j + ny * k);
  const a00 = d[c] + u * (d[c + dx] - d[c]);
  const a10 = d[c + dy] + u * (d[c + dy + dx] - d[c + dy]);
  const a01 = d[c + dz] + u * (d[c + dz + dx] - d[c + dz]);
  const a11 = d[c + dz + dy] + u * (d[c + dz + dy + dx] - d[c + dz + dy]);
  const low = a00 + v * (a10 - a00);
  return low + w * (a01 + v * (a11 - a01) - low);
}

/**
 * Whether { f >= enough } holds a box, read between the cells: on its faces at points at most `spacing` mm apart (points that a deeper
 * neighbour answers for are skipped), inside by blocks that are halved until their middle is deep enough to answer for them.
 */
export function boxFits(f: Field, b: PlacedBox, spacing: number, enough: number): boolean {
  for (let a = 0; a < 3; a++) for (const side of [-1, 1]) if (!faceFits(f, b, { a, side, spacing, enough })) return false;
  // A point that deep in a box that fits has a free ball as large about it, but for what the reading between cells loses at creases.
  return insideFits(f, b, spacing, Math.max(enough, enough + spacing - 0.75 * f.grid.step));
}

interface Face {
  readonly a: number;
  readonly side: number;
  readonly spacing: number;
  readonly enough: number;
}

function faceFits(f: Field, { centre, axes, half }: PlacedBox, { a, side, spacing, enough }: Face): boolean {
  const ua = (a + 1) % 3;
  const va = (a + 2) % 3;
  const [n, u, v] = [axes[a], axes[ua], axes[va]];
  const nu = Math.max(1, Math.ceil((2 * half[ua]) / spacing));
  const nv = Math.max(1, Math.ceil((2 * half[va]) / spacing));
  const gap = (2 * half[ua]) / nu;
  const out = side * half[a];
  for (let q = 0; q <= nv; q++) {
    const t = half[va] * ((2 * q) / nv - 1);
    const x = centre[0] + out * n[0] + t * v[0];
    const y = centre[1] + out * n[1] + t * v[1];
    const z = centre[2] + out * n[2] + t * v[2];
    for (let p = 0; p <= nu; ) {
      const s = half[ua] * ((2 * p) / nu - 1);
      const depth = read(f, x + s * u[0], y + s * u[1], z + s * u[2]);
      if (depth < enough) return false;
      // Going along the row the field can fall by no more than the way gone; the last point is never skipped.
      const skip = Math.max(1, Math.floor((depth - enough) / gap));
      p = p < nu ? Math.min(nu, p + skip) : nu + 1;
    }
  }
  return true;
}

/** Blocks as centre and half lengths in the box's own axes, six numbers each. The faces were looked at, so a layer of `spacing` under them is left out: only an island thinner than that could hide in it. */
function insideFits(f: Field, { centre: c, axes: [e0, e1, e2], half }: PlacedBox, spacing: number, enough: number): boolean {
  const rim = spacing;
  if (half.some((h) => h <= rim)) return true;
  const stack = [0, 0, 0, half[0] - rim, half[1] - rim, half[2] - rim];
  while (stack.length > 0) {
    const d = stack.pop() as number;
    const b = stack.pop() as number;
    const a = stack.pop() as number;
    const w = stack.pop() as number;
    const v = stack.pop() as number;
    const u = stack.pop() as number;
    const depth = read(
      f,
      c[0] + u * e0[0] + v * e1[0] + w * e2[0],
      c[1] + u * e0[1] + v * e1[1] + w * e2[1],
      c[2] + u * e0[2] + v * e1[2] + w * e2[2],
    );
    if (depth < enough) return false;
    if (depth - Math.sqrt(a * a + b * b + d * d) >= enough) continue;
    const longest = Math.max(a, b, d);
    if (longest <= spacing / 2) continue;
    if (longest === a) stack.push(u - a / 2, v, w, a / 2, b, d, u + a / 2, v, w, a / 2, b, d);
    else if (longest === b) stack.push(u, v - b / 2, w, a, b / 2, d, u, v + b / 2, w, a, b / 2, d);
    else stack.push(u, v, w - d / 2, a, b, d / 2, u, v, w + d / 2, a, b, d / 2);
  }
  return true;
}

/** The same for a cylinder along z: rings on the mantle, rings on both ends, and the inside by the box that its axis carries. */
export function cylinderFits(f: Field, c: PlacedCylinder, spacing: number, enough: number): boolean {
  const [x, y, z] = c.centre;
  const layers = Math.max(1, Math.ceil((2 * c.halfHeight) / spacing));
  for (let l = 0; l <= layers; l++)
    if (!ringFits(f, c.radius, z + c.halfHeight * ((2 * l) / layers - 1), { c, spacing, enough })) return false;
  const rings = Math.max(1, Math.ceil(c.radius / spacing));
  for (let r = rings - 1; r >= 0; r--)
    for (const end of [-c.halfHeight, c.halfHeight])
      if (!ringFits(f, (c.radius * r) / rings, z + end, { c, spacing, enough })) return false;
  // Layers between the ends: coarser rings, for what stands free inside.
  for (let r = 0; r < rings; r += 2)
    for (let l = 1; l < layers; l += 2)
      if (
        read(f, x, y, z + c.halfHeight * ((2 * l) / layers - 1)) < (c.radius * (r + 2)) / rings &&
        !ringFits(f, (c.radius * r) / rings, z + c.halfHeight * ((2 * l) / layers - 1), { c, spacing, enough })
      )
        return false;
  return true;
}

function ringFits(
  f: Field,
  radius: number,
  z: number,
  { c, spacing, enough }: { c: PlacedCylinder; spacing: number; enough: number },
): boolean {
  const turns = Math.max(1, Math.ceil((2 * Math.PI * radius) / spacing));
  const gap = (2 * Math.PI * radius) / turns;
  for (let t = 0; t < turns; ) {
    const a = (2 * Math.PI * t) / turns;
    const depth = read(f, c.centre[0] + radius * Math.cos(a), c.centre[1] + radius * Math.sin(a), z);
    if (depth < enough) return false;
    t += gap > 0 ? Math.max(1, Math.floor((depth - enough) / gap)) : 1;
  }
  return true;
}

/** How far inwards a ball is looked for, cells, and how small a piece may get, cells. */
const LOOK = 12;
const SMALLEST = 0.2;

/**
 * Proof that a box lies in { f >= 0 } given that every cell's value may be too high by `doubt` mm. False: not proved (it may still lie
 * inside by less than about a cell).
 */
export function certifyBox(f: Field, b: PlacedBox, doubt = 0): boolean {
  const stack: number[][] = [[0, 0, 0, b.half[0], b.half[1], b.half[2]]];
  while (stack.length > 0) {
    const [u, v, w, a, c, d] = stack.pop() as number[];
    const p = at(b, u, v, w);
    if (covered(f, p, [a, c, d], b, doubt)) continue;
    const longest = Math.max(a, c, d);
    if (longest < SMALLEST * f.grid.step || cellAt(f.grid, p) < 0) return false;
    // Long pieces are halved, cube-like ones cut in eight through their three halves in turn.
    if (longest === a) stack.push([u - a / 2, v, w, a / 2, c, d], [u + a / 2, v, w, a / 2, c, d]);
    else if (longest === c) stack.push([u, v - c / 2, w, a, c / 2, d], [u, v + c / 2, w, a, c / 2, d]);
    else stack.push([u, v, w - d / 2, a, c, d / 2], [u, v, w + d / 2, a, c, d / 2]);
  }
  return true;
}

/** The same for an upright cylinder: proved by the boxes that cover it, each cut off where it leaves the cylinder. */
export function certifyCylinder(f: Field, c: PlacedCylinder, doubt = 0): boolean {
  const stack: number[][] = [[0, 0, 0, c.radius, c.radius, c.halfHeight]];
  while (stack.length > 0) {
    const [u, v, w, a, b, d] = stack.pop() as number[];
    // A piece wholly off the cylinder need not be free.
    if (Math.hypot(Math.max(0, Math.abs(u) - a), Math.max(0, Math.abs(v) - b)) >= c.radius) continue;
    const p: Vec3 = [c.centre[0] + u, c.centre[1] + v, c.centre[2] + w];
    if (covered(f, p, [a, b, d], { centre: c.centre, axes: UNIT_AXES }, doubt)) continue;
    const longest = Math.max(a, b, d);
    if (longest < SMALLEST * f.grid.step || cellAt(f.grid, p) < 0) return false;
    if (longest === a) stack.push([u - a / 2, v, w, a / 2, b, d], [u + a / 2, v, w, a / 2, b, d]);
    else if (longest === b) stack.push([u, v - b / 2, w, a, b / 2, d], [u, v + b / 2, w, a, b / 2, d]);
    else stack.push([u, v, w - d / 2, a, b, d / 2], [u, v, w + d / 2, a, b, d / 2]);
  }
  return true;
}

interface Frame {
  readonly centre: Vec3;
  readonly axes: readonly [Vec3, Vec3, Vec3];
}

/**
 * Whether the piece about p with half lengths `half` along the axes lies in one cell's free ball. Tried: the nearest cell, then cells along the
 * field's own slope and towards the solid's middle, up to LOOK cells inwards.
 */
function covered(f: Field, p: Vec3, half: Vec3, frame: Frame, doubt: number): boolean {
  if (holds(f, p, { p, half, frame, doubt })) return true;
  const h = f.grid.step;
  if (Math.max(half[0], half[1], half[2]) > 4 * h) return false;
  const slope = slopeAt(f, p);
  for (let n = 1; n <= LOOK; n++) if (holds(f, add(p, scale(slope, n * h)), { p, half, frame, doubt })) return true;
  const m = frame.centre;
  const away = Math.hypot(m[0] - p[0], m[1] - p[1], m[2] - p[2]);
  for (let n = 1; n <= LOOK && n * h < away; n++)
    if (holds(f, add(p, scale([m[0] - p[0], m[1] - p[1], m[2] - p[2]], (n * h) / away)), { p, half, frame, doubt })) return true;
  return false;
}

/** Whether the piece's farthest corner lies in the ball of the cell nearest to `near`. */
function holds(
  { grid, data }: Field,
  near: Vec3,
  { p, half, frame: { axes }, doubt }: { p: Vec3; half: Vec3; frame: Frame; doubt: number },
): boolean {
  const c = cellAt(grid, near);
  if (c < 0) return false;
  const x = grid.origin[0] + (c % grid.nx) * grid.step - p[0];
  const y = grid.origin[1] + (Math.floor(c / grid.nx) % grid.ny) * grid.step - p[1];
  const z = grid.origin[2] + Math.floor(c / (grid.nx * grid.ny)) * grid.step - p[2];
  let far = 0;
  for (let a = 0; a < 3; a++) far += (Math.abs(x * axes[a][0] + y * axes[a][1] + z * axes[a][2]) + half[a]) ** 2;
  return data[c] > doubt && far <= (data[c] - doubt) ** 2;
}

function slopeAt(f: Field, p: Vec3): Vec3 {
  const h = f.grid.step;
  const d = (v: Vec3): number => sampleField(f, add(p, scale(v, h))) - sampleField(f, add(p, scale(v, -h)));
  const g: Vec3 = [d([1, 0, 0]), d([0, 1, 0]), d([0, 0, 1])];
  const n = Math.hypot(g[0], g[1], g[2]);
  return n > 0 ? scale(g, 1 / n) : [0, 0, 0];
}

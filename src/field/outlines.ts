import { type Field, sampleField } from '../core/field.ts';
import { gridBox } from '../core/grid.ts';
import { add, type Box3, dot, scale, sub, type Vec3 } from '../core/vec.ts';

/** A plane with its own coordinates: point (a, b) lies at origin + a u + b v; u and v are unit vectors at right angles. */
export interface SectionPlane {
  readonly origin: Vec3;
  readonly u: Vec3;
  readonly v: Vec3;
}

/** A closed line in a plane, a and b alternating, mm; the last point joins the first, which is not repeated. */
export interface Polyline {
  readonly points: Float64Array;
}

export interface OutlineOptions {
  /** mm, default 0. */
  readonly level?: number;
  /** Spacing of the lattice laid in the plane, mm; default the field's own step. */
  readonly step?: number;
}

/** Regula falsi steps (Illinois) that put a point on the level along its lattice edge. */
const REFINE = 6;

interface Lattice {
  readonly field: Field;
  readonly box: Box3;
  readonly plane: SectionPlane;
  readonly level: number;
  readonly step: number;
  /** Plane coordinates of lattice point (0, 0). */
  readonly a0: number;
  readonly b0: number;
  readonly na: number;
  readonly nb: number;
  /** Field less level; -Infinity outside the grid's box and where the field is no number. */
  readonly value: Float64Array;
}

/**
 * Where a plane cuts the surface of { f >= level }: closed polylines by marching squares on a lattice in the plane, the field taken
 * trilinear, the set cut off at the box that the cells fill. Outer outlines run counter-clockwise (seen from u x v), holes clockwise.
 * Sorted by absolute area, largest first. Squares with alternating corners keep inside corners apart.
 */
export function outlines(field: Field, plane: SectionPlane, options: OutlineOptions = {}): Polyline[] {
  const lattice = layLattice(field, plane, options);
  const { next, start } = link(lattice);
  const lines: Polyline[] = [];
  const done = new Uint8Array(next.length);
  for (const first of start) {
    if (done[first]) continue;
    const points: number[] = [];
    for (let e = first; !done[e]; e = next[e]) {
      done[e] = 1;
      points.push(...crossing(lattice, e));
    }
    lines.push({ points: Float64Array.from(points) });
  }
  return lines.sort((p, q) => Math.abs(polylineArea(q)) - Math.abs(polylineArea(p)));
}

/** Signed area of a closed polyline, mm2: positive when counter-clockwise. */
export function polylineArea(line: Polyline): number {
  const p = line.points;
  let sum = 0;
  for (let i = 0, j = p.length - 2; i < p.length; j = i, i += 2) sum += p[j] * p[i + 1] - p[i] * p[j + 1];
  return sum / 2;
}

function layLattice(field: Field, plane: SectionPlane, options: OutlineOptions): Lattice {
  const level = options.level ?? 0;
  const step = options.step ?? field.grid.step;
  const box = gridBox(field.grid);
  // The box's shadow on the plane, with one lattice step of outside all round.
  const lo = [Infinity, Infinity];
  const hi = [-Infinity, -Infinity];
  for (let c = 0; c < 8; c++) {
    const p = sub([box[c & 1 ? 'max' : 'min'][0], box[c & 2 ? 'max' : 'min'][1], box[c & 4 ? 'max' : 'min'][2]], plane.origin);
    [dot(p, plane.u), dot(p, plane.v)].forEach((x, i) => {
      lo[i] = Math.min(lo[i], x);
      hi[i] = Math.max(hi[i], x);
    });
  }
  const na = Math.ceil((hi[0] - lo[0]) / step) + 3;
  const nb = Math.ceil((hi[1] - lo[1]) / step) + 3;
  const a0 = (lo[0] + hi[0] - (na - 1) * step) / 2;
  const b0 = (lo[1] + hi[1] - (nb - 1) * step) / 2;
  const lattice: Lattice = { field, box, plane, level, step, a0, b0, na, nb, value: new Float64Array(na * nb) };
  for (let j = 0; j < nb; j++) for (let i = 0; i < na; i++) lattice.value[i + na * j] = valueAt(lattice, a0 + i * step, b0 + j * step);
  return lattice;
}

function valueAt(l: Lattice, a: number, b: number): number {
  const p = add(l.plane.origin, add(scale(l.plane.u, a), scale(l.plane.v, b)));
  for (let k = 0; k < 3; k++) if (p[k] < l.box.min[k] || p[k] > l.box.max[k]) return -Infinity;
  const f = sampleField(l.field, p) - l.level;
  return Number.isNaN(f) ? -Infinity : f;
}

/** Lattice edges are numbered 2 * point + axis. Each crossed edge leads to the next one, the inside on the left. */
function link(l: Lattice): { next: Int32Array; start: number[] } {
  const { na, nb, value } = l;
  const next = new Int32Array(2 * na * nb).fill(-1);
  const start: number[] = [];
  for (let j = 0; j + 1 < nb; j++)
    for (let i = 0; i + 1 < na; i++) {
      const c = i + na * j;
      const corner = [c, c + 1, c + 1 + na, c + na];
      const side = [2 * c, 2 * (c + 1) + 1, 2 * (c + na), 2 * c + 1];
      const inside = corner.map((p) => value[p] >= 0);
      if (inside.every((v) => v === inside[0])) continue;
      for (let m = 0; m < 4; m++) {
        // Enter by a side that leads, counter-clockwise, from outside to inside, and leave by the one before it that leads out.
        if (inside[m] || !inside[(m + 1) & 3]) continue;
        let out = (m + 1) & 3;
        while (inside[(out + 1) & 3]) out = (out + 1) & 3;
        next[side[out]] = side[m];
        start.push(side[out]);
      }
    }
  return { next, start };
}

/** Plane coordinates of the level on lattice edge `e`. */
function crossing(l: Lattice, e: number): [number, number] {
  const c = e >> 1;
  const i = c % l.na;
  const a = l.a0 + i * l.step;
  const b = l.b0 + ((c - i) / l.na) * l.step;
  const da = e & 1 ? 0 : l.step;
  const db = e & 1 ? l.step : 0;
  let f0 = l.value[c];
  let f1 = l.value[c + (e & 1 ? l.na : 1)];
  let t0 = 0;
  let t1 = 1;
  const finite = Number.isFinite(f0) && Number.isFinite(f1);
  // Beyond the box there is no slope to follow: halve instead.
  for (let turn = 0; turn < (finite ? REFINE : 40); turn++) {
    const t = finite ? t0 + ((t1 - t0) * f0) / (f0 - f1) : (t0 + t1) / 2;
    const f = valueAt(l, a + t * da, b + t * db);
    if (f === 0) return [a + t * da, b + t * db];
    if (f >= 0 === f1 >= 0) {
      t1 = t;
      f1 = f;
      f0 /= 2;
    } else {
      t0 = t;
      f0 = f;
      f1 /= 2;
    }
  }
  const t = (t0 + t1) / 2;
  return [a + t * da, b + t * db];
}

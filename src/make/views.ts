import { type Field, sampleField } from '../core/field.ts';
import type { Grid } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { dot, type Vec3 } from '../core/vec.ts';
import { outlines, type Polyline } from '../field/outlines.ts';
import { vertexNormals } from './shape.ts';
import { zeroLines } from './slice.ts';

/** A view along one of the vehicle's axes: to the right of the paper is `u`, up is `v`; the viewer stands on the side of u x v. */
export interface ViewFrame {
  readonly name: string;
  /** The axis looked along: 0, 1, 2 for x, y, z. */
  readonly axis: 0 | 1 | 2;
  readonly u: Vec3;
  readonly v: Vec3;
}

/** x forward, y left, z up. Forward lies to the left in the first and third, which stand one above the other. */
export const VIEWS = {
  left: { name: 'from the left', axis: 1, u: [-1, 0, 0], v: [0, 0, 1] },
  front: { name: 'from the front', axis: 0, u: [0, 1, 0], v: [0, 0, 1] },
  above: { name: 'from above', axis: 2, u: [-1, 0, 0], v: [0, -1, 0] },
} as const satisfies Record<string, ViewFrame>;

export interface View {
  readonly frame: ViewFrame;
  /** Outline of the shadow, holes too; coordinates along u and v, mm. */
  readonly silhouette: readonly Polyline[];
  /** Lines where the surface turns away from the viewer, within the silhouette, open, coordinates alternating. */
  readonly seen: readonly Float64Array[];
  readonly hidden: readonly Float64Array[];
  /** [least u, least v, greatest u, greatest v], mm. */
  readonly box: readonly [number, number, number, number];
}

/** Lines shorter than this are left out, mm. */
const SHORT = 12;
/** How far within the silhouette a line must lie to be one of its own, and how far behind the first surface it may lie and be seen, cells. */
const WITHIN = 1.5;
const BEHIND = 2.5;

/** The body's view: silhouette from the field's greatest value along the axis, turning lines from its surface. */
export function viewOf(body: Field, mesh: Mesh, frame: ViewFrame): View {
  const shadow = shadowOf(body, frame.axis);
  const plane = { origin: onPlane(shadow.grid, frame.axis), u: frame.u, v: frame.v };
  const silhouette = outlines(shadow, plane);
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const { points } of silhouette)
    for (let i = 0; i < points.length; i += 2) {
      box[0] = Math.min(box[0], points[i]);
      box[1] = Math.min(box[1], points[i + 1]);
      box[2] = Math.max(box[2], points[i]);
      box[3] = Math.max(box[3], points[i + 1]);
    }
  return { frame, silhouette, box, ...turningLines(body, mesh, frame, shadow) };
}

const onPlane = (grid: Grid, axis: 0 | 1 | 2): Vec3 =>
  [0, 1, 2].map((a) => (a === axis ? grid.origin[axis] : 0)) as [number, number, number];

/** The greatest value along an axis, as a field one cell thick. */
export function shadowOf({ grid, data }: Field, axis: 0 | 1 | 2): Field {
  const size = [grid.nx, grid.ny, grid.nz];
  const flat = size.map((n, a) => (a === axis ? 1 : n));
  const out = new Float32Array(flat[0] * flat[1] * flat[2]).fill(-Infinity);
  let c = 0;
  for (let k = 0; k < size[2]; k++)
    for (let j = 0; j < size[1]; j++)
      for (let i = 0; i < size[0]; i++, c++) {
        const to = (axis === 0 ? 0 : i) + flat[0] * ((axis === 1 ? 0 : j) + flat[1] * (axis === 2 ? 0 : k));
        if (data[c] > out[to]) out[to] = data[c];
      }
  return { grid: { ...grid, nx: flat[0], ny: flat[1], nz: flat[2] }, data: out };
}

/** Where the first surface is, along the axis towards the viewer, mm; -Infinity where there is none. */
function nearest({ grid, data }: Field, axis: 0 | 1 | 2, sign: number): Float64Array {
  const size = [grid.nx, grid.ny, grid.nz];
  const flat = size.map((n, a) => (a === axis ? 1 : n));
  const out = new Float64Array(flat[0] * flat[1] * flat[2]).fill(-Infinity);
  let c = 0;
  for (let k = 0; k < size[2]; k++)
    for (let j = 0; j < size[1]; j++)
      for (let i = 0; i < size[0]; i++, c++) {
        if (!(data[c] >= 0)) continue;
        const to = (axis === 0 ? 0 : i) + flat[0] * ((axis === 1 ? 0 : j) + flat[1] * (axis === 2 ? 0 : k));
        const at = sign * (grid.origin[axis] + grid.step * [i, j, k][axis]);
        if (at > out[to]) out[to] = at;
      }
  return out;
}

/**
 * Lines where the smoothed normal is at right angles to the look, cut up into what is seen and what is hidden. The silhouette's own part of
 * them is left out, and so are scraps.
 */
function turningLines(body: Field, mesh: Mesh, frame: ViewFrame, shadow: Field): { seen: Float64Array[]; hidden: Float64Array[] } {
  const { axis, u, v } = frame;
  const { step, origin } = body.grid;
  // The viewer stands where this sign of the axis points.
  const sign = u[(axis + 1) % 3] * v[(axis + 2) % 3] - u[(axis + 2) % 3] * v[(axis + 1) % 3];
  const normals = vertexNormals(mesh);
  const value = Float64Array.from({ length: normals.length / 3 }, (_, i) => normals[3 * i + axis]);
  const { at, lines } = zeroLines(mesh, value);
  const front = nearest(body, axis, sign);
  const flat = shadow.grid;
  const kinds = (i: number): { kind: 'seen' | 'hidden' | 'edge'; a: number; b: number } => {
    const p: Vec3 = [at[3 * i] + mesh.origin[0], at[3 * i + 1] + mesh.origin[1], at[3 * i + 2] + mesh.origin[2]];
    const [a, b] = [dot(p, u), dot(p, v)];
    if (sampleField(shadow, p) < WITHIN * step) return { kind: 'edge', a, b };
    const cell = [0, 1, 2].map((x) => (x === axis ? 0 : Math.round((p[x] - origin[x]) / step)));
    const first = front[cell[0] + flat.nx * (cell[1] + flat.ny * cell[2])];
    return { kind: sign * p[axis] >= first - BEHIND * step ? 'seen' : 'hidden', a, b };
  };
  const out: { seen: Float64Array[]; hidden: Float64Array[] } = { seen: [], hidden: [] };
  for (const { ids, closed } of lines) {
    let run: number[] = [];
    let kind: 'seen' | 'hidden' | 'edge' = 'edge';
    const end = (): void => {
      if (kind !== 'edge' && lengthOf(run) >= SHORT) out[kind].push(Float64Array.from(run));
      run = [];
    };
    for (const i of closed ? [...ids, ids[0]] : ids) {
      const k = kinds(i);
      if (k.kind !== kind) {
        end();
        kind = k.kind;
      }
      run.push(k.a, k.b);
    }
    end();
  }
  return out;
}

function lengthOf(p: readonly number[]): number {
  let sum = 0;
  for (let i = 2; i < p.length; i += 2) sum += Math.hypot(p[i] - p[i - 2], p[i + 1] - p[i - 1]);
  return sum;
}

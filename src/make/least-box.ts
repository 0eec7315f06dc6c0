import type { ManifoldToplevel } from 'manifold-3d';
import type { Mesh } from '../core/mesh.ts';
import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { add, cross, frameOf, normalize, scale, type Vec3 } from '../core/vec.ts';
import { halfSphere } from './pull.ts';

/** A box of any orientation. Plain JSON, mm. */
export interface TurnedBox {
  readonly size_mm: Vec3;
  /** Unit vectors along its sides, right-handed, in the order of the sizes. */
  readonly axes: readonly [Vec3, Vec3, Vec3];
  readonly centre_mm: Vec3;
}

/** Corners of the body's hull, mm about `origin`, three numbers each. */
export interface Hull {
  readonly origin: Vec3;
  readonly points: Float64Array;
  /** Unit normals of its larger faces. */
  readonly normals: readonly Vec3[];
}

/** Normals taken from the hull's faces, at most. */
const FACES = 60;

export function hullOf(mesh: Mesh, lib: ManifoldToplevel): Hull {
  const solid = new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: mesh.positions, triVerts: mesh.indices }));
  const hull = solid.hull();
  const { vertProperties: p, triVerts: t, numProp: n } = hull.getMesh();
  hull.delete();
  solid.delete();
  const points = new Float64Array((p.length / n) * 3);
  for (let v = 0; v < points.length / 3; v++) for (let a = 0; a < 3; a++) points[3 * v + a] = p[n * v + a];
  const at = (v: number): Vec3 => [points[3 * v], points[3 * v + 1], points[3 * v + 2]];
  const faces = Array.from({ length: t.length / 3 }, (_, i) => {
    const [a, b, c] = [at(t[3 * i]), at(t[3 * i + 1]), at(t[3 * i + 2])];
    return cross(add(b, scale(a, -1)), add(c, scale(a, -1)));
  });
  const size = (v: Vec3): number => Math.hypot(...v);
  const normals = faces
    .sort((a, b) => size(b) - size(a))
    .slice(0, FACES)
    .map(normalize);
  return { origin: mesh.origin, points, normals };
}

/** Directions tried first over half a sphere, how many are turned further, and the turns, degrees. */
const DIRECTIONS = 250;
const REFINED = 14;
const TURNS = [6, 3, 1.5, 0.7, 0.3, 0.1, 0.03];
/** Less is not worth a turn of the block: it is less than a mesh's own error. */
const GAIN = 1e-4;

/**
 * The box of least volume round a body. For each direction of one of its sides the best box is exact: the least rectangle round the hull's shadow
 * has a side along one of the shadow's own (Freeman and Shapira, 1975). Directions come from a sphere of them and from the hull's faces; the best are
 * turned further while that saves a ten-thousandth. A least box need not lie flat on a face of the hull (O'Rourke, Finding
 * minimal enclosing boxes, 1985): the regular tetrahedron's does not. Both recalled.
 */
export function leastBox(hull: Hull): TurnedBox {
  const ranked = [...AXES, ...hull.normals, ...halfSphere(DIRECTIONS)]
    .map((d) => ({ d, box: boxAlong(hull, d) }))
    .sort((p, q) => volumeOf(p.box) - volumeOf(q.box));
  let best = ranked[0];
  for (const start of ranked.slice(0, REFINED)) {
    let own = start;
    // A valley may run askew of the ring of turns: go round it while that helps, but not without end.
    for (const turn of TURNS)
      for (let round = 0, moved = true; moved && round < 8; round++) {
        moved = false;
        const [u, v] = frameOf(own.d);
        for (let k = 0; k < 6; k++) {
          const angle = (k * Math.PI) / 3;
          const side = add(scale(u, Math.cos(angle)), scale(v, Math.sin(angle)));
          const d = normalize(add(own.d, scale(side, Math.tan(turn * RADIANS_PER_DEGREE))));
          const box = boxAlong(hull, d);
          if (volumeOf(box) >= volumeOf(own.box) * (1 - GAIN)) continue;
          own = { d, box };
          moved = true;
        }
      }
    if (volumeOf(own.box) < volumeOf(best.box)) best = own;
  }
  return best.box;
}

const AXES: readonly Vec3[] = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

export const volumeOf = ({ size_mm: [a, b, c] }: TurnedBox): number => a * b * c;

/** The least box with a side along the unit vector `d`, which is the last of its axes. */
export function boxAlong({ origin, points }: Hull, d: Vec3): TurnedBox {
  const [u, v] = frameOf(d);
  const n = points.length / 3;
  const flat: [number, number][] = [];
  let [low, high] = [Infinity, -Infinity];
  for (let i = 0; i < n; i++) {
    const [x, y, z] = [points[3 * i], points[3 * i + 1], points[3 * i + 2]];
    flat.push([x * u[0] + y * u[1] + z * u[2], x * v[0] + y * v[1] + z * v[2]]);
    const h = x * d[0] + y * d[1] + z * d[2];
    if (h < low) low = h;
    if (h > high) high = h;
  }
  const r = leastRectangle(shadow(flat));
  const a = add(scale(u, r.along[0]), scale(v, r.along[1]));
  const b = cross(d, a);
  const middle = add(add(scale(a, r.middle[0]), scale(b, r.middle[1])), scale(d, (low + high) / 2));
  return { size_mm: [r.size[0], r.size[1], high - low], axes: [a, b, d], centre_mm: add(origin, middle) };
}

type Flat = readonly [number, number];

/** Convex hull, counter-clockwise (Andrew's monotone chain, 1979: recalled). */
function shadow(points: [number, number][]): Flat[] {
  points.sort((p, q) => p[0] - q[0] || p[1] - q[1]);
  const turn = (o: Flat, p: Flat, q: Flat): number => (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
  const chain = (from: readonly Flat[]): Flat[] => {
    const out: Flat[] = [];
    for (const p of from) {
      while (out.length > 1 && turn(out[out.length - 2], out[out.length - 1], p) <= 0) out.pop();
      out.push(p);
    }
    out.pop();
    return out;
  };
  return [...chain(points), ...chain([...points].reverse())];
}

interface Rectangle {
  readonly size: Flat;
  readonly along: Flat;
  /** Along its own two directions. */
  readonly middle: Flat;
}

/** The least rectangle round a convex ring, by the four corners that its sides touch as it is turned from side to side of the ring. */
function leastRectangle(ring: readonly Flat[]): Rectangle {
  const n = ring.length;
  let best: Rectangle | undefined;
  let least = Infinity;
  const dot = (p: Flat, c: number, s: number): number => p[0] * c + p[1] * s;
  let [right, top, left] = [1, 1, 1];
  for (let i = 0; i < n; i++) {
    const [p, q] = [ring[i], ring[(i + 1) % n]];
    const side = Math.hypot(q[0] - p[0], q[1] - p[1]);
    if (!(side > 0)) continue;
    const [c, s] = [(q[0] - p[0]) / side, (q[1] - p[1]) / side];
    const climb = (k: number, cc: number, ss: number): number => {
      let at = k;
      for (let tries = 0; tries < n && dot(ring[(at + 1) % n], cc, ss) > dot(ring[at % n], cc, ss); tries++) at++;
      return at;
    };
    right = climb(Math.max(right, i + 1), c, s);
    top = climb(Math.max(top, right), -s, c);
    left = climb(Math.max(left, top), -c, -s);
    const wide = [dot(ring[left % n], c, s), dot(ring[right % n], c, s)];
    const tall = [dot(p, -s, c), dot(ring[top % n], -s, c)];
    const area = (wide[1] - wide[0]) * (tall[1] - tall[0]);
    if (area >= least) continue;
    least = area;
    best = { size: [wide[1] - wide[0], tall[1] - tall[0]], along: [c, s], middle: [(wide[0] + wide[1]) / 2, (tall[0] + tall[1]) / 2] };
  }
  if (!best) throw new Error('a body has a shadow with an area');
  return best;
}

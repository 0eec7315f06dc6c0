import { type Box3, cross, dot, growBox, normalize, sub, unionBox, type Vec3 } from '../src/core/vec.ts';

/**
 * Simple solids with their exact signed distance, mm, negative inside. Outside, the distance to a union is the least of its
 * members' distances, exact as well; inside a union the least is only a bound (the true depth may be greater).
 * Sources: each formula is the distance to a skeleton (point, segment, arc, box, rectangle) less a rounding radius.
 */
export interface Primitive {
  /** Holds the solid. */
  readonly box: Box3;
  readonly distance: (x: number, y: number, z: number) => number;
}

/** Thin bent sheets are also known by their middle line, so that they can be meshed face by face. */
export interface Sheet {
  readonly curve: readonly CurvePiece[];
  readonly frame: Frame;
  /** Half the width across the curve, mm. */
  readonly half: number;
  readonly thickness: number;
}

/** A plane: origin, the directions of its two coordinates, and its normal (u x v). */
export interface Frame {
  readonly origin: Vec3;
  readonly u: Vec3;
  readonly v: Vec3;
  readonly w: Vec3;
}

/** A straight or circular piece of a middle line in 3D: from `a` to `b`, for arcs about `centre`. */
export interface CurvePiece {
  readonly a: Vec3;
  readonly b: Vec3;
  readonly arc?: { readonly centre: Vec3; readonly axis: Vec3; readonly radius: number; readonly sweep: number };
}

export const frameFrom = (origin: Vec3, u: Vec3, v: Vec3): Frame => ({ origin, u, v, w: cross(u, v) });

/** The point at coordinates (a, b, c) of a frame. */
export const at = (f: Frame, a: number, b: number, c: number): Vec3 => [
  f.origin[0] + f.u[0] * a + f.v[0] * b + f.w[0] * c,
  f.origin[1] + f.u[1] * a + f.v[1] * b + f.w[1] * c,
  f.origin[2] + f.u[2] * a + f.v[2] * b + f.w[2] * c,
];

function boxAround(points: readonly Vec3[], by: number): Box3 {
  const all = points.map((p): Box3 => ({ min: p, max: p })).reduce(unionBox);
  return growBox(all, by);
}

/** A round bar from `a` to `b` with half-ball ends. With a = b, a ball. */
export function capsule(a: Vec3, b: Vec3, radius: number): Primitive {
  const [ax, ay, az] = a;
  const [ux, uy, uz] = sub(b, a);
  const n = ux * ux + uy * uy + uz * uz;
  const inverse = n > 0 ? 1 / n : 0;
  const distance = (x: number, y: number, z: number): number => {
    const px = x - ax;
    const py = y - ay;
    const pz = z - az;
    const t = Math.min(1, Math.max(0, (px * ux + py * uy + pz * uz) * inverse));
    const dx = px - t * ux;
    const dy = py - t * uy;
    const dz = pz - t * uz;
    return Math.sqrt(dx * dx + dy * dy + dz * dz) - radius;
  };
  return { box: boxAround([a, b], radius), distance };
}

/** A bend: all points within `radius` of a circular arc, which must turn by less than half a turn. */
function bend(piece: CurvePiece, radius: number): Primitive {
  const { centre, axis, radius: R, sweep } = piece.arc!;
  const from = normalize(sub(piece.a, centre));
  const side = cross(axis, from);
  const c = Math.cos(sweep / 2);
  const s = Math.sin(sweep / 2);
  // Local frame about the middle of the arc: u to its middle, v across it.
  const u: Vec3 = [from[0] * c + side[0] * s, from[1] * c + side[1] * s, from[2] * c + side[2] * s];
  const v = cross(axis, u);
  const distance = (x: number, y: number, z: number): number => {
    const px = x - centre[0];
    const py = y - centre[1];
    const pz = z - centre[2];
    const a = px * u[0] + py * u[1] + pz * u[2];
    const b = Math.abs(px * v[0] + py * v[1] + pz * v[2]);
    const h = px * axis[0] + py * axis[1] + pz * axis[2];
    // Beyond the arc's ends the end point is nearest, between them the circle.
    const beyond = c * b - s * a > 0;
    const dr = beyond ? Math.sqrt((a - R * c) ** 2 + (b - R * s) ** 2) : Math.sqrt(a * a + b * b) - R;
    return Math.sqrt(dr * dr + h * h) - radius;
  };
  const reach: Vec3[] = [piece.a, piece.b, [centre[0] + u[0] * R, centre[1] + u[1] * R, centre[2] + u[2] * R]];
  return { box: boxAround(reach, radius + R * (1 - c)), distance };
}

/** The corner points of a path joined by straight pieces, each corner rounded by an arc of radius `rounding`, mm. */
export function roundedPath(points: readonly Vec3[], rounding: number): CurvePiece[] {
  const pieces: CurvePiece[] = [];
  let from = points[0];
  for (let i = 1; i < points.length - 1; i++) {
    const p = points[i];
    const d0 = normalize(sub(p, points[i - 1]));
    const d1 = normalize(sub(points[i + 1], p));
    const sweep = Math.acos(Math.min(1, Math.max(-1, dot(d0, d1))));
    if (sweep < 1e-6) continue;
    const cut = rounding * Math.tan(sweep / 2);
    const a: Vec3 = [p[0] - d0[0] * cut, p[1] - d0[1] * cut, p[2] - d0[2] * cut];
    const b: Vec3 = [p[0] + d1[0] * cut, p[1] + d1[1] * cut, p[2] + d1[2] * cut];
    const axis = normalize(cross(d0, d1));
    const inward = cross(axis, d0);
    const centre: Vec3 = [a[0] + inward[0] * rounding, a[1] + inward[1] * rounding, a[2] + inward[2] * rounding];
    pieces.push({ a: from, b: a }, { a, b, arc: { centre, axis, radius: rounding, sweep } });
    from = b;
  }
  pieces.push({ a: from, b: points[points.length - 1] });
  return pieces;
}

/** A round tube, taken as a full bar, along a path with rounded corners; diameters in mm. */
export function tube(diameter: number, rounding: number, ...points: Vec3[]): Primitive[] {
  return roundedPath(points, rounding).map((p) => (p.arc ? bend(p, diameter / 2) : capsule(p.a, p.b, diameter / 2)));
}

/** A coil spring: wire of diameter `wire` wound round the line a-b, as a chain of short bars. */
export function coil(a: Vec3, b: Vec3, shape: { radius: number; wire: number; turns: number }): Primitive[] {
  const along = sub(b, a);
  const d = normalize(along);
  const u = normalize(cross(d, [0, 1, 0]));
  const v = cross(d, u);
  const steps = Math.round(shape.turns * 14);
  const point = (i: number): Vec3 => {
    const t = (i / steps) * shape.turns * 2 * Math.PI;
    const c = shape.radius * Math.cos(t);
    const s = shape.radius * Math.sin(t);
    const k = i / steps;
    const on = (j: number): number => a[j] + along[j] * k + u[j] * c + v[j] * s;
    return [on(0), on(1), on(2)];
  };
  return Array.from({ length: steps }, (_, i) => capsule(point(i), point(i + 1), shape.wire / 2));
}

/** A box with edges rounded by `rounding`; `half` are its outer half sizes along the frame's axes (default x, y, z). */
export function block(centre: Vec3, half: Vec3, rounding: number, turn?: Frame): Primitive {
  const f: Frame = { ...(turn ?? frameFrom(centre, [1, 0, 0], [0, 1, 0])), origin: centre };
  const [hx, hy, hz] = [half[0] - rounding, half[1] - rounding, half[2] - rounding];
  const { u, v, w } = f;
  const distance = (x: number, y: number, z: number): number => {
    const px = x - centre[0];
    const py = y - centre[1];
    const pz = z - centre[2];
    const qx = Math.abs(px * u[0] + py * u[1] + pz * u[2]) - hx;
    const qy = Math.abs(px * v[0] + py * v[1] + pz * v[2]) - hy;
    const qz = Math.abs(px * w[0] + py * w[1] + pz * w[2]) - hz;
    const ox = Math.max(qx, 0);
    const oy = Math.max(qy, 0);
    const oz = Math.max(qz, 0);
    return Math.sqrt(ox * ox + oy * oy + oz * oz) + Math.min(Math.max(qx, qy, qz), 0) - rounding;
  };
  const corners = [-1, 1].flatMap((i) => [-1, 1].flatMap((j) => [-1, 1].map((k) => at(f, i * half[0], j * half[1], k * half[2]))));
  return { box: boxAround(corners, 0), distance };
}

/** A turned body: a rectangle of half sizes (across, along) with rounded corners, `offset` from the axis a-b's middle line, turned about it. */
function turned(a: Vec3, b: Vec3, shape: { offset: number; across: number; rounding: number }): Primitive {
  const { offset, across, rounding } = shape;
  const axis = normalize(sub(b, a));
  const m: Vec3 = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2];
  const along = Math.sqrt(dot(sub(b, a), sub(b, a))) / 2 - rounding;
  const half = across - rounding;
  const distance = (x: number, y: number, z: number): number => {
    const px = x - m[0];
    const py = y - m[1];
    const pz = z - m[2];
    const h = px * axis[0] + py * axis[1] + pz * axis[2];
    const rho = Math.sqrt(Math.max(0, px * px + py * py + pz * pz - h * h));
    const qr = Math.abs(rho - offset) - half;
    const qh = Math.abs(h) - along;
    const or = Math.max(qr, 0);
    const oh = Math.max(qh, 0);
    return Math.sqrt(or * or + oh * oh) + Math.min(Math.max(qr, qh), 0) - rounding;
  };
  return { box: boxAround([a, b], offset + across), distance };
}

/** A flat-ended cylinder from `a` to `b` with rounded rims. */
export const cylinder = (a: Vec3, b: Vec3, radius: number, rounding: number): Primitive =>
  turned(a, b, { offset: 0, across: radius, rounding });

/** A ring (tyre, rim) between the radii `inner` and `outer`, as wide as a-b, corners rounded. */
export const ring = (a: Vec3, b: Vec3, radii: { inner: number; outer: number }, rounding: number): Primitive =>
  turned(a, b, { offset: (radii.inner + radii.outer) / 2, across: (radii.outer - radii.inner) / 2, rounding });

/** A bent sheet: a path in the plane of `frame` (2D points, corners rounded), `half` mm wide to both sides along w, edges round. */
export function sheet(
  frame: Frame,
  points: readonly (readonly [number, number])[],
  shape: { rounding: number; half: number; thickness: number },
) {
  const curve = roundedPath(
    points.map(([a, b]) => at(frame, a, b, 0)),
    shape.rounding,
  );
  const { half, thickness } = shape;
  const { origin: o, w } = frame;
  const primitives = curve.map((piece): Primitive => {
    // The piece without thickness gives the distance in the plane once the height above the plane is taken out.
    const line = piece.arc ? bend(piece, 0) : capsule(piece.a, piece.b, 0);
    const distance = (x: number, y: number, z: number): number => {
      const h = (x - o[0]) * w[0] + (y - o[1]) * w[1] + (z - o[2]) * w[2];
      const d = line.distance(x - h * w[0], y - h * w[1], z - h * w[2]);
      const e = Math.max(Math.abs(h) - half, 0);
      return Math.sqrt(d * d + e * e) - thickness / 2;
    };
    const reach = [-half, half].flatMap((c) =>
      [line.box.min, line.box.max].map((p): Vec3 => [p[0] + c * w[0], p[1] + c * w[1], p[2] + c * w[2]]),
    );
    return { box: boxAround(reach, thickness / 2), distance };
  });
  const skeleton: Sheet = { curve, frame, half, thickness };
  return { primitives, skeleton };
}

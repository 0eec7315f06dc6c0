import type { Mesh } from '../core/mesh.ts';
import { add, cross, dot, length, sub, type Vec3 } from '../core/vec.ts';

/** A small rigid move of a body: turned about `centre`, then shifted. */
export interface Pose {
  /** mm */
  readonly shift: Vec3;
  /** Rotation vector: its direction is the axis, its length the angle in radians (right-handed). */
  readonly turn: Vec3;
}

export const AT_REST: Pose = { shift: [0, 0, 0], turn: [0, 0, 0] };

/** Rows of the rotation of a rotation vector (Rodrigues). */
export function rotationOf(turn: Vec3): readonly [Vec3, Vec3, Vec3] {
  const angle = length(turn);
  const s = angle > 1e-9 ? Math.sin(angle) / angle : 1;
  const c = angle > 1e-9 ? (1 - Math.cos(angle)) / angle ** 2 : 0.5;
  const [x, y, z] = turn;
  return [
    [1 - c * (y * y + z * z), c * x * y - s * z, c * x * z + s * y],
    [c * x * y + s * z, 1 - c * (x * x + z * z), c * y * z - s * x],
    [c * x * z - s * y, c * y * z + s * x, 1 - c * (x * x + y * y)],
  ];
}

/** Three rows [r, r, r, t]: p' = R p + t, mm. */
export function rowsOf({ shift, turn }: Pose, centre: Vec3): [number, number, number, number][] {
  const rows = rotationOf(turn);
  return rows.map((r, a) => [r[0], r[1], r[2], centre[a] + shift[a] - dot(r, centre)]);
}

/** The mesh in another place; its corners are computed in float64 about the turned centre and stored as float32 about it. */
export function posed(mesh: Mesh, pose: Pose, centre: Vec3): Mesh {
  const rows = rotationOf(pose.turn);
  const off = sub(mesh.origin, centre);
  const positions = new Float32Array(mesh.positions.length);
  for (let i = 0; i < positions.length; i += 3) {
    const x = mesh.positions[i] + off[0];
    const y = mesh.positions[i + 1] + off[1];
    const z = mesh.positions[i + 2] + off[2];
    for (let a = 0; a < 3; a++) positions[i + a] = rows[a][0] * x + rows[a][1] * y + rows[a][2] * z;
  }
  return { origin: add(centre, pose.shift), positions, indices: mesh.indices };
}

/** Where a point of the moved body was before the move. */
export function backFrom(p: Vec3, pose: Pose, centre: Vec3): Vec3 {
  const [a, b, c] = rotationOf(pose.turn);
  const q = sub(sub(p, centre), pose.shift);
  return [
    centre[0] + a[0] * q[0] + b[0] * q[1] + c[0] * q[2],
    centre[1] + a[1] * q[0] + b[1] * q[1] + c[1] * q[2],
    centre[2] + a[2] * q[0] + b[2] * q[1] + c[2] * q[2],
  ];
}

/** A direction of the body before the move, after it. */
export const turnedBy = (d: Vec3, pose: Pose): Vec3 => {
  const [a, b, c] = rotationOf(pose.turn);
  return [dot(a, d), dot(b, d), dot(c, d)];
};

/**
 * How a slack at the point `at` of the moved body, along the unit vector `normal` away from the obstacle, changes with shift (three
 * numbers) and rotation vector (three, per radian). The rotation vector's own change turns the body by (1 + w/2 x) dw, to first
 * order in w.
 */
export function gradientOf(at: Vec3, normal: Vec3, pose: Pose, centre: Vec3): readonly number[] {
  const arm = sub(at, add(centre, pose.shift));
  const moment = cross(arm, normal);
  const half = cross(pose.turn, moment);
  return [...normal, moment[0] - half[0] / 2, moment[1] - half[1] / 2, moment[2] - half[2] / 2];
}

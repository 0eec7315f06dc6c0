import type { Cloud } from '../core/cloud.ts';
import type { Joint } from '../core/joint.ts';
import type { Mesh } from '../core/mesh.ts';
import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { type Box3, cross, emptyBox, growBox, length, normalize, scale, sub, unionBox, type Vec3 } from '../core/vec.ts';
import type { JobScan } from '../job/schema-scans.ts';
import { after, moveBy, type Rigid, STAY, smallMotion } from './place.ts';

/**
 * How the parts of a vehicle move: a hinge or a slide, or two of which the second carries the first (steering carries the fork that
 * slides in it). The first joint's axis is that of the part as scanned.
 */
export function jointsOf(motion: JobScan['motion']): Joint[] {
  return motion.map((j): Joint => {
    if (j.slide) return { kind: 'slide', at: [0, 0, 0], along: j.slide.along, from: j.slide.from, to: j.slide.to };
    const { about, from, to } = j.turn!;
    const along = normalize(sub(about[1], about[0]));
    return { kind: 'turn', at: about[0], along, from: from * RADIANS_PER_DEGREE, to: to * RADIANS_PER_DEGREE };
  });
}

/** Where a joint puts the part: its value is radians for a turn, counter-clockwise seen against the axis, mm for a slide. */
export const jointMotion = (j: Joint, value: number): Rigid =>
  j.kind === 'slide' ? { rows: STAY.rows, shift: scale(j.along, value) } : smallMotion(scale(j.along, value), [0, 0, 0], j.at);

/** The pose at one value a joint: the first moves the part, the second moves both. */
export const poseAt = (joints: readonly Joint[], values: readonly number[]): Rigid =>
  joints.reduce((pose, j, i) => after(jointMotion(j, values[i]), pose), STAY);

/** Greatest distance, mm, of a box's corners from an axis: no point of the box is farther. */
export function farthestFromAxis(box: Box3, j: Joint): number {
  let most = 0;
  for (const p of cornersOf(box)) {
    const d = sub(p, j.at);
    most = Math.max(most, length(cross(d, j.along)));
  }
  return most;
}

export function cornersOf({ min, max }: Box3): Vec3[] {
  return Array.from({ length: 8 }, (_, i): Vec3 => [i & 1 ? max[0] : min[0], i & 2 ? max[1] : min[1], i & 4 ? max[2] : min[2]]);
}

const STEPS = 48;

/**
 * A box that holds `box` in every pose (or, `back`, in every pose undone): its corners at poses along one joint after the other, and what a
 * corner's arc stands out over its chord.
 */
export function sweptBox(box: Box3, joints: readonly Joint[], back = false): Box3 {
  let held = box;
  for (const j of back ? [...joints].reverse() : joints) {
    const step = (j.to - j.from) / STEPS;
    let all = emptyBox();
    for (let i = 0; i <= STEPS; i++) {
      const value = j.from + i * step;
      const pose = jointMotion(j, back ? -value : value);
      for (const c of cornersOf(held)) {
        const p = moveBy(pose, c);
        all = unionBox(all, { min: p, max: p });
      }
    }
    // The sagitta of an arc of this angle, at the farthest corner.
    const bulge = j.kind === 'turn' ? farthestFromAxis(held, j) * (1 - Math.cos(step / 2)) : 0;
    held = growBox(all, bulge);
  }
  return held;
}

/** The mesh in one pose. */
export function posed<T extends Mesh | Cloud>(mesh: T, pose: Rigid): T {
  const { positions: p, origin } = mesh;
  const out = new Float32Array(p.length);
  const [a, b, c] = pose.rows;
  for (let i = 0; i < p.length; i += 3) {
    const x = p[i];
    const y = p[i + 1];
    const z = p[i + 2];
    out[i] = a[0] * x + a[1] * y + a[2] * z;
    out[i + 1] = b[0] * x + b[1] * y + b[2] * z;
    out[i + 2] = c[0] * x + c[1] * y + c[2] * z;
  }
  return { ...mesh, origin: moveBy(pose, origin), positions: out };
}

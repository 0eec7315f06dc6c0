import { scale, type Vec3 } from '../src/core/vec.ts';
import { AT_REST, type Pose } from '../src/fit/pose.ts';
import { moveBetween } from '../src/fit/rigid-move.ts';
import type { PathPose, TrialResult } from '../src/fit/trial.ts';

/** A way of a body from its seat to the open. */
export interface BodyPath {
  /** Which mesh goes it: a thing of the drawing by name, or the body of a trial fit. */
  readonly body: string;
  readonly words: string;
  readonly poses: readonly Pose[];
  /** About which it turns, mm. */
  readonly centre: Vec3;
  readonly narrowest?: Narrowest;
}

export interface Narrowest {
  readonly pose: Pose;
  readonly words: string;
  readonly at: Vec3 | null;
}

const RADIANS = Math.PI / 180;

/** The way that a trial fit found for its body: with turns, or else the best straight one. */
export function pathOfFit({ body, way }: Pick<TrialResult, 'body' | 'way'>, name: string): BodyPath | undefined {
  const head = { body: name, centre: body.centre_mm };
  const { turned } = way;
  if (turned?.works) {
    const narrowest = { pose: poseOf(turned.tightest), at: turned.at_mm, words: tightWords(turned, way.clearance_mm) };
    return { ...head, words: 'the fitted body, with shifts and turns', poses: turned.path.map(poseOf), narrowest };
  }
  const straight = way.tried.find((t) => t.works);
  if (!straight) return undefined;
  const after = (mm: number): Pose => ({ ...AT_REST, shift: scale(straight.direction, mm) });
  const narrowest = { pose: after(straight.least_after_mm), at: straight.at_mm, words: tightWords(straight, way.clearance_mm) };
  return { ...head, words: 'the fitted body, straight', poses: [AT_REST, after(straight.travel_mm)], narrowest };
}

function tightWords(found: { readonly least_slack_mm: number; readonly obstacle: string | null }, clearance: number): string {
  const to = found.obstacle ? `, to ${found.obstacle}` : '';
  return `Narrowest moment: ${Math.max(0, found.least_slack_mm).toFixed(2)} mm more than the ${clearance} mm kept${to}.`;
}

const poseOf = ({ shift_mm, turn_deg: [x, y, z] }: PathPose): Pose => ({ shift: shift_mm, turn: [x * RADIANS, y * RADIANS, z * RADIANS] });

/** A path as one walk: the share 0 is at the seat, 1 in the open; even in how far the body's outermost points travel. */
export class Walk {
  private readonly poses: readonly Pose[];
  private readonly radius: number;
  /** Length from the seat to each pose, mm. */
  private readonly ends: number[] = [0];

  /** `radius`: greatest distance of the body's points from the middle about which it turns, mm. */
  constructor(poses: readonly Pose[], radius: number) {
    this.poses = poses;
    this.radius = radius;
    for (let i = 1; i < poses.length; i++) this.ends.push(this.ends[i - 1] + moveBetween(poses[i - 1], poses[i], radius).length);
  }

  get length(): number {
    return this.ends[this.ends.length - 1];
  }

  at(share: number): Pose {
    const s = Math.min(1, Math.max(0, share)) * this.length;
    const i = Math.max(
      1,
      this.ends.findIndex((e) => e >= s),
    );
    if (this.poses.length < 2) return this.poses[0];
    const part = this.ends[i] - this.ends[i - 1];
    return moveBetween(this.poses[i - 1], this.poses[i], this.radius).at(part > 0 ? (s - this.ends[i - 1]) / part : 1);
  }

  /** The share at which the walk comes nearest to a pose of it. */
  shareOf(pose: Pose): number {
    let best = 0;
    let least = Infinity;
    for (let k = 0; k <= STEPS; k++) {
      const d = moveBetween(this.at(k / STEPS), pose, this.radius).length;
      if (d < least) {
        least = d;
        best = k / STEPS;
      }
    }
    return best;
  }
}

const STEPS = 2000;

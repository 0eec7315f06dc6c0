import type { Vec3 } from '../core/vec.ts';

/** What is said of a finished body held against the scans: plain JSON values; mm, litres, degrees. */
export interface TrialResult {
  readonly body: { readonly faces: number; readonly volume_l: number; readonly centre_mm: Vec3 };
  /** As it was given. */
  readonly as_placed: Stand;
  /** After the small move that gives it the most room; null when no move inside the limits gains anything. */
  readonly moved: (Stand & { readonly move: Move }) | null;
  readonly way: WayOfBody;
}

/** A body at one place. */
export interface Stand {
  readonly pass: boolean;
  /** Least, over the obstacles, of distance less clearance; negative where it is too near, or crossed. */
  readonly least_slack_mm: number;
  readonly obstacles: readonly ObstacleStand[];
  /** Body inside a clearance of any obstacle, and body that shares its place with an obstacle's inside. */
  readonly too_near_l: number;
  readonly interference_l: number;
}

export interface ObstacleStand {
  readonly name: string;
  readonly asked_mm: number;
  /** Closest approach, 0 where they cross; null for an obstacle without faces and points. */
  readonly closest_mm: number | null;
  /** Proven: nothing is nearer. */
  readonly at_least_mm: number | null;
  /** Distance less clearance; where the obstacle lies inside the body, how deep and the clearance, negative. */
  readonly slack_mm: number | null;
  readonly on_body_mm: Vec3 | null;
  readonly on_obstacle_mm: Vec3 | null;
  readonly relation: 'apart' | 'crossing' | 'body inside obstacle' | 'obstacle inside body';
  /** How deep its surface reaches into the body, where, and how much deeper it may be at most. */
  readonly inside: { readonly depth_mm: number; readonly error_mm: number; readonly at_mm: Vec3 } | null;
  readonly pass: boolean;
  /** Where the clearance is missed on the body, the worst first; areas to about the size of a piece of 2 mm. */
  readonly patches: readonly { readonly area_mm2: number; readonly depth_mm: number; readonly at_mm: Vec3 }[];
}

export interface Move {
  /** Of the body's centre. */
  readonly shift_mm: Vec3;
  /** Rotation vector: its direction is the axis, its length the angle. */
  readonly turn_deg: Vec3;
  /** Three rows [r, r, r, t]: p' = R p + t. */
  readonly rows: readonly (readonly [number, number, number, number])[];
  /** What holds it there: the nearest places, the weightiest first. */
  readonly held_by: readonly { readonly obstacle: string; readonly at_mm: Vec3; readonly slack_mm: number }[];
  /** Whether nothing more is to be gained; else the rounds ran out. */
  readonly settled: boolean;
}

export interface WayOfBody {
  /** Kept from everything while it slides. */
  readonly clearance_mm: number;
  /** Parts that are off while it goes in. */
  readonly off: readonly string[];
  /** Whether a way in was found, straight or turning; null when the body crosses an obstacle where it sits. */
  readonly works: boolean | null;
  /** The ways that were followed, the best first. */
  readonly tried: readonly FollowedWay[];
  /** The search with shifts and turns, made when the job asks for it and no straight way was found; else null. */
  readonly turned: TurnedWay | null;
  /** Parts put on afterwards, and whether the body lets them. */
  readonly put_on: readonly (FollowedWay & { readonly part: string })[];
}

/** A way of the body from its seat to the open by shifts and turns; it goes in the other way. */
export interface TurnedWay {
  /** False when none was found in the time given, which does not mean that there is none. */
  readonly works: boolean;
  readonly seconds: number;
  readonly moves_tried: number;
  readonly poses_reached: number;
  /** Each pose is reached from the one before by a shift in a line and a turn about one axis through the body's middle, both at even speed. */
  readonly path: readonly PathPose[];
  /** Beyond the sliding clearance: the least seen on the path, and what is proved for all of it; at the seat when there is no path. */
  readonly least_slack_mm: number;
  readonly at_least_mm: number;
  readonly tightest: PathPose;
  readonly obstacle: string | null;
  readonly at_mm: Vec3 | null;
}

/** A place of the body on a path: its middle shifted, and turned about it. */
export interface PathPose {
  readonly shift_mm: Vec3;
  /** Rotation vector. */
  readonly turn_deg: Vec3;
  /** Three rows [r, r, r, t]: p' = R p + t. */
  readonly rows: readonly (readonly [number, number, number, number])[];
}

export interface FollowedWay {
  /** Along which it slides out; it goes in the other way. */
  readonly direction: Vec3;
  readonly works: boolean;
  /** How far it was followed: to the open, or to where it is stopped. */
  readonly travel_mm: number;
  /** Least distance on the way less the sliding clearance, at the places looked at, and what is proved between them. */
  readonly least_slack_mm: number;
  readonly at_least_mm: number;
  /** How far it had slid where it comes nearest. */
  readonly least_after_mm: number;
  /** What comes nearest on the way, or stops it. */
  readonly obstacle: string | null;
  readonly at_mm: Vec3 | null;
}

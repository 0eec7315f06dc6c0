import type { Random } from '../core/random.ts';
import { add, scale } from '../core/vec.ts';
import type { Pose } from './pose.ts';
import type { PoseTree } from './pose-tree.ts';
import { alongMove, type GapAt, moveBetween, turnedOn } from './rigid-move.ts';

/**
 * How a tree of poses grows towards a goal past what stands in the way: it goes straight until it is stopped, then gives way into more room
 * without going back, and goes on. That keeps the tree in the middle of narrow passages, where there is room for the next move (retraction
 * onto the medial axis; Wilmarth, Amato and Stiller, 1999: recalled). The slope of the gap is not known, so small random moves are tried and those
 * that gain kept.
 */
export interface Grower {
  readonly gapAt: GapAt;
  /** Of the body, mm. */
  readonly radius: number;
  readonly rng: Random;
  readonly more: () => boolean;
}

/** Small moves tried to get off a wall, and straight runs on the way to one goal. */
const TRIES = 24;
const RUNS = 12;
/** mm: a run that brings the goal no nearer than this is the last, and a branch shorter than this is not kept. */
const LEAST_GAIN = 0.5;
/** A small move must gain this share of the gap. */
const GAIN = 1.05;

export interface Grown {
  /** The node that is now nearest to the goal on this branch. */
  readonly node: number;
  /** Whether the goal itself was reached. */
  readonly whole: boolean;
  /** Straight moves tried. */
  readonly moves: number;
}

/** Grows the tree from a node towards a goal as far as it gets. */
export async function growTowards(tree: PoseTree, from: number, goal: Pose, grower: Grower): Promise<Grown> {
  let node = from;
  let left = moveBetween(tree.nodes[from].pose, goal, grower.radius).length;
  for (let moves = 1; ; moves++) {
    const gone = await alongMove(tree.nodes[node], goal, grower);
    if (gone.travel >= LEAST_GAIN || gone.whole) node = tree.add(gone.pose, gone.gap, node);
    if (gone.whole || moves === RUNS || !grower.more()) return { node, whole: gone.whole, moves };
    node = await retract(tree, node, goal, grower);
    const now = moveBetween(tree.nodes[node].pose, goal, grower.radius).length;
    if (now > left - LEAST_GAIN) return { node, whole: false, moves };
    left = now;
  }
}

/** Goes from a node into more room by small moves, never farther from the goal; the node that it ends at. */
async function retract(tree: PoseTree, from: number, goal: Pose, { gapAt, radius, rng }: Grower): Promise<number> {
  let node = from;
  let { pose, gap } = tree.nodes[from];
  let far = moveBetween(pose, goal, radius).length;
  let size = Math.max(gap.slack, 0.2);
  let along: Pose | undefined;
  for (let n = 0; n < TRIES; n++) {
    // Half of the length of a move that both its ends' gaps prove clear.
    size = Math.min(Math.max(size, 0.1), 1.9 * gap.slack);
    along ??= smallMove(rng);
    const next: Pose = {
      shift: add(pose.shift, scale(along.shift, size)),
      turn: turnedOn(pose.turn, scale(along.turn, size / radius)),
    };
    const left = moveBetween(next, goal, radius).length;
    const found = left <= far ? await gapAt(next, gap.slack) : undefined;
    if (!found || found.slack < gap.slack * GAIN || found.slack + gap.slack < size) {
      if (found) size *= 0.8;
      along = undefined;
      continue;
    }
    // From the node straight to here, as long as the gaps at both ends prove it.
    const start = tree.nodes[node];
    if (moveBetween(start.pose, next, radius).length > start.gap.slack + found.slack) node = tree.add(pose, gap, node);
    pose = next;
    gap = found;
    far = left;
    size *= 1.6;
  }
  return pose === tree.nodes[node].pose ? node : tree.add(pose, gap, node);
}

/** A direction among shifts and turns, as a pose no point of which travels more than 1 (turn in lengths at the radius). */
function smallMove(rng: Random): Pose {
  const share = rng.next();
  return { shift: scale(rng.direction(), share), turn: scale(rng.direction(), 1 - share) };
}

import { type Random, random } from '../core/random.ts';
import { add, type Box3, length, scale, type Vec3 } from '../core/vec.ts';
import { AT_REST, type Pose } from './pose.ts';
import { alongMove, type Gap, type GapAt, moveBetween, turnedOn } from './rigid-move.ts';

/**
 * Turning in: a search over shifts and turns for a way of one body from its seat to the open; backwards it is the way in. A tree of poses grows
 * from the seat by straight pulls, turns on the spot and moves towards random poses (rapidly-exploring random trees: LaValle, Rational
 * choice of motions; Lozano-Perez's configuration space: recalled). Every branch is proved clear over its whole length before it is kept,
 * see rigid-move.ts. That nothing is found does not mean that there is no way.
 */
export interface TurnInAsk {
  /** Least distance of the body less the clearance, see GapAt. */
  readonly gapAt: GapAt;
  /** Middle of the body at its seat, about which it turns, and the greatest distance of its points from it, mm. */
  readonly centre: Vec3;
  readonly radius: number;
  /** Box of everything that it must keep clear of, mm. A body whose ball has left it is in the open. */
  readonly surroundings: Box3;
  /** Directions to be tried first. */
  readonly directions?: readonly Vec3[];
  readonly seed?: number;
  /** Asked between moves: whether there is time left. */
  readonly more: () => boolean;
  /** Moves tried at most. */
  readonly moves?: number;
}

export interface TurnedIn {
  /** Null when none was found. From the seat to the open, each pose reached from the one before by a shift and a turn at even speed. */
  readonly path: readonly Pose[] | null;
  /** The tightest moment of the path, or of the seat: the gap there, and what is proved for the whole path, mm beyond the clearance. */
  readonly tightest: Gap & { readonly pose: Pose; readonly atLeast: number };
  /** Moves tried, and poses that were reached. */
  readonly moves: number;
  readonly poses: number;
}

const MOVES = 100_000;
/** Of its radius the body may be pulled so far at once on its way through the tree. */
const FAR = 4;
/** Tries to leave out poses of a path found. */
const SHORTCUTS = 60;

interface Node {
  readonly pose: Pose;
  readonly gap: Gap;
  readonly parent: number;
}

/** Searches a way out; null path when the time or the moves ran out, or when the body already sits too near. */
export async function turnIn(ask: TurnInAsk): Promise<TurnedIn> {
  const seat = await ask.gapAt(AT_REST);
  const nodes: Node[] = [{ pose: AT_REST, gap: seat, parent: -1 }];
  const rng = random(ask.seed ?? 1);
  const pulls = [...(ask.directions ?? []), ...AXES];
  const most = ask.moves ?? MOVES;
  let moves = 0;
  let end = seat.slack > 0 && isOpen(AT_REST, ask) ? 0 : -1;
  while (end < 0 && seat.slack > 0 && moves < most && ask.more()) {
    const first = moves < pulls.length;
    const from = first ? 0 : chosen(nodes, ask, rng);
    const to = first ? pulled(AT_REST, pulls[moves], ask) : goal(nodes, from, ask, rng);
    moves++;
    const gone = await alongMove(nodes[from], to, ask);
    if (gone.travel < LEAST_TRAVEL) continue;
    nodes.push({ pose: gone.pose, gap: gone.gap, parent: from });
    if (isOpen(gone.pose, ask)) end = nodes.length - 1;
  }
  const counts = { moves, poses: nodes.length };
  if (end < 0) return { path: null, tightest: { ...seat, pose: AT_REST, atLeast: seat.slack }, ...counts };
  const path = await shortened(chain(nodes, end), ask, rng);
  const tightest = await tightestOf(path, ask);
  return { path, tightest, ...counts };
}

/** A branch shorter than this is not kept, mm. */
const LEAST_TRAVEL = 0.5;

/** Whether the ball about the body lies outside the box of the surroundings. */
function isOpen({ shift }: Pose, { centre, radius, surroundings: { min, max } }: TurnInAsk): boolean {
  const p = add(centre, shift);
  return Math.hypot(...p.map((v, a) => Math.max(0, min[a] - v, v - max[a]))) >= radius;
}

/** The pose shifted along d until it is surely in the open. */
function pulled({ shift, turn }: Pose, d: Vec3, { centre, radius, surroundings: { min, max } }: TurnInAsk): Pose {
  const p = add(centre, shift);
  const d1 = scale(d, 1 / length(d));
  // Past one face of the box is enough; the nearest along d.
  const out = d1.map((v, a) => (Math.abs(v) < 1e-6 ? Infinity : ((v > 0 ? max[a] : min[a]) + Math.sign(v) * (radius + 0.01) - p[a]) / v));
  return { shift: add(shift, scale(d1, Math.max(0, Math.min(...out)))), turn };
}

/** Half the time the pose nearest to a random one (which draws the tree into empty room), else any, the later ones more often. */
function chosen(nodes: readonly Node[], ask: TurnInAsk, rng: Random): number {
  if (rng.next() < 0.5) return Math.floor(nodes.length * Math.sqrt(rng.next()));
  const to = anywhere(ask, rng);
  let best = 0;
  let least = Infinity;
  for (let n = 0; n < nodes.length; n++) {
    const d = moveBetween(nodes[n].pose, to, ask.radius).length;
    if (d < least) {
      least = d;
      best = n;
    }
  }
  return best;
}

function goal(nodes: readonly Node[], from: number, ask: TurnInAsk, rng: Random): Pose {
  const { pose } = nodes[from];
  const kind = rng.next();
  const d = rng.next() < 0.5 ? AXES[rng.below(6)] : rng.direction();
  if (kind < 0.25) return pulled(pose, d, ask);
  // Sizes from small to large, evenly by their logarithm: narrow places want small moves.
  const size = 0.02 ** rng.next();
  if (kind < 0.4) return { shift: pose.shift, turn: turnedOn(pose.turn, scale(d, Math.PI * size)) };
  if (kind < 0.85)
    return {
      shift: add(pose.shift, scale(rng.direction(), FAR * ask.radius * size * rng.next())),
      turn: turnedOn(pose.turn, scale(d, Math.PI * size * rng.next())),
    };
  return anywhere(ask, rng);
}

function anywhere({ centre, radius, surroundings: { min, max } }: TurnInAsk, rng: Random): Pose {
  const at = (a: number): number => rng.range(min[a] - 2 * radius, max[a] + 2 * radius) - centre[a];
  return { shift: [at(0), at(1), at(2)], turn: scale(rng.direction(), Math.PI * Math.cbrt(rng.next())) };
}

function chain(nodes: readonly Node[], end: number): Node[] {
  const out: Node[] = [];
  for (let n = end; n >= 0; n = nodes[n].parent) out.unshift(nodes[n]);
  return out;
}

/** Leaves out poses wherever the straight move past them is proved clear as well. */
async function shortened(path: Node[], ask: TurnInAsk, rng: Random): Promise<Pose[]> {
  const left = [...path];
  for (let n = 0; n < SHORTCUTS && left.length > 2 && ask.more(); n++) {
    const i = rng.below(left.length - 2);
    const j = i + 2 + rng.below(left.length - i - 2);
    const gone = await alongMove(left[i], left[j].pose, ask);
    if (gone.whole) left.splice(i + 1, j - i - 1);
  }
  return left.map((n) => n.pose);
}

/** The least gap on the path: pieces of moves are halved until what is proved for them lies within PROOF of what is seen at their ends. */
async function tightestOf(path: readonly Pose[], ask: TurnInAsk): Promise<TurnedIn['tightest']> {
  let best: TurnedIn['tightest'] | undefined;
  let proved = Infinity;
  for (let i = 0; i < path.length; i++) {
    const gap = await ask.gapAt(path[i]);
    if (!best || gap.slack < best.slack) best = { ...gap, pose: path[i], atLeast: 0 };
  }
  for (let i = 1; i < path.length; i++) {
    const move = moveBetween(path[i - 1], path[i], ask.radius);
    const stack: [number, number, number, number][] = [[0, (await ask.gapAt(path[i - 1])).slack, 1, (await ask.gapAt(path[i])).slack]];
    while (stack.length > 0) {
      const [s, a, t, b] = stack.pop()!;
      const run = (t - s) * move.length;
      const bound = (a + b - run) / 2;
      if (bound >= best!.slack || run < 2 * PROOF || bound >= Math.min(a, b) - PROOF) {
        proved = Math.min(proved, Math.max(bound, 0));
        continue;
      }
      const m = (s + t) / 2;
      const pose = move.at(m);
      const gap = await ask.gapAt(pose);
      if (gap.slack < best!.slack) best = { ...gap, pose, atLeast: 0 };
      stack.push([s, a, m, gap.slack], [m, gap.slack, t, b]);
    }
  }
  return { ...best!, atLeast: Math.min(best!.slack, proved) };
}

/** How far the proof of a path found may lie under what was seen on it, mm. */
const PROOF = 0.1;

const AXES: readonly Vec3[] = [
  [0, 0, 1],
  [1, 0, 0],
  [-1, 0, 0],
  [0, 1, 0],
  [0, -1, 0],
  [0, 0, -1],
];

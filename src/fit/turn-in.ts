import { type Random, random } from '../core/random.ts';
import { add, type Box3, dot, length, scale, type Vec3 } from '../core/vec.ts';
import type { Narrow } from './narrows.ts';
import { AT_REST, type Pose, rotationOf } from './pose.ts';
import { PoseTree } from './pose-tree.ts';
import { growTowards } from './retract.ts';
import { type Gap, type GapAt, turnedOn } from './rigid-move.ts';
import { eased, tightestOf } from './turn-path.ts';

/**
 * Turning in: a search over shifts and turns for a way of one body from its seat to the open; backwards it is the way in. Trees of poses
 * grow, one from the seat, one from the open and some from poses with a part of the body in a narrow place, each in turn towards a random pose and
 * then the others towards what was reached (RRT-Connect: Kuffner and LaValle, ICRA 2000, over Lozano-Perez's configuration space: recalled). Each
 * gives way into more room where it meets a wall, see retract.ts. Every branch is proved clear over its whole length before it is kept, see
 * rigid-move.ts. That nothing is found does not mean that there is no way.
 *
 * Tried on rods of 0.8 to 0.98 of the longest that goes round a right-angled corner: found in 900 to 7300 moves, 2 to 6 s with a quick gap; without
 * giving way none of 0.95 in 20,000 moves. A bent body through a hole 2.4 times as wide as it is thick: 700 to 1100 moves; without trees in narrow places
 * none in 40,000.
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
  /** Narrow places between the seat and the open, see narrowPlaces, and points of the body at its seat (three numbers each, mm) to be put there. */
  readonly narrows?: readonly Narrow[];
  readonly points?: ArrayLike<number>;
  readonly seed?: number;
  /** Once a way is found, others are looked for that keep so much more at least, mm, from small to large, as long as there are some. */
  readonly spares?: readonly number[];
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

/** Moves that a search with more room may take beyond one and a half times those of the first. */
const AGAIN = 60;

/** Searches a way out; null path when the time or the moves ran out, or when the body already sits too near. */
export async function turnIn(ask: TurnInAsk): Promise<TurnedIn> {
  const seat = await ask.gapAt(AT_REST);
  const first = new Searching(ask, seat);
  let way = seat.slack > 0 ? await first.run(ask.moves ?? MOVES) : null;
  let { moves, poses } = first;
  if (!way) return { path: null, tightest: { ...seat, pose: AT_REST, atLeast: seat.slack }, moves, poses };
  // A way is a way; one with more room to spare is a better one.
  for (const spare of ask.spares ?? []) {
    if (seat.slack <= spare || !ask.more()) break;
    const search = new Searching({ ...ask, gapAt: lessBy(ask.gapAt, spare) }, { ...seat, slack: seat.slack - spare });
    const roomier = await search.run(Math.min(1.5 * first.moves + AGAIN, (ask.moves ?? MOVES) - moves));
    moves += search.moves;
    poses += search.poses;
    if (!roomier) break;
    way = roomier;
  }
  const path = await eased(way, { ...ask, rng: first.rng });
  return { path, tightest: await tightestOf(path, ask), moves, poses };
}

const lessBy =
  (gapAt: GapAt, spare: number): GapAt =>
  async (pose, floor) => {
    const gap = await gapAt(pose, floor === undefined ? undefined : floor + spare);
    return { ...gap, slack: gap.slack - spare };
  };

/** The trees while they grow. */
class Searching {
  readonly rng: Random;
  moves = 0;
  private readonly ask: TurnInAsk;
  private readonly inner: PoseTree;
  /** Its roots all lie in the open, where every pose leads to every other. */
  private readonly outer: PoseTree;
  /** One root each, in a narrow place. */
  private readonly between: PoseTree[] = [];
  /** Rotated through, so that each narrow place has its turn. */
  private place = 0;

  constructor(ask: TurnInAsk, seat: Gap) {
    this.ask = ask;
    this.rng = random(ask.seed ?? 1);
    this.inner = new PoseTree(ask.radius);
    this.outer = new PoseTree(ask.radius);
    this.inner.add(AT_REST, seat, -1);
  }

  get poses(): number {
    return [this.inner, this.outer, ...this.between].reduce((sum, t) => sum + t.nodes.length, 0);
  }

  async run(most: number): Promise<Pose[] | null> {
    const { inner } = this;
    const left = (): boolean => this.moves < most && this.ask.more();
    if (isOpen(AT_REST, this.ask)) return [AT_REST];
    for (const d of [...(this.ask.directions ?? []), ...AXES]) {
      if (!left()) return null;
      const out = await this.grow(inner, 0, pulled(AT_REST, d, this.ask));
      if (isOpen(inner.nodes[out].pose, this.ask)) return inner.chain(out).map((n) => n.pose);
    }
    for (let turn = 0; left(); turn++) {
      const found = await this.turn(turn, left);
      if (found) return found;
    }
    return null;
  }

  /** Grows one tree, and the others towards what was reached; the path once seat and open hang together. */
  private async turn(turn: number, left: () => boolean): Promise<Pose[] | undefined> {
    const { inner, outer, between } = this;
    // From outside, every so often, a new place to come in from; and a new one in the middle.
    if (turn % 4 === 1) await this.root();
    if (turn % 3 === 2 && between.length < MOST_BETWEEN) await this.rootBetween();
    const kinds = [
      inner,
      ...(outer.nodes.length > 0 ? [outer] : []),
      ...(between.length > 0 ? [between[this.rng.below(between.length)]] : []),
    ];
    const tree = kinds[turn % kinds.length];
    const others = [inner, outer, ...between].filter((t) => t !== tree && t.nodes.length > 0);
    const { from, goal } = this.choose(tree, others);
    const node = await this.grow(tree, from, goal);
    const { pose } = tree.nodes[node];
    if (isOpen(pose, this.ask)) {
      if (tree === inner) return inner.chain(node).map((n) => n.pose);
      if (tree !== outer) this.join([outer, -1], [tree, node]);
      return undefined;
    }
    if (node === from) return undefined;
    for (const other of this.nearby(others, pose)) {
      if (!left()) return undefined;
      const end = await this.grow(other, other.nearest(pose).node, pose);
      if (other.nodes[end].pose !== pose) continue;
      if ((tree === inner || tree === outer) && (other === inner || other === outer))
        return joined(inner, outer, tree === inner ? [node, end] : [end, node]);
      this.join([other, end], [tree, node]);
      return undefined;
    }
    return undefined;
  }

  /** Two trees become one; the one from the seat, or from the open, takes in the other. */
  private join(a: readonly [PoseTree, number], b: readonly [PoseTree, number]): void {
    const [kept, gone] = this.between.includes(a[0]) ? [b, a] : [a, b];
    kept[0].absorb(kept[1], gone[0], gone[1]);
    this.between.splice(this.between.indexOf(gone[0]), 1);
  }

  /** The tree that comes nearest to a pose, and any other. */
  private nearby(trees: readonly PoseTree[], pose: Pose): PoseTree[] {
    if (trees.length < 2) return [...trees];
    const far = trees.map((t) => t.nearest(pose).far);
    const first = far.indexOf(Math.min(...far));
    const second = (first + 1 + this.rng.below(trees.length - 1)) % trees.length;
    return [trees[first], trees[second]];
  }

  /** The node at which the growth ends; its pose is the goal itself when that was reached. */
  private async grow(tree: PoseTree, from: number, goal: Pose): Promise<number> {
    tree.tries[from]++;
    const grown = await growTowards(tree, from, goal, { ...this.ask, rng: this.rng });
    this.moves += grown.moves;
    return grown.node;
  }

  /** A place in the open from which the body is pushed towards a random pose, or one that another tree reached. */
  private async root(): Promise<void> {
    const { inner, outer, between, ask, rng } = this;
    const tree = rng.next() < 0.5 || between.length === 0 ? inner : between[rng.below(between.length)];
    const goal = rng.next() < 0.5 ? tree.nodes[this.seldom(tree)].pose : anywhere(ask, rng);
    const start = pulled(goal, rng.next() < 0.5 ? AXES[rng.below(6)] : rng.direction(), ask);
    const gap = await ask.gapAt(start);
    if (!(gap.slack > 0)) return;
    await this.grow(outer, outer.add(start, gap, -1), goal);
  }

  /** A pose that has some point of the body in a narrow place, if one is met with that is clear. */
  private async rootBetween(): Promise<void> {
    const { narrows = [], points, centre, gapAt } = this.ask;
    if (narrows.length === 0 || !points) return;
    const { rng } = this;
    for (let n = 0; n < BETWEEN_TRIES; n++) {
      this.moves++;
      const { at, radius } = narrows[this.place++ % narrows.length];
      const turn = anyTurn(rng);
      const k = 3 * rng.below(points.length / 3);
      const arm: Vec3 = [points[k] - centre[0], points[k + 1] - centre[1], points[k + 2] - centre[2]];
      const aside = scale(rng.direction(), radius * rng.next());
      const to = rotationOf(turn).map((r, a) => at[a] + aside[a] - centre[a] - dot(r, arm));
      const pose: Pose = { shift: [to[0], to[1], to[2]], turn };
      const gap = await gapAt(pose, 0);
      if (!(gap.slack > 0)) continue;
      const tree = new PoseTree(this.ask.radius);
      tree.add(pose, gap, -1);
      this.between.push(tree);
      return;
    }
  }

  /** Where a tree is to grow from, and towards what. */
  private choose(tree: PoseTree, others: readonly PoseTree[]): { from: number; goal: Pose } {
    const { ask, rng } = this;
    const kind = rng.next();
    if (kind < 0.15 && others.length > 0) {
      const other = others[rng.below(others.length)];
      const goal = other.nodes[this.seldom(other)].pose;
      return { from: tree.nearest(goal).node, goal };
    }
    if (kind < 0.45) {
      const goal = anywhere(ask, rng);
      return { from: tree.nearest(goal).node, goal };
    }
    const from = this.seldom(tree);
    return { from, goal: near(tree.nodes[from], ask, rng) };
  }

  /** Of a few nodes the one that was gone on from least. */
  private seldom({ nodes, tries }: PoseTree): number {
    let best = this.rng.below(nodes.length);
    for (let n = 0; n < 3; n++) {
      const other = this.rng.below(nodes.length);
      if (tries[other] < tries[best] || (tries[other] === tries[best] && other > best)) best = other;
    }
    return best;
  }
}

/** Trees in narrow places at once, and poses tried for one. */
const MOST_BETWEEN = 12;
const BETWEEN_TRIES = 10;

/** From the seat up one tree and down the other. */
const joined = (inner: PoseTree, outer: PoseTree, [a, b]: readonly [number, number]): Pose[] => [
  ...inner.chain(a).map((n) => n.pose),
  ...outer
    .chain(b)
    .reverse()
    .slice(1)
    .map((n) => n.pose),
];

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

/** A pull outwards, a turn about the middle or about the place that is nearest to a wall, or a small move of any kind. */
function near({ pose, gap }: { readonly pose: Pose; readonly gap: Gap }, ask: TurnInAsk, rng: Random): Pose {
  const kind = rng.next();
  const d = rng.next() < 0.5 ? AXES[rng.below(6)] : rng.direction();
  if (kind < 0.15) return pulled(pose, d, ask);
  // Sizes from small to large, evenly by their logarithm: narrow places want small moves.
  const size = 0.02 ** rng.next();
  const turn = scale(d, Math.PI * size);
  if (kind < 0.3) return { shift: pose.shift, turn: turnedOn(pose.turn, turn) };
  if (kind < 0.45 && gap.at) return turnedAbout(pose, gap.at, turn, ask.centre);
  const shift = scale(rng.direction(), FAR * ask.radius * size * rng.next());
  return { shift: add(pose.shift, shift), turn: turnedOn(pose.turn, scale(turn, rng.next())) };
}

/** Of its radius the body is moved so far at once. */
const FAR = 4;

/** Turned further, about a place. */
function turnedAbout({ shift, turn }: Pose, place: Vec3, more: Vec3, centre: Vec3): Pose {
  const arm = centre.map((v, a) => v + shift[a] - place[a]);
  const to = rotationOf(more).map((r, a) => place[a] + r[0] * arm[0] + r[1] * arm[1] + r[2] * arm[2] - centre[a]);
  return { shift: [to[0], to[1], to[2]], turn: turnedOn(turn, more) };
}

/** Most of the way in lies between the scans: little is to be found farther out than half the body. */
function anywhere({ centre, radius, surroundings: { min, max } }: TurnInAsk, rng: Random): Pose {
  const at = (a: number): number => rng.range(min[a] - radius / 2, max[a] + radius / 2) - centre[a];
  return { shift: [at(0), at(1), at(2)], turn: anyTurn(rng) };
}

/** A random turn: of every axis, small ones as seldom as they fill the space of turns. */
const anyTurn = (rng: Random): Vec3 => scale(rng.direction(), Math.PI * Math.cbrt(rng.next()));

const AXES: readonly Vec3[] = [
  [0, 0, 1],
  [1, 0, 0],
  [-1, 0, 0],
  [0, 1, 0],
  [0, -1, 0],
  [0, 0, -1],
];

import type { Random } from '../core/random.ts';
import { add, scale } from '../core/vec.ts';
import type { Pose } from './pose.ts';
import { alongMove, type Gap, type GapAt, moveBetween, turnedOn } from './rigid-move.ts';

/** A path that was found, made shorter and roomier, and how tight it is: both proved over its whole length, see rigid-move.ts. */
interface Asked {
  readonly gapAt: GapAt;
  readonly radius: number;
  readonly more: () => boolean;
}

interface Place {
  readonly pose: Pose;
  readonly gap: Gap;
}

/** Tries to leave out poses, and to move one into more room. */
const SHORTCUTS = 150;
const SHIFTS = 250;
/** mm: a shortcut may be as tight as this where the way round is not. */
const COMFORT = 5;

/** Leaves out poses wherever the straight move past them is proved clear and hardly tighter, then gives those that are left more room. */
export async function eased(path: readonly Pose[], ask: Asked & { readonly rng: Random }): Promise<Pose[]> {
  const left: Place[] = [];
  for (const pose of path) left.push({ pose, gap: await ask.gapAt(pose) });
  await shorten(left, ask);
  await widen(left, ask);
  await shorten(left, ask);
  return left.map((p) => p.pose);
}

async function shorten(left: Place[], ask: Asked & { readonly rng: Random }): Promise<void> {
  for (let n = 0; n < SHORTCUTS && left.length > 2 && ask.more(); n++) {
    const i = ask.rng.below(left.length - 2);
    // Short ones first succeed more often, long ones gain more.
    const j = i + 2 + Math.floor((left.length - i - 2) * ask.rng.next() ** 2);
    const round = left.slice(i, j + 1).reduce((least, p) => Math.min(least, p.gap.slack), Infinity);
    const gone = await alongMove(left[i], left[j].pose, ask);
    if (gone.whole && gone.least >= Math.min(0.9 * round, COMFORT)) left.splice(i + 1, j - i - 1);
  }
}

/** Moves the tightest places into more room, as long as the moves on both sides stay proved. */
async function widen(left: Place[], ask: Asked & { readonly rng: Random }): Promise<void> {
  const { rng, radius } = ask;
  for (let n = 0; n < SHIFTS && left.length > 2 && ask.more(); n++) {
    let i = 1;
    for (let k = 2; k < left.length - 1; k++) if (left[k].gap.slack < left[i].gap.slack && rng.next() < 0.8) i = k;
    const { pose, gap } = left[i];
    const size = Math.max(0.1, gap.slack) * 2 * rng.next();
    const share = rng.next();
    const next: Pose = {
      shift: add(pose.shift, scale(rng.direction(), size * share)),
      turn: turnedOn(pose.turn, scale(rng.direction(), (size * (1 - share)) / radius)),
    };
    const found = await ask.gapAt(next, gap.slack);
    if (found.slack <= gap.slack) continue;
    const before = await alongMove(left[i - 1], next, ask);
    if (!before.whole || before.least < Math.min(gap.slack, left[i - 1].gap.slack)) continue;
    const after = await alongMove({ pose: next, gap: found }, left[i + 1].pose, ask);
    if (after.whole && after.least >= Math.min(gap.slack, left[i + 1].gap.slack)) left[i] = { pose: next, gap: found };
  }
}

/** The least gap on a path: pieces of moves are halved until what is proved for them lies within PROOF of what is seen at their ends. */
export async function tightestOf(path: readonly Pose[], ask: Asked): Promise<Gap & { readonly pose: Pose; readonly atLeast: number }> {
  const gaps: Gap[] = [];
  for (const pose of path) gaps.push(await ask.gapAt(pose));
  const first = gaps.reduce((least, g, i) => (g.slack < gaps[least].slack ? i : least), 0);
  let best: Gap & { pose: Pose } = { ...gaps[first], pose: path[first] };
  let proved = Infinity;
  for (let i = 1; i < path.length; i++) {
    const move = moveBetween(path[i - 1], path[i], ask.radius);
    const stack: [number, number, number, number][] = [[0, gaps[i - 1].slack, 1, gaps[i].slack]];
    while (stack.length > 0) {
      const [s, a, t, b] = stack.pop()!;
      const run = (t - s) * move.length;
      const bound = (a + b - run) / 2;
      if (bound >= best.slack || run < 2 * PROOF || bound >= Math.min(a, b) - PROOF) {
        proved = Math.min(proved, Math.max(bound, 0));
        continue;
      }
      const m = (s + t) / 2;
      const pose = move.at(m);
      const gap = await ask.gapAt(pose);
      if (gap.slack < best.slack) best = { ...gap, pose };
      stack.push([s, a, m, gap.slack], [m, gap.slack, t, b]);
    }
  }
  return { ...best, atLeast: Math.min(best.slack, proved) };
}

/** How far the proof of a path found may lie under what was seen on it, mm. */
const PROOF = 0.1;

import type { Pose } from './pose.ts';
import { type Gap, quaternionOf } from './rigid-move.ts';

/** A pose that was reached, with the gap there; -1 for the parent of a root. */
export interface PoseNode {
  readonly pose: Pose;
  readonly gap: Gap;
  readonly parent: number;
}

/** Numbers a node: shift, and turn as a quaternion. */
const SIZE = 7;

/** Poses that hang together by moves proved clear, and which of them is nearest to another pose. */
export class PoseTree {
  readonly nodes: PoseNode[] = [];
  /** How often each node was gone on from. */
  readonly tries: number[] = [];
  private readonly radius: number;
  private flat = new Float64Array(SIZE * 256);

  /** `radius`: greatest distance of the body's points from the middle about which it turns, mm. */
  constructor(radius: number) {
    this.radius = radius;
  }

  /** Takes a pose in; its number. */
  add(pose: Pose, gap: Gap, parent: number): number {
    const n = this.nodes.push({ pose, gap, parent }) - 1;
    this.tries.push(0);
    if (SIZE * (n + 1) > this.flat.length) {
      const more = new Float64Array(2 * this.flat.length);
      more.set(this.flat);
      this.flat = more;
    }
    this.flat.set(pose.shift, SIZE * n);
    this.flat.set(quaternionOf(pose.turn), SIZE * n + 3);
    return n;
  }

  /** The node from which the body travels least to a pose, and how far any of its points does at most, mm; -1 in an empty tree. */
  nearest({ shift, turn }: Pose): { node: number; far: number } {
    const [w, x, y, z] = quaternionOf(turn);
    let node = -1;
    let far = Infinity;
    const { flat, radius } = this;
    for (let n = 0, o = 0; n < this.nodes.length; n++, o += SIZE) {
      const d = Math.hypot(flat[o] - shift[0], flat[o + 1] - shift[1], flat[o + 2] - shift[2]);
      if (d >= far) continue;
      const c = Math.min(1, Math.abs(flat[o + 3] * w + flat[o + 4] * x + flat[o + 5] * y + flat[o + 6] * z));
      const all = d + 2 * Math.acos(c) * radius;
      if (all >= far) continue;
      far = all;
      node = n;
    }
    return { node, far };
  }

  /**
   * Takes in what hangs together with the node `from` of another tree, which is the same pose as the node `at` of this one; with -1 for `at` it
   * becomes a root here.
   */
  absorb(at: number, other: PoseTree, from: number): void {
    const links = other.nodes.map((n) => (n.parent >= 0 ? [n.parent] : []));
    other.nodes.forEach((n, i) => {
      if (n.parent >= 0) links[n.parent].push(i);
    });
    const todo: [node: number, parent: number][] = [[from, at]];
    const seen = new Set([from]);
    while (todo.length > 0) {
      const [n, parent] = todo.pop()!;
      const here = this.add(other.nodes[n].pose, other.nodes[n].gap, parent);
      for (const next of links[n])
        if (!seen.has(next)) {
          seen.add(next);
          todo.push([next, here]);
        }
    }
  }

  /** From the root to a node. */
  chain(end: number): PoseNode[] {
    const out: PoseNode[] = [];
    for (let n = end; n >= 0; n = this.nodes[n].parent) out.unshift(this.nodes[n]);
    return out;
  }
}

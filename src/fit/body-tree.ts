import { type Field, sampleField } from '../core/field.ts';
import type { Mesh } from '../core/mesh.ts';
import { add, length, scale, sub, type Vec3 } from '../core/vec.ts';
import { type Pose, rotationOf } from './pose.ts';
import { refineFaces } from './refine.ts';
import type { Gap } from './rigid-move.ts';

/**
 * How near a body comes in pose after pose. Of each face it is remembered how near it came and where it was: no place of it can have come nearer by
 * more than its corners have moved since, so from pose to pose next to no face is asked again. A coarse field of the neighbours' slack, where
 * there is one, passes over whole balls of faces in the open. What is left is decided by exact distances: the figure is exact where it is
 * below `within`.
 *
 * 20k faces against 0.9M triangles, a body that sits tight all round: 3 ms a pose, the first 0.9 s. Without remembering, balls by the
 * distance of their middles took 0.3 s: round a tight body hardly one can be passed over.
 */
export interface Neighbour {
  /** About which its own places are counted, mm. */
  readonly origin: Vec3;
  /** Taken from the distance: clearance, and the radius of points; mm. */
  readonly off: number;
  /** Distance of a triangle (nine numbers, mm about the origin) when it is below the limit, else the limit. */
  readonly distance: (corners: Float64Array, limit: number) => number;
  /** Nearest places after a distance below the limit, on the triangle and on the neighbour, mm about the origin. */
  readonly nearest: () => { readonly body: Vec3; readonly own: Vec3 };
  /** Name of what has a place on it, mm. */
  readonly nameAt: (p: Vec3) => string;
}

/** A field of the least slack that is off by at most `error` mm, the way between its cells counted in. */
export interface RoughSlack {
  readonly field: Field;
  readonly error: number;
}

/** Edges of the faces are cut to this, mm: balls about longer ones reach too far. */
const LONGEST = 12;
const LEAF = 4;
/** In the first pose every so many faces are asked first: the nearest of them lets most others be passed over. */
const SPREAD = 100;
/** How much farther than needed the neighbours of a face are looked for, mm: the body moves on by little, and need not ask again. */
const RESERVE = 6;

interface Visit {
  readonly neighbours: readonly Neighbour[];
  readonly rough: RoughSlack | undefined;
  /** The pose as rows, and where the turned centre lies. */
  readonly rows: readonly [Vec3, Vec3, Vec3];
  readonly at: Vec3;
  readonly floor: number;
}

export class BodyTree {
  /** Middle (three numbers, about the centre) and radius of each ball, mm. */
  private readonly balls: number[] = [];
  /** Inner ball: its first child, the other follows, 0. Leaf: first face, how many. */
  private readonly links: number[] = [];
  /** Nine numbers a face, about the centre, mm, in the leaves' order. */
  private readonly faces: Float64Array;
  private readonly centre: Vec3;
  /** Where the corners of each face were when the neighbours were last asked, nine numbers, and its least slack there (or less), mm. */
  private readonly seen: Float64Array;
  /** The same of each ball's middle: three numbers, the least slack (or less), and the slack where it is known to be no more, else Infinity. */
  private readonly ballSeen: Float64Array;
  /** Face that held the nearest place last: asked first. */
  private last = 0;
  private fresh = true;
  private readonly now = new Float64Array(9);
  private readonly corners = new Float64Array(9);
  private best: Gap = { slack: 0 };
  private met: { readonly neighbour: Neighbour; readonly at: Vec3 } | undefined;

  /** `centre`: about which the body turns, mm. */
  constructor(body: Mesh, centre: Vec3) {
    this.centre = centre;
    const { mesh } = refineFaces(body, LONGEST);
    const off = sub(mesh.origin, centre);
    const all = new Float64Array(3 * mesh.indices.length);
    mesh.indices.forEach((v, i) => {
      for (let a = 0; a < 3; a++) all[3 * i + a] = mesh.positions[3 * v + a] + off[a];
    });
    const count = mesh.indices.length / 3;
    const order = Int32Array.from({ length: count }, (_, f) => f);
    this.build(all, order);
    this.seen = new Float64Array(10 * count);
    for (let f = 0; f < count; f++) this.seen[10 * f + 9] = Number.NEGATIVE_INFINITY;
    this.ballSeen = new Float64Array((5 * this.balls.length) / 4);
    for (let o = 0; o < this.ballSeen.length; o += 5) {
      this.ballSeen[o + 3] = Number.NEGATIVE_INFINITY;
      this.ballSeen[o + 4] = Infinity;
    }
    this.faces = new Float64Array(all.length);
    order.forEach((f, i) => {
      this.faces.set(all.subarray(9 * f, 9 * f + 9), 9 * i);
    });
  }

  /**
   * The neighbours are the same in every call. Least of distance less what each neighbour takes off, where that is below `within`, else `within`; below `floor` the search ends with
   * whatever it has found.
   */
  least(
    pose: Pose,
    neighbours: readonly Neighbour[],
    { within, floor = -Infinity, rough }: { within: number; floor?: number; rough?: RoughSlack | undefined },
  ): Gap {
    this.best = { slack: within };
    this.met = undefined;
    const at: Vec3 = [this.centre[0] + pose.shift[0], this.centre[1] + pose.shift[1], this.centre[2] + pose.shift[2]];
    const visit: Visit = { neighbours, rough, rows: rotationOf(pose.turn), at, floor };
    this.face(this.last, visit);
    if (this.fresh) for (let f = 0; f < this.faces.length / 9; f += SPREAD) this.face(f, visit);
    this.fresh = false;
    this.visit(0, visit);
    return this.named();
  }

  private named(): Gap {
    const { best, met } = this;
    return met ? { ...best, obstacle: met.neighbour.nameAt(met.at) } : best;
  }

  private visit(node: number, v: Visit): void {
    if (this.best.slack < v.floor || this.isFar(node, v)) return;
    const [first, count] = [this.links[2 * node], this.links[2 * node + 1]];
    if (count > 0) for (let f = first; f < first + count; f++) this.face(f, v);
    else {
      this.visit(first, v);
      this.visit(first + 1, v);
    }
  }

  /** Whether no place of a ball can come nearer than what is known; asks only where the answer may be yes. */
  private isFar(node: number, v: Visit): boolean {
    const { balls, ballSeen: seen } = this;
    const radius = balls[4 * node + 3];
    const o = 5 * node;
    const p = moved([balls[4 * node], balls[4 * node + 1], balls[4 * node + 2]], v);
    const far = Math.hypot(p[0] - seen[o], p[1] - seen[o + 1], p[2] - seen[o + 2]);
    const need = this.best.slack + radius;
    if (seen[o + 3] - far >= need) return true;
    if (seen[o + 4] + far < need) return false;
    if (v.rough && sampleField(v.rough.field, p) - v.rough.error >= need) return true;
    let least = need + RESERVE;
    for (const n of v.neighbours) {
      for (let c = 0; c < 9; c++) this.corners[c] = p[c % 3] - n.origin[c % 3];
      const limit = least + n.off;
      if (limit > 0) least = Math.min(least, n.distance(this.corners, limit) - n.off);
    }
    seen[o] = p[0];
    seen[o + 1] = p[1];
    seen[o + 2] = p[2];
    seen[o + 3] = least;
    seen[o + 4] = least < need + RESERVE ? least : Infinity;
    return least >= need;
  }

  /**
   * One face. What was found of it before still holds, less by how far its corners have moved since (no other point of it moves farther); only
   * when that does not pass it over are the neighbours asked, to some RESERVE beyond what is needed now.
   */
  private face(f: number, v: Visit): void {
    const { seen, now } = this;
    const o = 10 * f;
    let far = 0;
    for (let c = 0; c < 9; c += 3) {
      const p = moved([this.faces[9 * f + c], this.faces[9 * f + c + 1], this.faces[9 * f + c + 2]], v);
      now[c] = p[0];
      now[c + 1] = p[1];
      now[c + 2] = p[2];
      far = Math.max(far, (p[0] - seen[o + c]) ** 2 + (p[1] - seen[o + c + 1]) ** 2 + (p[2] - seen[o + c + 2]) ** 2);
    }
    if (seen[o + 9] - Math.sqrt(far) >= this.best.slack) return;
    let least = this.best.slack + RESERVE;
    for (const n of v.neighbours) {
      for (let c = 0; c < 9; c++) this.corners[c] = now[c] - n.origin[c % 3];
      const limit = least + n.off;
      const d = limit > 0 ? n.distance(this.corners, limit) : limit;
      if (d >= limit) continue;
      least = d - n.off;
      if (least >= this.best.slack) continue;
      const { body, own } = n.nearest();
      this.best = { slack: least, at: add(body, n.origin) };
      this.met = { neighbour: n, at: add(own, n.origin) };
      this.last = f;
    }
    seen.set(now, o);
    seen[o + 9] = least;
  }

  private build(all: Float64Array, order: Int32Array): void {
    const todo: [number, number, number][] = [[0, 0, order.length]];
    this.links.push(0, 0);
    while (todo.length > 0) {
      const [node, from, to] = todo.pop()!;
      const { middle, radius, axis } = ballOf(all, order.subarray(from, to));
      this.balls[4 * node] = middle[0];
      this.balls[4 * node + 1] = middle[1];
      this.balls[4 * node + 2] = middle[2];
      this.balls[4 * node + 3] = radius;
      if (to - from <= LEAF) {
        this.links[2 * node] = from;
        this.links[2 * node + 1] = to - from;
        continue;
      }
      const key = (f: number): number => all[9 * f + axis] + all[9 * f + 3 + axis] + all[9 * f + 6 + axis];
      order.subarray(from, to).sort((a, b) => key(a) - key(b) || a - b);
      const child = this.links.length / 2;
      this.links[2 * node] = child;
      this.links[2 * node + 1] = 0;
      this.links.push(0, 0, 0, 0);
      const half = (from + to) >> 1;
      todo.push([child, from, half], [child + 1, half, to]);
    }
  }
}

const moved = ([x, y, z]: Vec3, { rows: [a, b, c], at }: Visit): Vec3 => [
  a[0] * x + a[1] * y + a[2] * z + at[0],
  b[0] * x + b[1] * y + b[2] * z + at[1],
  c[0] * x + c[1] * y + c[2] * z + at[2],
];

/** The ball about the middle of the box of some faces that holds them, and the axis along which the box is longest. */
function ballOf(all: Float64Array, faces: Int32Array): { middle: Vec3; radius: number; axis: number } {
  const lo = [Infinity, Infinity, Infinity];
  const hi = [-Infinity, -Infinity, -Infinity];
  for (const f of faces)
    for (let c = 0; c < 9; c++) {
      const v = all[9 * f + c];
      if (v < lo[c % 3]) lo[c % 3] = v;
      if (v > hi[c % 3]) hi[c % 3] = v;
    }
  const middle = scale([lo[0] + hi[0], lo[1] + hi[1], lo[2] + hi[2]], 0.5);
  let radius = 0;
  for (const f of faces)
    for (let c = 0; c < 9; c += 3) radius = Math.max(radius, length(sub([all[9 * f + c], all[9 * f + c + 1], all[9 * f + c + 2]], middle)));
  const size = hi.map((v, a) => v - lo[a]);
  return { middle, radius, axis: size.indexOf(Math.max(...size)) };
}

import type { CrossSection, Manifold, ManifoldToplevel, Mat4 } from 'manifold-3d';
import { type Figure, figureBox, inFigure } from './flat.ts';

/** Pegs and their holes, mm. */
export interface PegSizes {
  readonly peg_diameter: number;
  /** How far a peg stands out. */
  readonly peg_length: number;
  /** Left all round between peg and hole. */
  readonly gap: number;
  /** Least material round a hole. */
  readonly wall: number;
}

/** A part as far as pegs are concerned: the solid grows and shrinks as they are put in. */
interface Side {
  readonly name: string;
  solid: Manifold;
}

/** Two parts on either side of a cut across an axis. */
export interface Joint {
  readonly axis: 0 | 1 | 2;
  /** mm along it */
  readonly at: number;
  /** Gets the pegs, which stand out along the axis. */
  readonly below: Side;
  readonly above: Side;
  /** Where both have material; coordinates are the next two axes in turn. */
  readonly face: CrossSection;
  readonly area: number;
}

type Point = readonly [number, number];

/** Places looked at across a face, each way. */
const LATTICE = 9;

const SEGMENTS = 32;
/** How far a peg reaches back into its own part, mm; and how far its tip is tapered. */
const ROOT = 1;
const TIP = 1;
/** A hole is deeper than its peg is long by this, and begins before the cut, mm. */
const DEEPER = 0.5;
/** Share of a guarded space that must be material. */
const WHOLE = 0.9995;

/** The solids of a peg and its hole, standing on z = 0. */
export class PegShapes {
  private readonly peg: Manifold;
  private readonly hole: Manifold;
  private readonly guard: Manifold;
  private readonly root: Manifold;
  private readonly added: number;
  private readonly taken: number;

  constructor({ peg_diameter, peg_length, gap, wall }: PegSizes, lib: ManifoldToplevel) {
    const { Manifold: Solid } = lib;
    const r = peg_diameter / 2;
    const tip = Math.min(TIP, peg_length / 3, r / 2);
    const shaft = Solid.cylinder(peg_length - tip + ROOT, r, r, SEGMENTS).translate([0, 0, -ROOT]);
    this.peg = shaft.add(Solid.cylinder(tip, r, r - tip, SEGMENTS).translate([0, 0, peg_length - tip]));
    const depth = peg_length + DEEPER;
    this.hole = Solid.cylinder(depth + DEEPER, r + gap, r + gap, SEGMENTS).translate([0, 0, -DEEPER]);
    this.guard = Solid.cylinder(depth + wall, r + gap + wall, r + gap + wall, SEGMENTS);
    this.root = Solid.cylinder(wall, r + wall, r + wall, SEGMENTS).translate([0, 0, -wall]);
    const above = (s: Manifold): number => s.trimByPlane([0, 0, 1], 0).volume();
    this.added = above(this.peg);
    this.taken = above(this.hole);
  }

  /** Peg and hole at a place of a joint, and what they add and take. */
  at(joint: Joint, p: Point): { peg: Manifold; hole: Manifold; added: number; taken: number } {
    const to = fromZ(joint, p);
    return { peg: this.peg.transform(to), hole: this.hole.transform(to), added: this.added, taken: this.taken };
  }

  /** Whether there is material all round a peg's root and its hole, other holes left out. */
  fits(joint: Joint, p: Point): boolean {
    const to = fromZ(joint, p);
    const full = (s: Manifold, part: Manifold): boolean => {
      const placed = s.transform(to);
      const within = placed.intersect(part);
      const ok = within.volume() >= WHOLE * placed.volume();
      placed.delete();
      within.delete();
      return ok;
    };
    return full(this.guard, joint.above.solid) && full(this.root, joint.below.solid);
  }

  /** Gives the library's memory back. */
  delete(): void {
    for (const s of [this.peg, this.hole, this.guard, this.root]) s.delete();
  }
}

/** Brings z to the joint's axis and x, y to the next two, shifted to the place; column by column. */
function fromZ({ axis, at }: Joint, [u, v]: Point): Mat4 {
  const out = new Array<number>(16).fill(0);
  const [b, c] = [(axis + 1) % 3, (axis + 2) % 3];
  out[b] = 1;
  out[4 + c] = 1;
  out[8 + axis] = 1;
  out[12 + b] = u;
  out[12 + c] = v;
  out[12 + axis] = at;
  out[15] = 1;
  return out as Mat4;
}

/** Places tried for a peg: each costs two intersections. */
const TRIED = 40;
/** Two pegs nearer than this many diameters hold no better than one. */
const APART = 2;

/** At most two places for pegs, as far apart as there is room. */
export function choosePegs(joint: Joint, shapes: PegShapes, { peg_diameter, gap, wall }: PegSizes): Point[] {
  const inner = joint.face.offset(-(peg_diameter / 2 + gap + wall), 'Round', 2, SEGMENTS).simplify(0.2);
  const figure = inner.toPolygons() as Figure;
  inner.delete();
  if (figure.length === 0) return [];
  const places = [...figure.flat(), ...lattice(figure)];
  const far = (p: Point, q: Point): number => Math.hypot(p[0] - q[0], p[1] - q[1]);
  const middle: Point = [0, 1].map((a) => places.reduce((s, c) => s + c[a], 0) / places.length) as [number, number];
  const first = spread([...places, middle], (p) => far(p, middle)).find((p) => shapes.fits(joint, p));
  if (!first) return [];
  const apart = places.filter((p) => far(p, first) >= APART * peg_diameter);
  const second = spread(apart, (p) => far(p, first)).find((p) => shapes.fits(joint, p));
  return second ? [first, second] : [first];
}

/** Places within the figure, evenly over its box: where the body curves in behind the cut, its outline is no place for a peg. */
function lattice(figure: Figure): Point[] {
  const [a0, b0, a1, b1] = figureBox(figure);
  const out: Point[] = [];
  for (let i = 0; i < LATTICE; i++)
    for (let j = 0; j < LATTICE; j++) {
      const [a, b] = [a0 + ((i + 0.5) * (a1 - a0)) / LATTICE, b0 + ((j + 0.5) * (b1 - b0)) / LATTICE];
      if (inFigure(figure, a, b)) out.push([a, b]);
    }
  return out;
}

/** The places of greatest `worth` first, thinned to as many as are tried. */
function spread(points: readonly Point[], worth: (p: Point) => number): Point[] {
  const order = [...points].sort((p, q) => worth(q) - worth(p) || p[0] - q[0] || p[1] - q[1]);
  const step = Math.max(1, order.length / TRIED);
  return Array.from({ length: Math.min(TRIED, order.length) }, (_, i) => order[Math.floor(i * step)]);
}

import type { CrossSection, Manifold, ManifoldToplevel, Mat4 } from 'manifold-3d';
import { Fault, type Note } from '../core/fault.ts';
import { type Mesh, meshVolume } from '../core/mesh.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Vec3 } from '../core/vec.ts';
import { closedness } from '../field/closed.ts';
import { choosePegs, type Joint, PegShapes, type PegSizes } from './print-pegs.ts';

/** How a body is split for a printer, mm. */
export interface PrintOptions extends PegSizes {
  /** What the printer can print, [x, y, z]. */
  readonly volume: Vec3;
}

export interface PrintPart {
  /** Its place in the row along each axis, such as "x1 y2 z1". */
  readonly name: string;
  readonly mesh: Mesh;
}

/** Plain JSON. */
export interface PrintFigures {
  readonly parts: readonly { readonly name: string; readonly size_mm: Vec3; readonly volume_l: number; readonly faces: number }[];
  /** How often the body is parted along each axis. */
  readonly rows: Vec3;
  readonly pegs: number;
  readonly peg_mm: { readonly diameter: number; readonly length: number; readonly gap: number };
  readonly body_l: number;
  /** Of all parts together, and what they should be: body, pegs added, holes taken off. */
  readonly parts_l: number;
  readonly expected_l: number;
  /** What two parts have in common when they are together, at most, mm3. */
  readonly overlap_mm3: number;
  readonly order: string;
}

export interface PrintKit {
  readonly parts: readonly PrintPart[];
  readonly figures: PrintFigures;
  readonly notes: readonly Note[];
}

/** Smaller pieces are not worth printing, mm3. */
const SLIVER = 500;
/** Share of the volume by which the sum may be off: rounding of coordinates to float32. */
const ROUNDING = 1e-5;
/** Parts may have this in common by rounding, mm3. */
const TOUCHING = 1;
const AXES = [0, 1, 2] as const;

interface Piece {
  readonly at: readonly [number, number, number];
  readonly name: string;
  solid: Manifold;
}

/**
 * A closed mesh in parts that a printer can print: cut by planes across the axes into equal rows, with round pegs on one side of each cut and holes
 * with a gap on the other. All pegs of a cut run along its axis, so parts are put together in rows along x, rows along y, layers along z, each by one
 * straight move. Each part is looked at again: closed, a solid of its own, within the printer; the volumes add up; no two overlap.
 * Faults: `print-many` for more than 64 cells, `print-unproven` when a check does not hold.
 */
export function splitForPrint(mesh: Mesh, options: PrintOptions, lib: ManifoldToplevel): PrintKit {
  const whole = new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: mesh.positions, triVerts: mesh.indices }));
  const { min, max } = whole.boundingBox();
  const rows = rowsOf([max[0] - min[0], max[1] - min[1], max[2] - min[2]], options);
  const cuts = AXES.map((a) => Array.from({ length: rows[a] - 1 }, (_, i) => min[a] + ((i + 1) * (max[a] - min[a])) / rows[a]));
  const { pieces, lost } = cutUp(whole, cuts);
  const notes: Note[] = [];
  if (lost.count > 0)
    notes.push({
      code: 'print-slivers',
      text: `${lost.count} slivers of ${(lost.volume / 1000).toFixed(2)} cm3 in all that the cuts left were not worth printing.`,
    });
  const shapes = new PegShapes(options, lib);
  const joints = AXES.flatMap((a) => cuts[a].flatMap((at, k) => jointsAt(pieces, a, k, at)));
  let pegs = 0;
  let expected = whole.volume() - lost.volume;
  for (const joint of joints) {
    const places = choosePegs(joint, shapes, options);
    if (places.length < 2 && joint.area > 0) notes.push(fewPegs(joint, places.length));
    for (const p of places) {
      const { peg, hole, added, taken } = shapes.at(joint, p);
      joint.below.solid = replaced(joint.below.solid, joint.below.solid.add(peg));
      joint.above.solid = replaced(joint.above.solid, joint.above.solid.subtract(hole));
      peg.delete();
      hole.delete();
      expected += added - taken;
      pegs++;
    }
    joint.face.delete();
  }
  const overlap = joints.reduce((m, { below, above }) => Math.max(m, commonOf(below.solid, above.solid)), 0);
  const parts = pieces.map(({ name, solid }): PrintPart => ({ name, mesh: meshOf(solid, mesh.origin) }));
  const figures: PrintFigures = {
    parts: pieces.map(({ name, solid }, i) => ({
      name,
      size_mm: sizeOf(solid),
      volume_l: meshVolume(parts[i].mesh) / MM3_PER_LITRE,
      faces: parts[i].mesh.indices.length / 3,
    })),
    rows,
    pegs,
    peg_mm: { diameter: options.peg_diameter, length: options.peg_length, gap: options.gap },
    body_l: whole.volume() / MM3_PER_LITRE,
    parts_l: parts.reduce((s, p) => s + meshVolume(p.mesh), 0) / MM3_PER_LITRE,
    expected_l: expected / MM3_PER_LITRE,
    overlap_mm3: overlap,
    order: 'rows along x first, then rows together along y, then layers along z; every move is straight',
  };
  check(pieces, parts, figures, options);
  for (const p of pieces) p.solid.delete();
  shapes.delete();
  whole.delete();
  return { parts, figures, notes };
}

/** Cells along each axis: the fewest in all over the ways in which the printer's volume can be turned. */
function rowsOf(size: Vec3, { volume, peg_length }: PrintOptions): Vec3 {
  const turns = [
    [0, 1, 2],
    [1, 0, 2],
    [0, 2, 1],
    [2, 1, 0],
    [1, 2, 0],
    [2, 0, 1],
  ];
  const count = (a: number, room: number): number => (size[a] <= room ? 1 : Math.ceil(size[a] / (room - peg_length) - 1e-9));
  const ways = turns.map((t): Vec3 => [count(0, volume[t[0]]), count(1, volume[t[1]]), count(2, volume[t[2]])]);
  const all = (v: Vec3): number => v[0] * v[1] * v[2];
  const best = ways.reduce((m, v) => (all(v) < all(m) ? v : m));
  if (all(best) > MOST_CELLS)
    throw new Fault({
      code: 'print-many',
      what: 'The body would have to be printed in too many parts.',
      got: `${best.join(' x ')} parts`,
      expected: `at most ${MOST_CELLS}`,
      hint: 'Name a larger printer, or make the rib kit instead.',
    });
  return best;
}

const MOST_CELLS = 64;

/** All parts that the planes leave, each in one piece. */
function cutUp(whole: Manifold, cuts: readonly (readonly number[])[]): { pieces: Piece[]; lost: { count: number; volume: number } } {
  let cells: { at: [number, number, number]; solid: Manifold }[] = [{ at: [0, 0, 0], solid: whole.translate([0, 0, 0]) }];
  for (const a of AXES)
    for (const [k, at] of cuts[a].entries())
      cells = cells.flatMap((c) => {
        if (c.at[a] !== k) return [c];
        const normal: Vec3 = [a === 0 ? 1 : 0, a === 1 ? 1 : 0, a === 2 ? 1 : 0];
        const [above, below] = c.solid.splitByPlane(normal, at);
        c.solid.delete();
        const next: [number, number, number] = [...c.at];
        next[a]++;
        return [
          { at: c.at, solid: below },
          { at: next, solid: above },
        ];
      });
  const lost = { count: 0, volume: 0 };
  const pieces: Piece[] = [];
  for (const { at, solid } of cells) {
    const alone = solid.isEmpty() ? [] : solid.decompose();
    solid.delete();
    const worth = alone.filter((s) => s.volume() >= SLIVER).sort((p, q) => q.volume() - p.volume());
    for (const s of alone)
      if (!worth.includes(s)) {
        lost.count++;
        lost.volume += s.volume();
        s.delete();
      }
    const base = `x${at[0] + 1} y${at[1] + 1} z${at[2] + 1}`;
    worth.forEach((s, i) => {
      pieces.push({ at, name: worth.length > 1 ? `${base} ${'abcdefghijklmnopqrstuvwxyz'[i] ?? i}` : base, solid: s });
    });
  }
  return { pieces, lost };
}

/** Pairs of parts that share a cut across axis `a`, with what they have in common there. */
function jointsAt(pieces: readonly Piece[], a: 0 | 1 | 2, k: number, at: number): Joint[] {
  const near = (p: Piece, q: Piece): boolean => p.at[a] === k && q.at[a] === k + 1 && AXES.every((b) => b === a || p.at[b] === q.at[b]);
  return pieces.flatMap((below) =>
    pieces
      .filter((above) => near(below, above))
      .map((above): Joint => {
        const [p, q] = [sliceAcross(below.solid, a, at - BESIDE), sliceAcross(above.solid, a, at + BESIDE)];
        const face = p.intersect(q);
        p.delete();
        q.delete();
        return { axis: a, at, below, above, face, area: face.area() };
      })
      .filter((j) => j.area > 0),
  );
}

/** Sections of both sides are taken this far from the cut, mm. */
const BESIDE = 0.01;

/** Section across axis `a`: its coordinates are the next two axes in turn. */
function sliceAcross(solid: Manifold, a: 0 | 1 | 2, at: number): CrossSection {
  const turned = solid.transform(TO_Z[a]);
  const cut = turned.slice(at);
  turned.delete();
  return cut;
}

/** Turns axis a to z and the next two to x and y; column by column. */
const TO_Z: readonly Mat4[] = [
  [0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1],
  [0, 1, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1],
  [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1],
];

const replaced = (old: Manifold, made: Manifold): Manifold => {
  old.delete();
  return made;
};

function commonOf(p: Manifold, q: Manifold): number {
  const both = p.intersect(q);
  const volume = both.volume();
  both.delete();
  return volume;
}

function sizeOf(solid: Manifold): Vec3 {
  const { min, max } = solid.boundingBox();
  return [max[0] - min[0], max[1] - min[1], max[2] - min[2]];
}

function meshOf(solid: Manifold, origin: Vec3): Mesh {
  const { vertProperties: p, triVerts, numProp: n } = solid.getMesh();
  const positions = new Float32Array((p.length / n) * 3);
  for (let v = 0; v < positions.length / 3; v++) for (let a = 0; a < 3; a++) positions[3 * v + a] = p[n * v + a];
  return { origin, positions, indices: Uint32Array.from(triVerts) };
}

const fewPegs = ({ below, above }: Joint, pegs: number): Note => ({
  code: 'print-few-pegs',
  text: `There is room for ${pegs === 0 ? 'no peg' : 'one peg only'} between parts ${below.name} and ${above.name}: line them up by eye.`,
});

/** Everything that was promised, on the finished parts. */
function check(pieces: readonly Piece[], parts: readonly PrintPart[], figures: PrintFigures, { volume }: PrintOptions): void {
  const faults: string[] = [];
  const room = [...volume].sort((p, q) => p - q);
  for (const [i, { name, mesh }] of parts.entries()) {
    if (!closedness(mesh).ok || pieces[i].solid.status() !== 'NoError') faults.push(`${name} is not closed`);
    const size = [...figures.parts[i].size_mm].sort((p, q) => p - q);
    if (size.some((s, k) => s > room[k] + 1e-3)) faults.push(`${name} is larger than the printer`);
  }
  if (Math.abs(figures.parts_l - figures.expected_l) > ROUNDING * figures.body_l) faults.push('the volumes do not add up');
  if (figures.overlap_mm3 > TOUCHING) faults.push(`two parts overlap by ${figures.overlap_mm3.toFixed(1)} mm3`);
  if (faults.length > 0)
    throw new Fault({
      code: 'print-unproven',
      what: 'The parts for the printer could not be shown to be sound.',
      got: faults.join('; '),
      hint: 'Name another size of printer, or shorter pegs.',
      exit: 1,
    });
}

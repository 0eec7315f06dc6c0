import type { ManifoldToplevel } from 'manifold-3d';
import { type Context, checkCancelled } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import type { Vec3 } from '../core/vec.ts';
import { outlines } from '../field/outlines.ts';
import type { Stroke } from './draft.ts';
import { type Figure, Flat, figureArea, figureOf } from './flat.ts';
import { strokesOf } from './letters.ts';
import { placeMark, placeStadium } from './ribs-place.ts';
import { type Frame, frameAlong, type Rib, type RibOptions, type RibPlane, ribPlanes } from './ribs-plan.ts';
import { type Ground, groundOf, type KitProof, largestGroup, proveKit, roomOfRib } from './ribs-proof.ts';
import { cutSlots, type Joint } from './ribs-slots.ts';

/** What a kit is cut from and how, unless the job says otherwise (common practice). */
export const RIB_DEFAULTS = {
  thickness: 3,
  spacing: 60,
  fit: 0.1,
  kerf: 0.15,
  relief: 0.8,
  draw_in: 0.5,
  hand_hole: { width: 90, height: 30 },
} as const;

export interface RibKit {
  readonly frame: Frame;
  readonly options: RibOptions;
  readonly ribs: readonly Rib[];
  /** Crossings where two ribs hold each other. */
  readonly joints: readonly Joint[];
  readonly proof: KitProof;
  readonly notes: readonly Note[];
}

/** Planes over the thickness at which a rib's outline is taken lie at most this far apart, mm. */
const LAYER = 1;
/** Points of an outline may be left out when it moves by no more than this, mm. */
const SIMPLER = 0.02;
/** Parts smaller than this are left out, mm2. */
const LEAST_AREA = 300;
/** Joints shorter than this do not hold, mm. */
const LEAST_JOINT = 8;
const RETREATS = 6;
const AXES: readonly Vec3[] = [
  [0, 0, 1],
  [0, 1, 0],
  [1, 0, 0],
];

/**
 * A stand-in of a body to offer up in the frame: two families of flat ribs cut from sheet, at right angles to each other, halved into each
 * other. All slots run along one direction, the kit's `along`: ribs of the first family (letters) have them open that way, ribs of the
 * second (numbers) the other way, so each rib of the second goes on by one straight move against `along`.
 *
 * Whatever the body's shape, no rib of the first has anything above the bottom of its slots at a crossing and no rib of the second anything
 * below it: that alone makes the whole kit go together, and is what `proveKit` looks at again on the finished outlines.
 *
 * Makes the kit, and proves it. Faults: `ribs-none` when no two ribs can be joined, `ribs-unproven` when the proof does not hold.
 */
export function ribKit(body: Field, options: RibOptions, lib: ManifoldToplevel, context: Context): RibKit {
  const flat = new Flat(lib);
  const ground = groundOf(body);
  const kits = (options.along ? [options.along] : AXES).flatMap((along) => {
    checkCancelled(context);
    const kit = kitAlong(ground, { ...options, along }, flat);
    return kit ? [kit] : [];
  });
  // Fewest parts lost comes first, then what covers most of the surface.
  const best = kits.sort((p, q) => p.lost - q.lost || q.kit.proof.covered_percent - p.kit.proof.covered_percent)[0]?.kit;
  if (!best)
    throw new Fault({
      code: 'ribs-none',
      what: 'The body is too small for ribs that hold each other.',
      got: `sheet of ${options.thickness} mm, ribs every ${options.spacing} mm`,
      hint: 'Ask for a smaller spacing or a thinner sheet.',
    });
  if (!best.proof.ok)
    throw new Fault({
      code: 'ribs-unproven',
      what: 'The rib kit could not be proven to lie inside the body and to go together.',
      got: best.proof.faults.join('; '),
      hint: 'Draw the ribs in farther, or use a smaller step.',
      exit: 1,
    });
  return best;
}

interface Draft {
  readonly name: string;
  readonly plane: RibPlane;
  figure: Figure;
}

function kitAlong(ground: Ground, options: RibOptions & { along: Vec3 }, flat: Flat): { kit: RibKit; lost: number } | undefined {
  const frame = frameAlong(ground.field, options.along);
  const notes: Note[] = [];
  const families = ([0, 1] as const).map((family) =>
    ribPlanes(ground.field, frame, family, options.spacing).flatMap((plane): Draft[] => {
      const figure = insideBody(ground, plane, options, flat);
      return figure.length > 0 ? [{ name: plane.name, plane, figure }] : [];
    }),
  );
  const slotted = cutSlots(families[0], families[1], { ...options, least: LEAST_JOINT, leastArea: LEAST_AREA }, flat);
  if (slotted.joints.length === 0) return undefined;
  const group = largestGroup(slotted.parts, slotted.joints);
  const parts = slotted.parts.filter((p) => group.has(p.name));
  const joints = slotted.joints.filter((j) => group.has(j.first));
  const alone = slotted.parts.filter((p) => !group.has(p.name)).map((p) => ({ name: p.name, area: figureArea(p.figure) }));
  const dropped = [...slotted.dropped, ...alone];
  if (dropped.length > 0)
    notes.push({
      code: 'ribs-dropped',
      text: `Pieces that nothing would hold were left out: ${dropped.map((d) => `${d.name} (${Math.round(d.area / 100)} cm2)`).join(', ')}.`,
    });
  const holes = options.hand_hole ? handHoles(parts, options, flat) : new Map<string, Figure>();
  if (options.hand_hole && holes.size === 0) notes.push({ code: 'ribs-no-hand-hole', text: 'No rib has room for a hand hole.' });
  const ribs = parts.map((p): Rib => {
    const part = flat.cut(p.figure, holes.get(p.name) ?? []);
    const engraved = label(p.name, part, p, options, flat);
    return { name: p.name, family: p.plane.family, plane: p.plane, part, cut: flat.grow(part, options.kerf / 2), engraved };
  });
  const bare = ribs.filter((r) => r.engraved.length === 0).map((r) => r.name);
  if (bare.length > 0) notes.push({ code: 'ribs-no-label', text: `No room for a name on ${bare.join(', ')}: write it on by hand.` });
  const proof = proveKit(ground, { frame, ribs, joints, options }, flat);
  return {
    kit: { frame, options, ribs, joints, proof, notes },
    lost: dropped.reduce((s, d) => s + d.area, 0) > 0.02 * areaOf(ribs) ? 1 : 0,
  };
}

const areaOf = (ribs: readonly Rib[]): number => ribs.reduce((s, r) => s + figureArea(r.part), 0);

/**
 * The outline that lies inside the body over the whole thickness of the sheet: what the sections at several planes have in common, then
 * drawn in by what the proof finds lacking.
 */
function insideBody(ground: Ground, plane: RibPlane, options: RibOptions, flat: Flat): Figure {
  const half = options.thickness / 2;
  const layers = Math.ceil(options.thickness / LAYER);
  let figure: Figure | undefined;
  for (let i = 0; i <= layers; i++) {
    const at = -half + (i * options.thickness) / layers;
    const [x, y, z] = plane.section.origin;
    const origin: Vec3 = [x + at * plane.normal[0], y + at * plane.normal[1], z + at * plane.normal[2]];
    const own = figureOf(outlines(ground.field, { ...plane.section, origin }, { level: options.draw_in }));
    figure = figure ? flat.common(figure, own) : own;
    if (figure.length === 0) return [];
  }
  let inside = flat.simplify(figure!, SIMPLER);
  for (let turn = 0; turn < RETREATS && inside.length > 0; turn++) {
    const least = roomOfRib(ground, plane, inside, options.thickness);
    if (least >= 0) return inside;
    inside = flat.simplify(flat.grow(inside, Math.min(least, -0.05) - 0.02), SIMPLER);
  }
  return inside.length > 0 && roomOfRib(ground, plane, inside, options.thickness) >= 0 ? inside : [];
}

interface Part {
  readonly name: string;
  readonly plane: RibPlane;
  readonly figure: Figure;
  /** Places along the plane's first coordinate where ribs of the other family cross, mm. */
  readonly crossings: readonly number[];
}

/** One hole in each family, in the rib with room that is nearest to the middle. */
function handHoles(parts: readonly Part[], options: RibOptions, flat: Flat): Map<string, Figure> {
  const out = new Map<string, Figure>();
  for (const family of [0, 1] as const) {
    const own = parts.filter((p) => p.plane.family === family);
    const middle = own.reduce((s, p) => s + p.plane.at, 0) / (own.length || 1);
    const order = [...own].sort((p, q) => Math.abs(p.plane.at - middle) - Math.abs(q.plane.at - middle));
    for (const share of [1, 0.8])
      for (const p of order) {
        if (out.has(p.name) || own.some((o) => out.has(o.name))) break;
        const hole = placeStadium(free(p, options, 0, flat), share * options.hand_hole!.width, share * options.hand_hole!.height, flat);
        if (hole) out.set(p.name, hole);
      }
  }
  return out;
}

/** Least material between a hand hole and an edge, and around letters, mm. */
const WEB = 10;
const ROUND_LETTERS = 3;

/** What of a part is free of crossings and edges. */
function free(p: Part, options: RibOptions, extra: number, flat: Flat): Figure {
  const wide = options.thickness / 2 + options.fit + extra;
  const strips = p.crossings.reduce<Figure>(
    (s, a) =>
      flat.union(s, [
        [
          [a - wide, -1e5],
          [a + wide, -1e5],
          [a + wide, 1e5],
          [a - wide, 1e5],
        ],
      ]),
    [],
  );
  return flat.grow(flat.cut(p.figure, strips), extra > 0 ? -extra : -WEB);
}

const HEIGHTS = [12, 9, 6.5, 4.5];

function label(name: string, part: Figure, p: Part, options: RibOptions, flat: Flat): Stroke[] {
  const room = free({ ...p, figure: part }, options, ROUND_LETTERS, flat);
  for (const height of HEIGHTS) {
    // The arrow shows the kit's direction, which is up in the plane's coordinates.
    const strokes = strokesOf(`${name}^`, height);
    const place = placeMark(room, strokes.width, height, flat);
    if (place)
      return strokes.lines.map((points) => ({
        layer: 'ENGRAVE',
        closed: false,
        points: points.map((v, i) => v + place[i % 2]),
      }));
  }
  return [];
}

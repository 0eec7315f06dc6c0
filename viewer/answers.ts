import type { Mesh } from '../src/core/mesh.ts';
import { add, distance, dot, frameOf, normalize, scale, sub, type Vec3 } from '../src/core/vec.ts';
import type { WaysSearch } from '../src/fit/result.ts';
import type { ResultFile } from './result.ts';
import { arrowMesh, ballMesh, boxMesh, rodMesh, together } from './solids.ts';
import { type Kind, type Thing, thingFrom } from './things.ts';

/** Gap drawn between blocks that touch, mm. */
const SEAM = 1;
/** Ways in that have an arrow of their own. */
const MOST_WAYS = 4;

/** What a result answers beyond room and tank, as things of the drawing: holes, nearest places, tubes, bores, hoses, what is stowed, ways in. */
export function answersOf(r: ResultFile): Thing[] {
  return [...holesOf(r), ...closestOf(r), ...tubesOf(r), ...routesOf(r), ...stowedOf(r), ...waysOf(r)];
}

const thing = (name: string, kind: Kind, meshes: readonly Mesh[]): Thing[] =>
  meshes.length > 0 ? [thingFrom(name, kind, together(meshes))] : [];

/** The rims of the holes, as wires of this radius, mm; those of one scan are one thing. */
const WIRE = 1.5;

function holesOf({ holes = [] }: ResultFile): Thing[] {
  const scans = [...new Set(holes.map((h) => h.scan))];
  return scans.flatMap((scan) => {
    const rims = holes.filter((h) => h.scan === scan && h.loop.length > 2).map((h) => rodMesh([...h.loop, h.loop[0]], WIRE));
    return thing(`holes in ${scan}`, 'hole', rims);
  });
}

/** A bead where each obstacle comes nearest, and a pin from there to the envelope. */
function closestOf({ closest = [] }: ResultFile): Thing[] {
  const marks = closest.flatMap((c) => [
    ballMesh(c.at_mm, 5),
    ...(distance(c.at_mm, c.to_mm) > 0.1 ? [rodMesh([c.at_mm, c.to_mm], WIRE)] : []),
  ]);
  return thing('nearest places', 'closest', marks);
}

/** Each tube as it was fitted, and round it the bores that it asks for; all bores are one thing. */
function tubesOf(r: ResultFile): Thing[] {
  const tubes = r.tubes ?? [];
  const bores = tubes.flatMap((t) => t.bores.map((b) => rodMesh(stretch(t.axis, b.from_mm, b.to_mm), b.bore_mm / 2)));
  const fitted = tubes.filter((t) => t.axis.length > 1).map((t) => rodMesh(t.axis, t.diameter_mm / 2));
  return [...thing('tubes as fitted', 'tube', fitted), ...thing('bores', 'bore', bores)];
}

/** The part of a line between the points nearest to two places. */
function stretch(line: readonly Vec3[], from: Vec3, to: Vec3): Vec3[] {
  const [a, b] = [along(line, from), along(line, to)].sort((p, q) => p.at - q.at);
  return [a.point, ...line.filter((_, i) => i > a.at && i < b.at), b.point];
}

/** Nearest point of a line, and where it lies: the corner's number plus the share of the stretch that follows. */
function along(line: readonly Vec3[], p: Vec3): { at: number; point: Vec3 } {
  let best = { at: 0, point: line[0] ?? p };
  for (let i = 0; i + 1 < line.length; i++) {
    const d = sub(line[i + 1], line[i]);
    const squared = dot(d, d);
    const t = squared > 0 ? Math.max(0, Math.min(1, dot(sub(p, line[i]), d) / squared)) : 0;
    const point = add(line[i], scale(d, t));
    if (distance(point, p) < distance(best.point, p)) best = { at: i + t, point };
  }
  return best;
}

const routesOf = (r: ResultFile): Thing[] =>
  (r.routes ?? []).flatMap((t) =>
    t.ok && t.line.length > 1 ? thing(`hose: ${t.name}`, 'route', [rodMesh(t.line, t.diameter_mm / 2)]) : [],
  );

function stowedOf({ stowage: s }: ResultFile): Thing[] {
  if (!s) return [];
  const { largest: l } = s;
  const middle = (at: Vec3, size: Vec3): Vec3 => add(at, scale(size, 0.5));
  const out: Thing[] = [];
  if (l?.ball) out.push(...thing('largest ball', 'item', [ballMesh(l.ball.centre_mm, l.ball.radius_mm)]));
  if (l?.cylinder) {
    const half: Vec3 = [0, 0, l.cylinder.height_mm / 2];
    const ends = [sub(l.cylinder.centre_mm, half), add(l.cylinder.centre_mm, half)];
    out.push(...thing('largest upright cylinder', 'item', [rodMesh(ends, l.cylinder.radius_mm)]));
  }
  const boxes = [
    ['largest box', l?.box],
    ['largest box, turned', l?.box_turned],
  ] as const;
  for (const [name, b] of boxes) if (b) out.push(...thing(name, 'item', [boxMesh(b.centre_mm, b.size_mm, b.axes)]));
  const blocks = (s.blocks ?? []).map((b) => boxMesh(middle(b.at_mm, b.size_mm), sub(b.size_mm, [SEAM, SEAM, SEAM])));
  out.push(...thing('litre blocks', 'item', blocks));
  for (const [list, word] of [
    [s.items ?? [], 'stowed'],
    [s.luggage ?? [], 'luggage'],
  ] as const)
    for (const i of list) {
      const placed = i.places.map(({ at_mm, size_mm, axis }) => {
        const centre = middle(at_mm, size_mm);
        if (axis === undefined) return boxMesh(centre, size_mm);
        const half = scale([0, 1, 2].map((a) => Number(a === axis)) as [number, number, number], size_mm[axis] / 2);
        return rodMesh([sub(centre, half), add(centre, half)], size_mm[(axis + 1) % 3] / 2);
      });
      out.push(...thing(`${word}: ${i.name}`, 'item', placed));
    }
  return out;
}

/**
 * Ways in: an arrow for each of the best, pointing the way the body goes in, and round the envelope a globe of pins, each as long as the
 * share of the envelope that is kept from there.
 */
function waysOf(r: ResultFile): Thing[] {
  const box = r.envelope?.box_mm;
  if (!box || !(r.ways_in?.length || r.ways_search)) return [];
  const [min, max] = [box.min, box.max].map((v): Vec3 => [v[0], v[1], v[2]]);
  const centre = scale(add(min, max), 0.5);
  const radius = distance(min, max) / 2;
  const at = (d: Vec3, share: number): Vec3 => add(centre, scale(d, radius * share));
  const ways = (r.ways_in ?? [])
    .slice(0, MOST_WAYS)
    .flatMap((w, i) =>
      thing(`way in ${i + 1}: keeps ${w.kept_percent.toFixed(0)} %`, 'way', [
        arrowMesh(at(w.direction, 2), at(w.direction, 1.1), radius / 28),
      ]),
    );
  const pins = (r.ways_search?.map ?? []).map((m) =>
    pin(at(m.direction, 1.1), at(m.direction, 1.12 + 0.5 * (m.kept_percent / 100)), radius / 60),
  );
  return [...ways, ...thing('ways in: share kept, all round', 'globe', pins), ...twoStep(r.ways_search, { centre, radius })];
}

/** A square bar from one point to another. */
function pin(from: Vec3, to: Vec3, thick: number): Mesh {
  const along = normalize(sub(to, from));
  const [u, v] = frameOf(along);
  return boxMesh(scale(add(from, to), 0.5), [thick, thick, distance(from, to)], [u, v, along]);
}

/** The way in two steps: in along the second, then back along the first for its length, both as arrows. */
function twoStep(search: WaysSearch | undefined, { centre, radius }: { centre: Vec3; radius: number }): Thing[] {
  const two = search?.two_step;
  if (!two) return [];
  const corner = add(centre, scale(two.first_along, two.length_mm));
  const far = add(corner, scale(two.then_along, 2 * radius));
  const arrows = [arrowMesh(far, corner, radius / 28), arrowMesh(corner, centre, radius / 28)];
  return thing(`way in by two steps: keeps ${two.kept_percent.toFixed(0)} %`, 'way', arrows);
}

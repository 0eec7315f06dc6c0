import type { ManifoldToplevel } from 'manifold-3d';
import { type Context, checkCancelled } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { type Mesh, meshArea, meshVolume, triangleCount } from '../core/mesh.ts';
import { closedness } from '../field/closed.ts';
import { volume } from '../field/integrate.ts';
import { surface } from '../field/surface.ts';
import { type Certificate, type CertificateObstacle, certifyPrepared, prepareObstacle } from './certificate.ts';
import { selfCrossings } from './crossings.ts';
import { Room } from './room.ts';
import { drawIn, fair, letOut, untangle, vertexNormals } from './shape.ts';
import { type LocateWasm, loadSolids, simplify, simplifySolid, solidStatus } from './simplify.ts';

/**
 * The seed mesh: a closed mesh of few faces that lies within a body given as a field { f >= 0 }, for the modeller to start from.
 *
 * The level f = inset is meshed, faired and simplified with an error of about the inset, so that it stays within f >= 0; what sticks
 * out all the same is drawn in, then every vertex is let out as far as its faces have room. Against obstacles the faces that miss
 * a clearance (the field's own error) retreat until the certificate passes. Last, the result is checked as a solid.
 *
 * Measured, a 2 l body on 2 mm cells, 55k triangles to 20k faces: 6 s of processor time on one busy thread, most of it looking at faces and for
 * crossings; loss 0.10 % (rounded box) and 0.19 % (with a tunnel and a groove, sharp where they come out). Edge collapse alone left one to five
 * pairs of folded faces on flat ground; its own regularising cost ten times the error, smoothing those few corners costs nothing.
 */
export interface SeedOptions {
  /** Faces aimed at. Default 20,000. */
  readonly faces?: number;
  /** Greatest simplification error, mm. Default half a cell. */
  readonly error?: number;
  /** Pairs of fairing steps before simplifying. Default 3; 0 keeps the field's own surface. */
  readonly fairing?: number;
  /** What the seed must be certified against, with the clearances asked. */
  readonly obstacles?: readonly CertificateObstacle[];
  /** For a page: where manifold.wasm is. */
  readonly locateWasm?: LocateWasm;
}

export interface Seed {
  readonly mesh: Mesh;
  readonly faces: number;
  readonly area_mm2: number;
  readonly volume_mm3: number;
  /** Volume of the field that it was made from, and the share of it that the mesh lacks, percent. */
  readonly field_volume_mm3: number;
  readonly loss_percent: number;
  /** Simplification error, mm, an estimate; and the least room left on any face in the field, mm. */
  readonly error_mm: number;
  readonly least_room_mm: number;
  /** Rounds of retreat that the certificate needed. */
  readonly retreats: number;
  readonly certificate: Certificate | undefined;
  readonly notes: readonly Note[];
}

export const SEED_DEFAULTS = { faces: 20_000, fairing: 3 } as const;

/** Loss, percent, above which a note says so. */
const LOSS_STATED = 0.3;
const RETREATS = 10;
const LET_OUT_PASSES = 4;
/** Retreat this much farther than asked, mm: more than the certificate's rounding. */
const BEYOND = 0.004;

/**
 * Makes the seed mesh of { body >= 0 }. Faults: `seed-empty` when there is nothing to mesh, `seed-not-solid` when no way gave a closed mesh
 * that does not cross itself, `seed-not-clear` when it cannot be drawn clear of the obstacles.
 */
export async function seedMesh(body: Field, options: SeedOptions, context: Context): Promise<Seed> {
  const fieldVolume = volume(body);
  if (!(fieldVolume > 0))
    throw new Fault({
      code: 'seed-empty',
      what: 'There is no volume to make a seed mesh of.',
      hint: 'Ask for less clearance or a smaller least radius.',
    });
  const lib = await loadSolids(options.locateWasm);
  const room = new Room(body);
  const most = options.error ?? body.grid.step / 2;
  const tried: string[] = [];
  for (const attempt of ATTEMPTS) {
    checkCancelled(context);
    context.progress('seed mesh', tried.length / ATTEMPTS.length);
    const made = await makeOnce(room, { ...attempt, most, options, lib });
    let cleared = await clear(made.mesh, options.obstacles ?? [], context);
    // What untangles may come too near again, and the other way round.
    for (let turn = 0; turn < 3 && selfCrossings(made.mesh, 1).length > 0; turn++) {
      untangle(made.mesh, room);
      const again = await clear(made.mesh, options.obstacles ?? [], context);
      cleared = { ...again, retreats: cleared.retreats + again.retreats };
    }
    const fault = solidFault(made.mesh, lib);
    if (fault === undefined) {
      context.progress('seed mesh', 1);
      return describe(made, cleared, { room, fieldVolume, faces: options.faces ?? SEED_DEFAULTS.faces });
    }
    tried.push(`${attempt.name}: ${fault}`);
  }
  throw new Fault({
    code: 'seed-not-solid',
    what: 'No closed seed mesh could be made that does not cross itself.',
    got: tried.join('; '),
    hint: 'Use a smaller step, or a larger least radius: thin webs of less than a cell cannot be meshed.',
    exit: 1,
  });
}

/** Ways to make it, best first: share of the error allowed, and the library that simplifies. */
const ATTEMPTS = [
  { name: 'edge collapse', share: 1, solid: false },
  { name: 'edge collapse, half the error', share: 0.5, solid: false },
  { name: 'solid simplification', share: 0.5, solid: true },
  { name: 'no simplification', share: 0, solid: false },
] as const;

interface Way {
  readonly share: number;
  readonly solid: boolean;
  readonly most: number;
  readonly options: SeedOptions;
  readonly lib: ManifoldToplevel;
}

interface Made {
  readonly mesh: Mesh;
  readonly error: number;
}

async function makeOnce(room: Room, way: Way): Promise<Made> {
  const { options, share, most, lib } = way;
  const faces = options.faces ?? SEED_DEFAULTS.faces;
  const fairing = options.fairing ?? SEED_DEFAULTS.fairing;
  const limit = most * share;
  // A first go on the border itself tells how large an error the face count needs; the inset follows it.
  const draft = surface(room.field, 0);
  const needed = limit === 0 ? 0 : (await simplify(draft, faces, limit)).error;
  const inset = Math.min(limit, 1.2 * needed);
  const full = inset === 0 ? draft : surface(room.field, inset);
  // A body thinner than the inset is gone at that level: mesh its border and draw it in.
  const start = full.indices.length === 0 ? draft : full;
  fair(start, room, fairing, inset / 2);
  let made: Made = { mesh: start, error: 0 };
  if (limit > 0 && triangleCount(start) > faces)
    made = way.solid ? { mesh: simplifySolid(start, Math.max(inset, 1e-3), lib), error: inset } : await simplify(start, faces, limit);
  drawIn(made.mesh, room, 0);
  untangle(made.mesh, room);
  letOut(made.mesh, room, 0, LET_OUT_PASSES);
  return made;
}

/** Undefined when the mesh is a solid, else what is wrong. */
function solidFault(mesh: Mesh, lib: ManifoldToplevel): string | undefined {
  const c = closedness(mesh);
  if (triangleCount(mesh) === 0) return 'nothing left';
  if (!c.ok) return `${c.badEdges} bad edges, ${c.badVertices} bad vertices`;
  const status = solidStatus(mesh, lib);
  if (status !== 'NoError') return status;
  const crossings = selfCrossings(mesh);
  if (crossings.length > 0) return `${crossings.length} pairs of faces cross`;
  return meshVolume(mesh) > 0 ? undefined : 'faces point inwards';
}

interface Cleared {
  readonly certificate: Certificate | undefined;
  readonly retreats: number;
}

/**
 * Moves the faces that miss a clearance away from the obstacle, by what they lack, until the certificate passes. Changes
 * `mesh.positions`. Throws a Fault `seed-not-clear` when that does not end.
 */
async function clear(mesh: Mesh, obstacles: readonly CertificateObstacle[], context: Context): Promise<Cleared> {
  if (obstacles.length === 0 || !closedness(mesh).ok) return { certificate: undefined, retreats: 0 };
  const prepared = obstacles.map((o) => prepareObstacle(o, context));
  const { positions: p, indices: t } = mesh;
  for (let retreats = 0; ; retreats++) {
    const { certificate, misses } = await certifyPrepared(mesh, prepared, context);
    if (certificate.pass) return { certificate, retreats };
    if (retreats === RETREATS || misses.length === 0) throw notClear(certificate);
    const normals = vertexNormals(mesh);
    const lack = new Float64Array(p.length / 3);
    const by = new Float64Array(p.length);
    for (const m of misses) {
      // Away from the obstacle's nearest point; from inside a solid, or where they touch, against the face's normal.
      const away =
        m.distance > 1e-3 ? [0, 1, 2].map((a) => (m.at[a] - m.on[a]) / Math.hypot(...m.at.map((x, b) => x - m.on[b]))) : undefined;
      for (let i = 0; i < 3; i++) {
        const v = t[3 * m.face + i];
        if (m.shortfall + BEYOND <= lack[v]) continue;
        lack[v] = m.shortfall + BEYOND;
        for (let a = 0; a < 3; a++) by[3 * v + a] = (away ? away[a] : -normals[3 * v + a]) * lack[v];
      }
    }
    for (let i = 0; i < p.length; i++) p[i] += by[i];
  }
}

function notClear(certificate: Certificate): Fault {
  const bad = certificate.obstacles.filter((o) => !o.pass);
  return new Fault({
    code: 'seed-not-clear',
    what: 'The seed mesh cannot be drawn clear of every obstacle.',
    got: bad.map((o) => `${o.name}: ${o.closest_mm?.toFixed(2)} mm (${o.relation})`).join(', '),
    expected: bad.map((o) => `${o.name}: ${o.asked_mm} mm`).join(', '),
    hint: 'Use a smaller step for the envelope.',
    exit: 1,
  });
}

interface Facts {
  readonly room: Room;
  readonly fieldVolume: number;
  readonly faces: number;
}

function describe(made: Made, cleared: Cleared, { room, fieldVolume, faces }: Facts): Seed {
  const { mesh, error } = made;
  const own = meshVolume(mesh);
  const loss = 100 * (1 - own / fieldVolume);
  const count = triangleCount(mesh);
  const notes: Note[] = [];
  if (Math.abs(loss) > LOSS_STATED)
    notes.push({ code: 'seed-loss', text: `The seed mesh holds ${loss.toFixed(1)} % less than the body that it was made from.` });
  if (count > 1.05 * faces)
    notes.push({
      code: 'seed-faces',
      text: `The seed mesh has ${count} faces, more than the ${faces} asked: fewer would take a larger error.`,
    });
  return {
    mesh,
    faces: count,
    area_mm2: meshArea(mesh),
    volume_mm3: own,
    field_volume_mm3: fieldVolume,
    loss_percent: loss,
    error_mm: error,
    least_room_mm: room.ofFaces(mesh).least.reduce((a, b) => Math.min(a, b), Infinity),
    retreats: cleared.retreats,
    certificate: cleared.certificate,
    notes,
  };
}

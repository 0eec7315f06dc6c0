import { type Mesh, meshBox } from '../core/mesh.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { type Box3, boxCentre, boxSize, cross, dot, growBox, intersectBox, isEmptyBox, sub, type Vec3 } from '../core/vec.ts';
import { boresIn } from '../fit/bores.ts';
import type { BoreResult, TubeResult } from '../fit/result.ts';
import { findTubesTask, isRing, type Tube } from '../fit/tubes.ts';
import type { JobTubes } from '../job/schema-tubes.ts';
import { standOff } from '../space/slack.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** How far round the envelope tubes are followed, mm: enough to see a diameter and an axis. */
const ROUND = 60;

/** The round tubes that cross or border the envelope, and the bores that they need in it. `holes`: through-holes of the envelope. */
export async function findBores(
  asked: JobTubes,
  space: Space,
  { envelope, holes }: { envelope: Mesh; holes: number },
  run: Run,
): Promise<TubeResult[]> {
  const box = growBox(meshBox(envelope), ROUND);
  const able = space.obstacles.filter((s) => s.triangles > 0 && !isEmptyBox(intersectBox(s.box, box)));
  const options = { noise: asked.noise, diameters: [asked.least, asked.most] as const, box: withRoom(box) };
  const found = await run.context.pool.map(
    findTubesTask,
    able.map((s) => ({ mesh: facesInwards(s.mesh) ? flipped(s.mesh) : s.mesh, options })),
  );
  const out: TubeResult[] = [];
  found.forEach((all, i) => {
    const scan = able[i];
    // What closes on itself is a rim or a hoop; neither runs through a body.
    const tubes = all.filter((t) => !isRing(t));
    const bores = boresIn(space.envelope, tubes, standOff(scan));
    tubes.forEach((t, index) => {
      const own = bores.filter((b) => b.tube === index);
      if (own.length > 0) out.push(tubeResult(scan.name, t, own, scan.settings.comes_off));
    });
  });
  const enclosed = out.reduce((n, t) => n + t.bores.filter((b) => b.enclosed).length, 0);
  if (enclosed !== holes)
    run.notes.push({
      code: 'holes-and-bores',
      text: `The envelope has ${holes} through-holes, of which ${enclosed} could be told to be round tubes: the others go round parts of another shape.`,
    });
  return out.sort((a, b) => cost(b) - cost(a));
}

/**
 * Whether a scan's faces point to its own middle on the whole: the volume that they enclose about it, open or not, is negative. Some exports
 * have all their faces the wrong way round, and a tube seen from inside is taken for a bore.
 */
export function facesInwards(mesh: Mesh): boolean {
  const { positions: p, indices: t } = mesh;
  const middle = sub(boxCentre(meshBox(mesh)), mesh.origin);
  let sum = 0;
  for (let i = 0; i < t.length; i += 3) {
    const [a, b, c] = [0, 1, 2].map((v): Vec3 => sub([p[3 * t[i + v]], p[3 * t[i + v] + 1], p[3 * t[i + v] + 2]], middle));
    sum += dot(a, cross(b, c));
  }
  return sum < 0;
}

const flipped = (mesh: Mesh): Mesh => ({ ...mesh, indices: mesh.indices.slice().reverse() });

const cost = (t: TubeResult): number => t.bores.reduce((sum, b) => sum + b.cost_l, 0);

/** A box that is not flat in any direction. */
const withRoom = (box: Box3): Box3 => (Math.min(...boxSize(box)) > 0 ? box : growBox(box, 1));

function tubeResult(scan: string, t: Tube, bores: ReturnType<typeof boresIn>, comesOff: boolean): TubeResult {
  return {
    scan,
    diameter_mm: t.diameter,
    diameter_error_mm: t.diameterError,
    nearest_sizes: t.sizes,
    arc_seen_deg: t.arcSeen,
    axis: t.axis,
    length_mm: t.length,
    straights_mm: t.straights.map((s) => s.length),
    bends: t.bends.map((b) => ({ at_mm: b.at, radius_mm: b.radius, angle_deg: b.angle })),
    comes_off: comesOff,
    bores: bores.map(
      (b): BoreResult => ({
        bore_mm: b.diameter,
        from_mm: b.from,
        to_mm: b.to,
        length_mm: b.length,
        enclosed: b.enclosed,
        open_deg: b.openAngle,
        cost_l: b.cost / MM3_PER_LITRE,
        web_mm: Number.isFinite(b.web) ? b.web : null,
        web_at_mm: b.webAt,
      }),
    ),
  };
}

import { allocateF32, type Context } from '../core/context.ts';
import { Fault, type Note } from '../core/fault.ts';
import { type Field, sampleField } from '../core/field.ts';
import { joinMeshes, type Mesh, meshArea } from '../core/mesh.ts';
import { MM_PER, MM3_PER_LITRE } from '../core/units.ts';
import { type Box3, boxSize, scale, type Vec3 } from '../core/vec.ts';
import { lowerToDistance } from '../field/distance.ts';
import { volume } from '../field/integrate.ts';
import { surface } from '../field/surface.ts';
import { guessUnit, VEHICLE_MM } from '../job/guess.ts';
import type { Job } from '../job/job.ts';
import { borderLoops } from '../scan/borders.ts';
import { closeLoop } from '../scan/caps.ts';
import { sampleSurface } from '../scan/place-samples.ts';
import { SurfaceTree } from '../scan/place-tree.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { type LoopSurvey, type ScanSurvey, surveyTask } from '../scan/survey.ts';
import { closeInsides } from '../space/insides.ts';
import { rollBall } from '../space/roll.ts';
import { standOff } from '../space/slack.ts';
import { loadScans } from './load.ts';
import { type Files, Run } from './run.ts';
import { findSpace, type Space, type SpaceOptions } from './space.ts';

/** A border and how far the envelope is from it. */
export interface NearLoop extends LoopSurvey {
  /** From the envelope's surface to the border, mm; null beyond FAR. */
  readonly from_envelope_mm: number | null;
  /** Width of the opening: four times the area of a flat patch over it by its length. */
  readonly width_mm: number;
}

/** What the scans of a job do to its envelope. Litres, mm. */
export interface EnvelopeSurvey {
  readonly volume_l: number;
  /** Obstacles by the share of the envelope's surface that they bound, largest first; the region's border among them. */
  readonly bounded_by: readonly { readonly name: string; readonly percent: number }[];
  /** Openings near the envelope, the widest first: rescan here. */
  readonly rescan: readonly NearLoop[];
  /** Share of the envelope's surface that lies within reach of such an opening. */
  readonly border_in_doubt_percent: number;
  /** Litres of it where the scans leave open whether they lie inside an obstacle, and which. */
  readonly undecided_inside: readonly { readonly name: string; readonly volume_l: number }[];
  /** Litres that would go if every one of them were closed flat. */
  readonly in_doubt_l: number;
}

export interface Survey {
  readonly scans: readonly ScanSurvey[];
  /** Unit that the scans together look like, and why. */
  readonly unit: { readonly used: string; readonly likely: string; readonly sure: boolean; readonly reason: string };
  /** Null without a job, or when the job has no envelope (a note says why). */
  readonly envelope: EnvelopeSurvey | null;
  readonly notes: readonly Note[];
}

/** Farther from the envelope a border does not matter, mm. */
const FAR = 60;
/** A border as wide as this belongs to the scan's own outline, not to a hole, mm. */
const WIDEST_HOLE = 80;
/** How much farther than its stand-off a border may be and still be called near, mm. */
const MARGIN = 5;
/** Places on the envelope's surface that are asked what bounds them. */
const PLACES = 4000;

/** Looks over the scans of a job, or with `scansOnly` of a list of scans that no job holds together. */
export async function survey(
  job: Job,
  files: Files,
  context: Context,
  options: SpaceOptions & { scansOnly?: boolean } = {},
): Promise<Survey> {
  const run = new Run(context);
  const space = options.scansOnly ? null : await spaceOrNote(job, files, run, options);
  const scans = space?.scans ?? (await loadScans(job, files, run, { anySize: true })).scans;
  let done = 0;
  const surveys = await Promise.all(
    scans.map(async (s) => {
      const [found] = await context.pool.map(surveyTask, [s]);
      context.progress('survey', ++done / (scans.length + 1));
      return found;
    }),
  );
  const envelope = space ? await surveyEnvelope(space, run) : null;
  run.done('survey');
  return { scans: surveys, unit: unitOf(scans, options.scansOnly === true), envelope, notes: run.notes };
}

/** A job without an envelope still has scans to look over: the reason becomes a note. */
async function spaceOrNote(job: Job, files: Files, run: Run, options: SpaceOptions): Promise<Space | null> {
  try {
    return await findSpace(job, files, run, options);
  } catch (error) {
    // Files that cannot be read, or a cancelled run, end it as they do everywhere.
    if (!(error instanceof Fault) || !WITHOUT_ENVELOPE.has(error.code)) throw error;
    const { what, hint } = error.detail;
    run.notes.splice(0, run.notes.length, {
      code: 'survey-no-envelope',
      text: `There is no envelope: ${what}${hint ? ` Try: ${hint}.` : ''}`,
    });
    return null;
  }
}

const WITHOUT_ENVELOPE: ReadonlySet<string> = new Set([
  'no-envelope',
  'start-blocked',
  'start-outside',
  'region-empty',
  'scans-outside-region',
  'scan-units',
  'scan-inside-out',
]);

/** Parts that are surveyed by themselves are smaller than a vehicle; below this a file in mm is odd, mm. */
const PART_MM = 50;

function unitOf(scans: readonly Scan[], scansOnly: boolean): Survey['unit'] {
  const { min, max } = boxOfScans(scans);
  const used = scans[0].unit;
  // The numbers as they stand in the files.
  const box: Box3 = { min: scale(min, 1 / MM_PER[used]), max: scale(max, 1 / MM_PER[used]) };
  const { unit, sure, reason } = guessUnit(box);
  const long = Math.max(...boxSize({ min, max }));
  if (scansOnly && unit !== used && long >= PART_MM && long < VEHICLE_MM.least)
    return { used, likely: used, sure: false, reason: `${Math.round(long)} mm across, which a part by itself may be` };
  return { used, likely: unit, sure, reason };
}

/** An opening of an obstacle and the flat patch over it. */
interface Hole {
  readonly scan: Scan;
  readonly loop: NearLoop;
  readonly patch: Mesh;
}

async function surveyEnvelope(space: Space, run: Run): Promise<EnvelopeSurvey> {
  const mesh = surface(space.envelope, 0);
  const places = placesOn(mesh);
  const holes = findHoles(space, mesh);
  const full = volume(space.envelope);
  const copy: Field = { grid: space.grid, data: space.envelope.data.slice() };
  const { undecided } = await closeInsides(copy, space.obstacles, space.job.least_radius / 2, run.context);
  return {
    volume_l: full / MM3_PER_LITRE,
    bounded_by: boundedBy(space, places),
    rescan: holes.map((h) => h.loop),
    border_in_doubt_percent: (100 * doubtfulShare(holes, places)) / places.length,
    undecided_inside: [...undecided].map(([name, cells]) => ({ name, volume_l: (cells * space.step ** 3) / MM3_PER_LITRE })),
    in_doubt_l: Math.max(0, full - (await closedVolume(space, holes, run.context))) / MM3_PER_LITRE,
  };
}

function placesOn(mesh: Mesh): Vec3[] {
  const { points, count } = sampleSurface(mesh, PLACES, 3);
  return Array.from(
    { length: count },
    (_, i): Vec3 => [points[i * 3] + mesh.origin[0], points[i * 3 + 1] + mesh.origin[1], points[i * 3 + 2] + mesh.origin[2]],
  );
}

/** At each place the obstacle with the least slack, or the region's border where that is nearer still, takes a share. */
function boundedBy({ obstacles, coarseRegion, job }: Space, places: readonly Vec3[]): EnvelopeSurvey['bounded_by'] {
  const least = places.map((p) => sampleField(coarseRegion, p));
  const who = new Int32Array(places.length).fill(-1);
  obstacles.forEach((s, o) => {
    const near = new SurfaceTree(s.mesh);
    const off = standOff(s);
    places.forEach((p, i) => {
      // No slack on the surface is more than the ball's radius.
      const limit = Math.min(least[i], job.least_radius * 2) + off;
      const d = limit > 0 ? near.distance(p, limit) : limit;
      if (d < limit) {
        least[i] = d - off;
        who[i] = o;
      }
    });
  });
  const count = new Map<number, number>();
  for (const w of who) count.set(w, (count.get(w) ?? 0) + 1);
  return [...count]
    .sort((a, b) => b[1] - a[1] || a[0] - b[0])
    .map(([w, n]) => ({ name: w < 0 ? 'the border of the region' : obstacles[w].name, percent: (100 * n) / places.length }));
}

/** Openings of the obstacles that come near the envelope, widest first. */
function findHoles({ obstacles, step }: Space, envelope: Mesh): Hole[] {
  const near = new SurfaceTree(envelope);
  const holes: Hole[] = [];
  for (const scan of obstacles) {
    if (scan.points > 0) continue;
    const reach = standOff(scan) + step + MARGIN;
    for (const loop of borderLoops(scan.mesh)) {
      if (loop.vertices.length < 4) continue;
      const every = Math.max(1, Math.floor(loop.vertices.length / 200));
      let least = FAR;
      for (let i = 0; i < loop.vertices.length && least > 0.5; i += every)
        least = near.distance(vertex(scan.mesh, loop.vertices[i]), least);
      if (least > reach) continue;
      const patch: Mesh = { ...scan.mesh, indices: closeLoop(scan.mesh, loop.vertices) };
      const width = (4 * meshArea(patch)) / loop.length;
      if (width > WIDEST_HOLE || width < step / 2) continue;
      const thin = Math.ceil(loop.vertices.length / 64);
      const corners = loop.vertices.filter((_, i) => i % thin === 0).map((v) => vertex(scan.mesh, v));
      holes.push({
        scan,
        patch: compacted(patch),
        loop: {
          scan: scan.name,
          at_mm: loop.at,
          length_mm: loop.length,
          across_mm: loop.across,
          points_mm: corners,
          from_envelope_mm: least,
          width_mm: width,
        },
      });
    }
  }
  return holes.sort((a, b) => b.loop.width_mm * b.loop.length_mm - a.loop.width_mm * a.loop.length_mm);
}

const vertex = (m: Mesh, v: number): Vec3 => [
  m.origin[0] + m.positions[v * 3],
  m.origin[1] + m.positions[v * 3 + 1],
  m.origin[2] + m.positions[v * 3 + 2],
];

/** Only the vertices that the triangles use. */
function compacted({ origin, positions, indices }: Mesh): Mesh {
  const place = new Map<number, number>();
  for (const v of indices) if (!place.has(v)) place.set(v, place.size);
  const out = new Float32Array(place.size * 3);
  for (const [v, i] of place) out.set(positions.subarray(v * 3, v * 3 + 3), i * 3);
  return { origin, positions: out, indices: indices.map((v) => place.get(v)!) };
}

/** How many of the places lie within reach of an opening: its obstacle's stand-off and half its width. */
function doubtfulShare(holes: readonly Hole[], places: readonly Vec3[]): number {
  const doubtful = new Uint8Array(places.length);
  for (const { scan, patch, loop } of holes) {
    const near = new SurfaceTree(patch);
    const reach = standOff(scan) + loop.width_mm / 2;
    places.forEach((p, i) => {
      if (!doubtful[i] && near.distance(p, reach) < reach) doubtful[i] = 1;
    });
  }
  return doubtful.reduce((n, d) => n + d, 0);
}

/** Volume of the envelope with a flat patch, kept clear of as its obstacle is, over every opening, mm3. */
async function closedVolume(space: Space, holes: readonly Hole[], context: Context): Promise<number> {
  const { free, job, start } = space;
  const data = allocateF32(context.pool, free.data.length);
  data.set(free.data);
  const field: Field = { grid: free.grid, data };
  const groups = new Map<number, Mesh[]>();
  for (const h of holes) groups.set(standOff(h.scan), [...(groups.get(standOff(h.scan)) ?? []), h.patch]);
  const radius = job.least_radius;
  for (const [offset, patches] of groups)
    await lowerToDistance(field, joinMeshes(patches), { levels: [offset, offset + radius], offset }, context);
  // Where a patch lies over the start itself, the largest ball leads on.
  const from = [start.cell, space.root].find((c) => data[c] >= radius);
  return from === undefined ? 0 : volume(await rollBall(field, radius, [from], context));
}

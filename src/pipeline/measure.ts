import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCentre, cellCount } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { type Moments, moments } from '../field/integrate.ts';
import { surface } from '../field/surface.ts';
import type { Job } from '../job/job.ts';
import type { CoarseInput } from '../report/coarse.ts';
import { CAUTIONS, RESULT_VERSION, type Result } from '../report/result.ts';
import type { Scan } from '../scan/scan.ts';
import { addDoubts } from './doubts.ts';
import type { DrawnInput } from './drawn.ts';
import { measureEnvelope, measureReclaimed } from './envelope.ts';
import { findHoles } from './holes.ts';
import { leadPassages } from './passages.ts';
import { type Files, Run } from './run.ts';
import { findSpace, type SpaceOptions } from './space.ts';
import { stow } from './stowage.ts';
import { fillTank } from './tank.ts';
import { findBores } from './tubes.ts';
import { bodyOfWay, findWays, spaceOfWay } from './ways.ts';

export type { Files, JobFile } from './run.ts';

export interface MeasureOptions extends SpaceOptions {
  readonly version?: string;
}

/** The result, and beside it what is written or drawn. */
export interface Measured {
  readonly result: Result;
  readonly scans: readonly Scan[];
  readonly envelope: Mesh;
  readonly cavity: Mesh | null;
  /** The part of the envelope that goes the way in that the job names; null when the body is the whole of it. */
  readonly body: Mesh | null;
  readonly fields: { readonly free: Field; readonly envelope: Field; readonly cavity: Field | null };
  /** What the page's dials work from, see coarseFields. */
  readonly coarse: CoarseInput;
  /** What else is drawn, see drawnParts. */
  readonly drawn: DrawnInput;
}

/**
 * The main job: from scan files to the free envelope, the reclaimed volume and a tank's litres.
 * Throws a Fault with exit 2 for bad input and with exit 3 when there is no envelope.
 */
export async function measure(job: Job, files: Files, context: Context, options: MeasureOptions = {}): Promise<Measured> {
  const run = new Run(context);
  const space = await findSpace(job, files, run, options);
  const ways = job.ways_in ? await findWays(job.ways_in, space, run) : null;
  if (ways) run.done('ways in');
  const body = ways ? await spaceOfWay(space, ways, run) : space;
  let whole: Moments | undefined;
  const measures = (): Moments => {
    whole ??= moments(space.envelope);
    return whole;
  };
  // The questions need nothing of each other: those with long tasks first.
  const [tank, given, envelope] = await Promise.all([
    job.tank ? run.beside('tank', fillTank(job.tank, body, run, body === space ? measures : undefined)) : null,
    run.beside('reclaimed', measureReclaimed(space, run)),
    run.beside('necks', measureEnvelope(space, measures(), run)),
  ]);
  const reclaimed = given && envelope.bounds(given[0], given[1]);
  if (tank) run.notes.push(...tank.tank.notes);
  const stowage = job.stowage ? await stow(job.stowage, space, ways, run) : null;
  if (stowage) run.done('stowage');
  const bored = { envelope: envelope.mesh, holes: envelope.result.through_holes };
  const tubes = job.tubes ? await findBores(job.tubes, space, bored, run) : null;
  if (tubes) run.done('tubes');
  const routes = job.passages.length > 0 ? await leadPassages(job.passages, space, envelope.mesh, run) : null;
  if (routes) run.done('passages');
  const holes = await run.beside('holes', findHoles(space, envelope.mesh, run));
  const cavity = tank?.cavity ?? null;
  const chosen = ways?.chosen;
  const drawnBody = chosen
    ? { field: await bodyOfWay(space, chosen, context, space.double.envelope), kept_percent: chosen.keptPercent }
    : undefined;
  addDoubts(run.notes, space);
  const { grid, free, start } = space;
  const result: Result = {
    version: RESULT_VERSION,
    tool: { name: 'voidgauge', version: options.version ?? 'unknown' },
    job,
    inputs: space.inputs,
    grid: {
      step_mm: space.step,
      dims: [grid.nx, grid.ny, grid.nz],
      cells: cellCount(grid),
      memory_mb: Math.round(space.memory / 1e6),
      change_at_double_step_l: envelope.change / MM3_PER_LITRE,
      skin_step_mm: space.skinStep,
    },
    accuracy: { mm: space.accuracy.mm, less_sure: space.accuracy.lessSure },
    timings_s: run.timings,
    envelope: envelope.result,
    ...(reclaimed ? { reclaimed: { volume_l: reclaimed } } : {}),
    ...(tank ? { tank: tank.tank } : {}),
    ...(stowage ? { stowage } : {}),
    ...(ways ? { ways_in: ways.ways, ways_search: ways.search } : {}),
    ...(tubes ? { tubes } : {}),
    ...(routes ? { routes } : {}),
    ...(space.before ? { before: { job: space.before.state.job, inputs: space.before.state.inputs } } : {}),
    ...(run.datum ? { datum: run.datum } : {}),
    ...(run.placings.length > 0 ? { placings: run.placings } : {}),
    holes,
    notes: run.notes,
    cautions: CAUTIONS,
  };
  return {
    result,
    scans: space.scans,
    envelope: envelope.mesh,
    cavity: cavity ? surface(cavity, 0) : null,
    body: body === space ? null : surface(body.envelope, 0),
    fields: { free, envelope: space.envelope, cavity },
    coarse: { region: space.coarseRegion, obstacles: space.obstacles, start: cellCentre(grid, start.cell) },
    drawn: { space, necks: envelope.necks, body: drawnBody },
  };
}

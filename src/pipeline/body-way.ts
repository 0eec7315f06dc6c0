import { type Context, checkCancelled } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellAt, cellCentre } from '../core/grid.ts';
import { meshBox } from '../core/mesh.ts';
import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { type Box3, growBox, scale, type Vec3 } from '../core/vec.ts';
import type { RoughSlack } from '../fit/body-tree.ts';
import { outlooks, surfacePoints } from '../fit/body-way.ts';
import { type Narrow, narrowPlaces } from '../fit/narrows.ts';
import { AT_REST, type Pose, rowsOf } from '../fit/pose.ts';
import { roomOf } from '../fit/room.ts';
import type { FollowedWay, PathPose, TurnedWay, WayOfBody } from '../fit/trial.ts';
import { turnIn } from '../fit/turn-in.ts';
import type { Job } from '../job/job.ts';
import { completeWays } from '../job/schema-ways.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { isObstacle } from '../space/slack.ts';
import { GapJudge } from './gap-judge.ts';
import type { Nearness } from './nearness.ts';
import type { Run } from './run.ts';
import { slidingObstacles } from './ways.ts';

/** Directions that are followed to the open before it is given up. */
const FOLLOWED = 3;
/** Shortest and longest step while a body is followed, mm. */
const LEAST_STEP = 0.5;
const MOST_STEP = 25;
/**
 * Cells by which the surroundings' slack may be off: half a cell of the distance, and between the cells the mean distance to a cell's
 * corners, at most half its diagonal.
 */
const ROUGH = 0.5 + Math.sqrt(3) / 2;

/**
 * Whether a body slides in: the most promising directions of the sweep are followed from the seat to the open. At each place the body may be
 * shifted on by its least slack without meeting anything, whatever the direction, so nothing is missed between places but for the shortest
 * step (conservative advancement; Mirtich, Impulse-based Dynamic Simulation, 1996: recalled).
 */
export async function bodyWay(
  near: Nearness,
  crossed: boolean,
  { job, scans }: { job: Job; scans: readonly Scan[] },
  run: Run,
): Promise<WayOfBody> {
  const asked = job.ways_in || completeWays(true);
  if (!asked) throw new Error('the defaults ask for ways in');
  const present = scans.filter(isObstacle);
  const late = new Set(present.filter((s) => asked.put_on[s.name]).map((s) => s.name));
  const staying = present.filter((s) => !s.settings.comes_off && !late.has(s.name));
  const off = present.filter((s) => !staying.includes(s)).map((s) => s.name);
  const head = { clearance_mm: asked.clearance, off };
  if (crossed) return { ...head, works: null, tried: [], turned: null, put_on: [] };
  const judgeOf = (names: readonly string[], rough?: RoughSlack): GapJudge =>
    new GapJudge(near, { names: new Set(names), clearance: asked.clearance, within: MOST_STEP, ...(rough ? { rough } : {}) }, run.context);
  const follow = (d: Vec3, judge: GapJudge): FollowedWay => followed(judge, d, toTheOpen(near, scans, d));
  const tried: FollowedWay[] = [];
  let judge: GapJudge | undefined;
  let narrows: readonly Narrow[] = [];
  let points: Float32Array = new Float32Array(0);
  if (staying.length > 0) {
    const { obstacles, grid } = await slidingObstacles(asked, { scans, step: job.step, job }, run.context);
    const room = roomOf(obstacles, near.field, run.context);
    points = surfacePoints(near.body, grid.step);
    const candidates = await outlooks(room.slack, points, { directions: asked.directions, count: FOLLOWED }, run.context);
    judge = judgeOf(
      staying.map((s) => s.name),
      { field: room.slack, error: ROUGH * grid.step },
    );
    if (job.fit.turn_in) narrows = narrowPlaces(room.slack, freestCell(room.slack, near), boxOfScans(staying));
    for (const c of candidates) {
      checkCancelled(run.context);
      tried.push(follow(c.direction, judge));
      if (tried[tried.length - 1].works) break;
    }
  }
  tried.sort((a, b) => Number(b.works) - Number(a.works) || b.travel_mm - a.travel_mm);
  const putOn: WayOfBody['put_on'][number][] = [];
  // Taken off again, the part moves against its direction: as seen from the part, the body moves along it.
  for (const part of late) putOn.push({ part, ...follow(asked.put_on[part], judgeOf([part])) });
  const straight = staying.length === 0 || tried.some((t) => t.works);
  const seconds = straight ? false : job.fit.turn_in;
  const directions = tried.map((t) => t.direction);
  const search = { seconds: seconds || 0, clearance: asked.clearance, directions, narrows, points };
  const turned = judge && seconds ? await turnedIn(near, judge, { ...search, surroundings: boxOfScans(staying) }, run.context) : null;
  const works = (straight || turned?.works === true) && putOn.every((p) => p.works);
  return { ...head, works, tried, turned, put_on: putOn };
}

/** Room beyond the clearance that a way with turns is to have, if there is one, mm: a hand moves no truer than that. */
const SPARES = [0.5, 1.5, 4];

interface TurnSearch {
  readonly seconds: number;
  readonly clearance: number;
  readonly directions: readonly Vec3[];
  readonly narrows: readonly Narrow[];
  readonly points: Float32Array;
  readonly surroundings: Box3;
}

/** The search with shifts and turns, past everything that stays on. */
async function turnedIn(
  near: Nearness,
  judge: GapJudge,
  { seconds, clearance, surroundings, ...search }: TurnSearch,
  context: Context,
): Promise<TurnedWay> {
  const begin = performance.now();
  const found = await turnIn({
    gapAt: async (pose, floor) => judge.gap(pose, floor),
    centre: near.centre,
    radius: near.radius,
    surroundings: growBox(surroundings, clearance),
    ...search,
    spares: SPARES,
    more: () => {
      checkCancelled(context);
      const share = (performance.now() - begin) / 1000 / seconds;
      context.progress('ways in', Math.min(share, 1));
      return share < 1;
    },
  });
  const { tightest } = found;
  const placeOf = (pose: Pose): PathPose => ({
    shift_mm: pose.shift,
    turn_deg: scale(pose.turn, 1 / RADIANS_PER_DEGREE),
    rows: rowsOf(pose, near.centre),
  });
  return {
    works: found.path !== null,
    seconds,
    moves_tried: found.moves,
    poses_reached: found.poses,
    path: (found.path ?? []).map(placeOf),
    least_slack_mm: tightest.slack,
    at_least_mm: tightest.atLeast,
    tightest: placeOf(tightest.pose),
    obstacle: tightest.obstacle ?? null,
    at_mm: tightest.at ?? null,
  };
}

/** The cell inside the body with the most room round it. */
function freestCell({ grid, data }: Field, { field, centre }: Nearness): number {
  let best = cellAt(grid, centre);
  let most = -Infinity;
  for (let c = 0; c < data.length; c++)
    if (data[c] > most && sampleField(field, cellCentre(grid, c)) > 0) {
      most = data[c];
      best = c;
    }
  return best;
}

/** How far along d the body has to slide until it has left the box of all scans behind, mm. */
function toTheOpen(near: Nearness, scans: readonly Scan[], d: Vec3): number {
  const reach = (b: Box3, sign: 1 | -1): number => d.reduce((sum, v, a) => sum + Math.max(sign * v * b.min[a], sign * v * b.max[a]), 0);
  return Math.max(0, reach(boxOfScans(scans), 1) + reach(meshBox(near.body), -1));
}

/** `clear`: shifted so far, it is in the open, mm. */
function followed(judge: GapJudge, direction: Vec3, clear: number): FollowedWay {
  let travel = 0;
  let before = Number.NaN;
  let step = 0;
  let proved = Infinity;
  let worst: { slack: number; obstacle?: string; at?: Vec3; after: number } = { slack: Infinity, after: 0 };
  for (;;) {
    const found = judge.gap({ ...AT_REST, shift: scale(direction, travel) });
    if (found.slack < worst.slack) worst = { ...found, after: travel };
    proved = Math.min(proved, found.slack, Number.isNaN(before) ? Infinity : (before + found.slack - step) / 2);
    if (found.slack < 0 || travel >= clear) break;
    before = found.slack;
    step = Math.min(Math.max(found.slack, LEAST_STEP), Math.max(clear - travel, LEAST_STEP));
    travel += step;
  }
  return {
    direction,
    works: worst.slack >= 0,
    travel_mm: Math.min(travel, clear),
    least_slack_mm: worst.slack,
    at_least_mm: proved,
    least_after_mm: worst.after,
    obstacle: worst.obstacle ?? null,
    at_mm: worst.at ?? null,
  };
}

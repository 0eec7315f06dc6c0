import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { digestedSource } from '../../cli/files.ts';
import { threadPool } from '../../cli/pool.ts';
import type { Context } from '../../src/core/context.ts';
import { cellCentre, gridBox } from '../../src/core/grid.ts';
import { sphereOfDirections } from '../../src/fit/directions.ts';
import { type Room, roomOf } from '../../src/fit/room.ts';
import { sharesAlong, waysIn } from '../../src/fit/ways.ts';
import { parseJob } from '../../src/job/job.ts';
import { Run } from '../../src/pipeline/run.ts';
import { findSpace } from '../../src/pipeline/space.ts';
import { slidingObstacles } from '../../src/pipeline/ways.ts';
import { printTable, type Seconds, short, timed } from './timing.ts';

const SAMPLES = fileURLToPath(new URL('../../samples', import.meta.url));
const DIRECTIONS = 200;
const WORKERS = 2;

export interface WaysFigures {
  readonly directions: number;
  /** Cells of the surroundings, and of the piece of them round the envelope. */
  readonly cells: number;
  readonly over: number;
  /** Distances to all scans; the first round over the sphere alone; the whole question after the distances. */
  readonly distances: Seconds;
  readonly sphere: Seconds;
  readonly whole: Seconds;
}

/** The ways in of the demo, on two threads: 200 directions alone, and everything. */
export async function benchWays(runs: number): Promise<WaysFigures | null> {
  if (!existsSync(join(SAMPLES, 'scans', 'frame.ply'))) {
    console.log('\nthe ways in are left out: run "npm run demo" once, which makes the scans');
    return null;
  }
  const pool = threadPool(WORKERS);
  const context: Context = { pool, progress: () => {}, cancelled: () => false };
  const job = parseJob(readFileSync(join(SAMPLES, 'quad-full.yaml'), 'utf8'), 'quad-full.yaml');
  const asked = job.ways_in;
  if (!asked) throw new Error('the demo asks for ways in');
  const space = await findSpace(job, { open: (name) => digestedSource(join(SAMPLES, name)) }, new Run(context));
  const near = { ...space, also: gridBox(space.grid) };
  const { obstacles } = await slidingObstacles(asked, near, context);
  const distances = await timed(
    1,
    () => slidingObstacles(asked, near, context),
    (s) => s.obstacles.length,
  );
  const room: Room = roomOf(obstacles, space.envelope, context);
  const sphere = await timed(
    runs,
    () => sharesAlong(room, sphereOfDirections(DIRECTIONS), context),
    (shares) => shares.reduce((sum, s) => sum + s.keptPercent, 0),
  );
  const input = { obstacles, envelope: space.envelope, start: cellCentre(space.grid, space.start.cell), leastRadius: job.least_radius };
  const whole = await timed(
    runs,
    () => waysIn(input, context, { directions: DIRECTIONS }),
    (w) => w.shares.length,
  );
  await pool.close();
  const row = (name: string, s: Seconds): string[] => [name, short(s.wall), short(s.cpu)];
  printTable(
    `ways in of the demo, ${WORKERS} threads, ${room.slack.data.length} cells, ${room.body.data.length} of them round the envelope`,
    ['', 'wall s', 'cpu s'],
    [row('distances to all scans', distances), row(`${DIRECTIONS} directions alone`, sphere), row('all but the distances', whole)],
  );
  return { directions: DIRECTIONS, cells: room.slack.data.length, over: room.body.data.length, distances, sphere, whole };
}

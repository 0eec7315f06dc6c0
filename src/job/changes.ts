import * as z from 'zod';
import { nearestWord } from '../core/fault.ts';
import { type Job, parseJob } from './job.ts';
import { faultOf, problemsOf } from './problems.ts';
import { readYaml } from './read-yaml.ts';
import { length, section, share } from './schema-parts.ts';

const changes = section({
  clearances: z.record(z.string(), length({ least: 0 }), { error: 'clearances in mm by the names of obstacles' }).optional(),
  least_radius: length({ above: 0 }).optional(),
  wall: length({ above: 0 }).optional(),
  ullage: share(0.5).optional(),
});

/** What of a job the page's dials turn: clearances of obstacles by name, least radius and wall in mm, ullage as a share. */
export type JobChanges = z.input<typeof changes>;

/**
 * The job with what the text (JSON or YAML) of its changes says in place of its own; strict. Throws a Fault that names what cannot be.
 */
export function changedJob(job: Job, text: string): Job {
  const source = readYaml(text, 'changes');
  const read = changes.safeParse(source.value);
  if (!read.success) throw faultOf(problemsOf(read.error, source), source);
  const { clearances = {}, least_radius = job.least_radius, wall, ullage } = read.data;
  const names = Object.keys(job.scans).filter((name) => job.scans[name].role === 'obstacle');
  for (const name of Object.keys(clearances))
    if (!names.includes(name)) {
      const near = nearestWord(name, names);
      const what = `The job has no obstacle "${name}".`;
      throw faultOf(
        [{ path: ['clearances', name], atKey: true, code: 'changes-scan', what, hint: near && `did you mean ${near}?` }],
        source,
      );
    }
  const { tank } = job;
  if (tank === false && (wall !== undefined || ullage !== undefined))
    throw faultOf(
      [
        {
          path: [wall === undefined ? 'ullage' : 'wall'],
          code: 'changes-tank',
          what: 'The job asks for no tank, so it has no wall and no ullage.',
        },
      ],
      source,
    );
  const scans = Object.fromEntries(
    Object.entries(job.scans).map(([name, s]) => [name, { ...s, clearance: clearances[name] ?? s.clearance }]),
  );
  const changed = { ...job, least_radius, scans, tank: tank && { ...tank, wall: wall ?? tank.wall, ullage: ullage ?? tank.ullage } };
  // What the job's own rules say of it holds for the changed one as well.
  return parseJob(JSON.stringify(changed), 'changed job');
}

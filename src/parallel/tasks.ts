import type { Task } from '../core/context.ts';

/**
 * Where a worker finds a task: by the word before the first dot of its name, in the exports of that file. A file is loaded with its
 * first task, since all of them together (a library of trees among them) took a new worker 0.27 s of processor time more.
 */
const FILES: Readonly<Record<string, () => Promise<object>>> = {
  distance: () => import('../field/distance.ts'),
  inside: () => import('../field/inside.ts'),
  sweep: () => import('../field/sweep.ts'),
  holes: () => import('../scan/holes.ts'),
  smooth: () => import('../scan/smooth.ts'),
  survey: () => import('../scan/survey.ts'),
  moving: () => import('../field/moving.ts'),
  insides: () => import('../space/insides.ts'),
  skin: () => import('../space/skin.ts'),
  spout: () => import('../space/spout.ts'),
  roll: () => import('../space/roll.ts'),
  reclaimed: () => import('../space/envelope.ts'),
  tank: () => import('../fill/tank.ts'),
  charts: () => import('../fill/charts.ts'),
  study: () => import('../fill/study.ts'),
  stand: () => import('../fill/stand.ts'),
  largest: () => import('../stow/largest.ts'),
  blocks: () => import('../stow/blocks.ts'),
  items: () => import('../stow/items.ts'),
  tubes: () => import('../fit/tubes.ts'),
  ways: () => import('../fit/ways.ts'),
  obstacle: () => import('../fit/obstacle.ts'),
  way: () => import('../fit/way-body.ts'),
  body: () => import('../fit/body-way.ts'),
  make: () => import('../make/approach.ts'),
  simplify: () => import('../make/simplify.ts'),
};

/** A task with arguments A takes nothing else, and only its caller knows A: hence `never`. */
type AnyTask = Task<never, unknown>;

const found = new Map<string, AnyTask>();

/** The task of that name. Throws a plain Error when there is none: a mistake of the program, never of its user. */
export async function findTask(name: string): Promise<AnyTask> {
  const known = found.get(name);
  if (known) return known;
  const file = await FILES[name.split('.')[0]]?.();
  const task = Object.values(file ?? {}).find((value): value is AnyTask => isTask(value) && value.name === name);
  if (!task) throw new Error(`no task is called "${name}"`);
  found.set(name, task);
  return task;
}

const isTask = (value: unknown): value is AnyTask =>
  typeof value === 'object' && value !== null && 'name' in value && 'run' in value && typeof value.run === 'function';

import type { Task } from '../core/context.ts';
import { depthTask, evaluateTask, planeTask, splatTask } from '../field/distance.ts';
import { latticeTask } from '../field/inside.ts';
import { sweepTask } from '../field/sweep.ts';
import { keptTask } from '../fit/ways.ts';
import { approachTask } from '../make/approach.ts';

/** Every task that a worker may be asked for. A task with arguments A takes nothing else, hence `never`: only its own caller knows A. */
const all: readonly Task<never, unknown>[] = [
  splatTask,
  planeTask,
  depthTask,
  evaluateTask,
  latticeTask,
  sweepTask,
  keptTask,
  approachTask,
];

/** The tasks by name: the one thing that a worker of any kind has to load. */
export const tasks: ReadonlyMap<string, Task<never, unknown>> = new Map(all.map((task) => [task.name, task]));

/**
 * The stages of a run in their order, with the share of the time that each takes on the sample quad at 2 mm on two cores (taken
 * from the timings in its result). Only the bar hangs on them: a run of another shape shows a less even pace, nothing worse.
 */
const STAGES: readonly (readonly [name: string, share: number])[] = [
  ['reading scans', 15],
  ['clearances', 35],
  ['region', 15],
  ['envelope', 10],
  ['volume by radius', 5],
  ['necks', 5],
  ['reclaimed', 5],
  ['tank', 5],
  ['surfaces', 3],
  ['files', 2],
];

/** Turns "this stage is so far" into the stage at work and the share of the whole run that is done, 0..1. */
export function wholeRun(): (stage: string, done: number) => { stage: string; done: number } {
  const total = STAGES.reduce((sum, [, share]) => sum + share, 0);
  let reached = 0;
  return (stage, done) => {
    const i = STAGES.findIndex(([name]) => name === stage);
    if (i < 0) return { stage, done: reached };
    const before = STAGES.slice(0, i).reduce((sum, [, share]) => sum + share, 0);
    reached = Math.max(reached, (before + STAGES[i][1] * done) / total);
    // A finished stage means that the next one is at work.
    return { stage: done >= 1 ? (STAGES[i + 1]?.[0] ?? stage) : stage, done: reached };
  };
}

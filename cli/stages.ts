/**
 * The stages of a run in their order, with the share of the time that each takes on the sample quad at 2 mm on two cores (taken
 * from the timings in its result). Only the bar hangs on them: a run of another shape shows a less even pace, nothing worse.
 */
export const STAGES: readonly (readonly [name: string, share: number])[] = [
  ['reading scans', 7],
  ['region', 28],
  ['clearances', 10],
  ['envelope', 9],
  ['at twice the step', 3],
  ['ways in', 0],
  ['cavity', 8],
  ['reclaimed', 8],
  ['necks', 8],
  ['tank', 14],
  ['stowage', 0],
  ['tubes', 0],
  ['passages', 0],
  ['holes', 1],
  ['survey', 0],
  ['combinations', 0],
  ['sharing out', 0],
  ['seed mesh', 0],
  ['certificate', 0],
  ['sections', 0],
  ['rib kit', 0],
  ['parts to print', 0],
  ['mould', 0],
  ['closest approach', 0],
  ['settling', 0],
  ['files', 9],
];

/** Stages of a survey of scans without a job. */
export const SCANS_ONLY: typeof STAGES = [
  ['reading scans', 1],
  ['survey', 4],
];

/** Turns "this stage is so far" into the stage at work and the share of the whole run that is done, 0..1. */
export function wholeRun(stages = STAGES): (stage: string, done: number) => { stage: string; done: number } {
  const total = stages.reduce((sum, [, share]) => sum + share, 0);
  let reached = 0;
  let current = 0;
  return (stage, done) => {
    const i = stages.findIndex(([name]) => name === stage);
    if (i < 0) return { stage, done: reached };
    const before = stages.slice(0, i).reduce((sum, [, share]) => sum + share, 0);
    reached = Math.max(reached, (before + stages[i][1] * done) / total);
    // A finished stage means that the next one is at work, unless it is one that few runs have; a stage that is used again within a later one does not turn the bar back.
    current = Math.max(current, done >= 1 && (stages[i + 1]?.[1] ?? 0) > 0 ? i + 1 : i);
    return { stage: stages[current][0], done: reached };
  };
}

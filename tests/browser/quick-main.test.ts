import { beforeAll, expect, test } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { type Measured, measure } from '../../src/pipeline/measure.ts';
import { coarseFields, readCoarse } from '../../src/report/coarse.ts';
import { type Dials, Quick, type QuickResult } from '../../viewer/quick.ts';
import { JOB, RADIUS, STL } from './plates.ts';

// The dials turned on the fields of one run, against a run whose job asks for the same.
const source = { ...bytesSource('plates.stl', STL), digest: async () => '' };
const run = (job: string): Promise<Measured> => measure(parseJob(job, 'job.yaml'), { open: async () => source }, inlineContext);
const FIRST: Dials = { clearance: 0, clearances: {}, radius: RADIUS, wall: 4, ullage: 0.05, pitch: 0, lean: 0, fill: 1 };

let quick: Quick;
/** The outlets that the first run proposed, as a job names them. */
let outlets: string;
beforeAll(async () => {
  const { result, coarse } = await run(JOB);
  const { header, bytes } = await coarseFields(coarse, inlineContext);
  const settings = { accuracy: result.job.accuracy, vents: result.tank?.vent_mm, pickups: result.tank?.pickup_mm };
  outlets = `vents: ${JSON.stringify(settings.vents)}, pickups: ${JSON.stringify(settings.pickups)}`;
  quick = new Quick(readCoarse(header, Uint8Array.from(bytes).buffer), settings);
});

test.each([
  ['clearance', { clearance: 4 }, 'clearance: 5', 'clearance: 9'],
  ['least radius', { radius: 25 }, `least_radius: ${RADIUS}`, 'least_radius: 25'],
  ['wall', { wall: 7 }, 'wall: 4', 'wall: 7'],
  ['ullage', { ullage: 0.15 }, 'ullage: 5 %', 'ullage: 15 %'],
  ['attitude', { pitch: 12, lean: -7 }, 'fluid: petrol', 'fluid: petrol, attitudes: [{ pitch: 12, lean: -7 }], OUTLETS'],
])('turned to another %s: the main job lies within the bounds of the quick figures', async (_name, change, from, to) => {
  const { tank, envelope } = (await run(JOB.replace(from, to).replace('OUTLETS', outlets))).result;
  let last: QuickResult | undefined;
  for await (const r of quick.turn({ ...FIRST, ...change }, inlineContext)) last = r;
  const pairs = [
    [last?.envelope_l, envelope.volume_l],
    [last?.tank?.brim_l, tank?.brim_l],
    [last?.tank?.rated_l, tank?.rated_l],
    [last?.tank?.ullage_l, tank?.ullage_l],
    [last?.tank?.wall_l, tank?.wall_l],
    [last?.tank?.usable_l, tank?.usable_l],
  ] as const;
  for (const [mine, theirs] of pairs) {
    if (!mine || !theirs) throw new Error('a figure is missing');
    expect(mine.low).toBeLessThanOrEqual(theirs.value);
    expect(mine.high).toBeGreaterThanOrEqual(theirs.value);
  }
  // Not by wide bounds alone.
  for (const [mine, theirs] of pairs.slice(0, 3)) expect(Math.abs((mine?.value ?? 0) / (theirs?.value ?? 1) - 1)).toBeLessThan(0.02);
});

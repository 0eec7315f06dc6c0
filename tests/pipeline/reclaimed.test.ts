import { expect, it } from 'vitest';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { measure } from '../../src/pipeline/measure.ts';
import { boxesStl } from '../cli/run.ts';
import { LID, WALLS, X0, Y0, Y1, Z0, Z1 } from './room.ts';

/** A closed room, one end of which a part filled: its volume is what came free. */
const FILES: Record<string, Uint8Array> = {
  walls: boxesStl(...WALLS, LID),
  part: boxesStl([X0, Y0, Z0, X0 + 100, Y1, Z1]),
};

it.each(['{ scan: part, within: 200 }', '{ scan: walls, within: 200 }', 'false'])(
  'the reclaimed volume, and the start in the void, whatever the region stays near to: %s',
  async (near) => {
    const job = parseJob(
      `voidgauge: 1\nstep: 5\nleast_radius: 8\ntank: false\nscans:\n  walls: { file: walls, clearance: 0 }\n  part: { file: part, role: removed, clearance: 0 }\nregion: { skin: false, near: ${near}, box: { min: [-130, -100, 380], max: [130, 100, 540] } }`,
      'job.yaml',
    );
    const { result } = await measure(
      job,
      { open: async (name) => ({ ...bytesSource(name, FILES[name]), digest: async () => '' }) },
      inlineContext,
    );
    expect(Math.abs((result.reclaimed?.volume_l.value ?? 0) / 1.92 - 1)).toBeLessThan(0.02);
    expect(result.envelope.start_from).toBe('the void where the removed part was');
  },
);

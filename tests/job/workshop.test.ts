import { describe, expect, it } from 'vitest';
import { type Job, parseJob } from '../../src/job/job.ts';

const job = (make: string): Job => parseJob(`voidgauge: 1\nscans:\n  frame: { file: frame.ply }\nmake: ${make}\n`, 'bike.yaml');
const faultOf = (make: string) => {
  try {
    job(make);
  } catch (e) {
    return e;
  }
  throw new Error('no fault');
};

describe('sections, drawing and ribs in a job', () => {
  it('are left out unless asked for', () => {
    expect(job('{}').make).toMatchObject({ sections: false, drawing: false, ribs: false });
  });

  it('true takes every default; settings stand, with units', () => {
    const all = job('{ sections: true, drawing: true, ribs: true }').make;
    expect(all.sections).toEqual({ axis: [1, 0, 0], every: 50, at: null, round: 60, tolerance: 0.1 });
    expect(all.drawing).toEqual({ paper: 'A3' });
    expect(all.ribs).toMatchObject({ thickness: 3, sheet: [600, 400], hand_hole: [90, 30], along: null });
    const own = job(
      '{ sections: { axis: [0, 3, 4], at: [10, 2 cm] }, ribs: { thickness: 0.125 in, along: z, hand_hole: false, sheet: [1 m, 500] } }',
    ).make;
    expect(own.sections).toMatchObject({ axis: [0, 0.6, 0.8], at: [10, 20] });
    expect(own.ribs).toMatchObject({ thickness: 3.175, along: [0, 0, 1], hand_hole: false, sheet: [1000, 500] });
  });

  it('a complete job written out is the same job when read again', () => {
    const once = job('{ sections: { axis: [1, 2, 3] }, drawing: { paper: A4 }, ribs: { along: [1, 1, 0] } }');
    expect(parseJob(JSON.stringify(once), 'again.json')).toEqual(once);
  });

  it('what is wrong is a fault that says where', () => {
    expect(faultOf('{ sections: { evry: 10 } }')).toMatchObject({ detail: { where: expect.stringContaining('bike.yaml:4') } });
    expect(faultOf('{ sections: { every: 0 } }')).toMatchObject({ detail: { expected: expect.stringContaining('more than 0 mm') } });
    expect(faultOf('{ sections: { axis: [0, 0, 0] } }')).toMatchObject({ detail: { expected: expect.stringContaining('not zero') } });
    expect(faultOf('{ drawing: { paper: A0 } }')).toMatchObject({ detail: { expected: expect.stringContaining('A4 or A3') } });
    expect(faultOf('{ ribs: { sheet: 600 } }')).toMatchObject({ detail: { expected: expect.stringContaining('[width, height]') } });
  });
});

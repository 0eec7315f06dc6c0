import { describe, expect, it } from 'vitest';
import { type Job, parseJob } from '../../src/job/job.ts';
import { onlyOutputs } from '../../src/job/schema-make.ts';

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

describe('moulds, printing and what is made, in a job', () => {
  it('are left out unless asked for; defaults, units and prices', () => {
    expect(job('{}').make).toMatchObject({ of: 'envelope', print: false, mould: false });
    const { print, mould } = job('{ print: true, mould: { cutter: 0.25 in, pull: z, prices: { foam_sheet: 28.5 } } }').make;
    expect(print).toEqual({ volume: [220, 220, 220], peg_diameter: 8, peg_length: 10, gap: 0.2, wall: 3 });
    expect(mould).toMatchObject({
      process: 'rotomoulded',
      cutter: 6.35,
      pull: [0, 0, 1],
      machine: null,
      shrinkage: null,
      foam: [1000, 500, 50],
    });
    expect(mould).toMatchObject({ prices: { currency: '', foam_sheet: 28.5, block_litre: null, rib_sheet: null } });
  });

  it('a complete job written out is the same job when read again', () => {
    const once = job(
      '{ formats: [], print: { volume: [1, 2, 3 m] }, mould: { pull: [1, 2, 3], prices: { currency: EUR } } }'.replace(
        '[1, 2,',
        '[100, 200,',
      ),
    );
    expect(parseJob(JSON.stringify(once), 'again.json')).toEqual(once);
  });

  it('what cannot be made is told before anything is read, with file, line and column', () => {
    const at = (make: string) => ({ detail: { where: expect.stringMatching(/^bike\.yaml:4:\d+$/) }, code: make });
    expect(faultOf('{ of: body }')).toMatchObject(at('make-body'));
    expect(faultOf('{ ribs: { sheet: [600, 65] } }')).toMatchObject(at('job-ribs-sheet'));
    expect(faultOf('{ ribs: { spacing: 20, sheet: [600, 29] } }')).toMatchObject(at('job-ribs-sheet'));
    expect(job('{ ribs: { spacing: 20, sheet: [600, 31] } }').make.ribs).toMatchObject({ spacing: 20 });
    expect(faultOf('{ ribs: { spacing: 9 } }')).toMatchObject(at('job-ribs-spacing'));
    expect(faultOf('{ print: { volume: [220, 220, 26] } }')).toMatchObject(at('job-print-volume'));
    expect(faultOf('{ mould: { process: spun } }')).toMatchObject({ detail: { expected: expect.stringContaining('rotomoulded') } });
    const bare = 'voidgauge: 1\nscans:\n  frame: { file: frame.ply }\ntank: false\nmake: { of: cavity }\n';
    expect(() => parseJob(bare, 'bike.yaml')).toThrow(expect.objectContaining({ code: 'make-cavity' }));
    expect(parseJob(`${bare.replace('cavity', 'body')}ways_in: true\n`, 'bike.yaml').make.of).toBe('body');
  });

  it('flags pick outputs: as the job sets them, else by default, and nothing else', () => {
    const { make } = job('{ formats: [ply], slack: true, ribs: { spacing: 80 }, sections: true, faces: 900 }');
    expect(onlyOutputs(make, ['ribs', 'mould'])).toMatchObject({
      faces: 900,
      formats: [],
      slack: false,
      sections: false,
      drawing: false,
      print: false,
      ribs: { spacing: 80 },
      mould: { cutter: 6 },
    });
    expect(onlyOutputs(make, ['seed', 'step-file']).formats).toEqual(['ply', 'step']);
    expect(onlyOutputs(make, ['step-file']).formats).toEqual(['step']);
    expect(onlyOutputs(job('{ formats: [] }').make, ['seed', 'drawing', 'print', 'slack', 'sections'])).toMatchObject({
      formats: ['stl', 'glb', '3mf'],
      drawing: { paper: 'A3' },
      print: { peg_diameter: 8 },
      slack: true,
      sections: { every: 50 },
      mould: false,
    });
  });
});

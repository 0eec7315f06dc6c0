import { describe, expect, it } from 'vitest';
import * as z from 'zod';
import { Fault } from '../../src/core/fault.ts';
import { FLUIDS, JOB_DEFAULTS } from '../../src/job/defaults.ts';
import { type Job, jobSchema, parseJob } from '../../src/job/job.ts';

const HEAD = 'voidgauge: 1\nscans:\n  frame: frame.ply\n';

/** The fault that a job's text gives. */
function faultOf(text: string): Fault {
  try {
    parseJob(text, 'quad.yaml');
  } catch (error) {
    if (error instanceof Fault) return error;
    throw error;
  }
  throw new Error(`no fault for: ${text}`);
}

const FULL = `
voidgauge: 1
name: hill quad
units: m
step: 0.1 cm
accuracy: 0.1
memory: 900 MB
clearance: 1/4 in
`.replace('1/4 in', '0.25 in');

describe('a job with nothing but scans', () => {
  const job = parseJob(`${HEAD}  airbox: { file: airbox.stl, role: removed }\n`, 'dir/quad.yaml');

  it('gets the documented defaults', () => {
    expect(job.name).toBe('quad');
    expect([job.units, job.step, job.accuracy, job.memory, job.clearance, job.least_radius]).toEqual(['mm', 2, 0.25, 2, 5, 8]);
    expect(job.region).toEqual({
      skin: 150,
      near: { scan: ['airbox'], within: 50 },
      box: null,
      half_spaces: [],
      outline: null,
      inside: null,
    });
    expect(job.scans['frame']).toMatchObject({ file: 'frame.ply', role: 'obstacle', clearance: 5, solid: 'auto', doubt: 0, motion: [] });
    expect(job.tank).toMatchObject({ wall: 4, ullage: 0.05, fluid: { name: 'petrol', density: 745 } });
  });

  it('has no nearness when nothing was removed', () => {
    expect(parseJob(HEAD, 'q.yaml').region.near).toBe(false);
  });
});

describe('lengths, shares and memory', () => {
  const read = (text: string): Job => parseJob(FULL + text, 'q.yaml');
  it('take a unit', () => {
    const job = read(
      'scans: { a: { file: a.obj, clearance: 15, doubt: 1.5 mm }, b: b.stl }\nstart: [1 cm, 2, 1 in]\ntank: { wall: 0.3 cm, ullage: 8 % }\n',
    );
    expect(job.step).toBe(1);
    expect(job.memory).toBeCloseTo(0.9, 12);
    expect(job.clearance).toBeCloseTo(6.35, 12);
    expect([job.scans['a'].clearance, job.scans['b'].clearance]).toEqual([15, job.clearance]);
    expect(job.start).toEqual([10, 2, 25.4]);
    expect(job.tank).toMatchObject({ wall: 3, ullage: 0.08 });
  });
});

describe('a written-out job', () => {
  const texts = {
    bare: HEAD,
    full: `${FULL}
scans:
  frame: { file: f.ply, groups: main, note: hot, units: in, place: { move: [1, 2, 3], turn: [10, 20, 30] } }
  wheel: { file: w.glb, motion: [{ slide: { along: [0, 1, 2], from: -80, to: 0 } }, { turn: { about: [[0, 0, 0], [0, 0, 9]], from: -35, to: 35 } }] }
  seat: { file: s.stl, role: mates, comes_off: true, solid: sheet }
  bay: { file: b.3mf, role: ignore }
region:
  skin: false
  near: false
  box: { min: [-1, -2, -3], max: [4, 5, 6], turn: [0, 0, 30] }
  half_spaces: [{ at: [0, 0, 0], normal: [1, 1, 1] }]
  outline: { axis: y, points: [[0, 0], [100, 0], [50, 80]], from: -20 }
  inside: bay
barriers: [{ at: [0, 0, 0], normal: [0, 3, 0], radius: 40 }]
start: [1, 1, 1]
tank: { process: welded_aluminium, fluid: { name: E10, density: 750, expansion: 0.00125 } }
`,
    noTank: `${HEAD}tank: false\n`,
  };
  for (const [name, text] of Object.entries(texts))
    it(`is plain JSON and reads back the same: ${name}`, () => {
      const job = parseJob(text, 'q.yaml');
      const json = JSON.stringify(job);
      expect(JSON.parse(json)).toEqual(job);
      expect(parseJob(json, 'other.yaml')).toEqual(job);
    });
});

describe('faults', () => {
  it.each<[string, string, string, Partial<Fault['detail']>]>([
    ['an unknown key', `${HEAD}regoin: {}\n`, '4:1', { code: 'job-unknown-key', hint: 'did you mean "region"?' }],
    [
      'a dash for an underscore',
      `${HEAD}region:\n  half-spaces: []\n`,
      '5:3',
      { code: 'job-unknown-key', hint: 'did you mean "half_spaces"?' },
    ],
    [
      'an unknown key in a scan',
      'voidgauge: 1\nscans:\n  a: { file: a.ply,\n       clearence: 4 }\n',
      '4:8',
      { code: 'job-unknown-key', hint: 'did you mean "clearance"?' },
    ],
    [
      'an unknown key in a fluid',
      `${HEAD}tank: { fluid: { density: 800, expansoin: 0.001, expansion: 0.001 } }\n`,
      '4:32',
      { code: 'job-unknown-key' },
    ],
    [
      'an unknown key in near',
      `${HEAD}region: { near: { scan: frame, withn: 3 } }\n`,
      '4:32',
      { code: 'job-unknown-key', hint: 'did you mean "within"?' },
    ],
    ['a length that is none', `${HEAD}step: 2 furlongs\n`, '4:7', { code: 'job-value', got: '2 furlongs' }],
    ['a decimal comma', `${HEAD}step: 2,5\n`, '4:7', { code: 'job-value', hint: 'write decimals with a point' }],
    ['a step of nothing', `${HEAD}step: 0\n`, '4:7', { code: 'job-value', expected: 'a length of more than 0 mm' }],
    ['a clearance below nothing', `${HEAD}clearance: -1\n`, '4:12', { code: 'job-value', expected: 'a length of at least 0 mm' }],
    ['not a number', `${HEAD}step: .nan\n`, '4:7', { code: 'job-value' }],
    ['an endless length', `${HEAD}region: { skin: .inf }\n`, '4:17', { code: 'job-value' }],
    ['percent without its sign', `${HEAD}tank: { ullage: 5 }\n`, '4:17', { code: 'job-value', hint: 'write "5 %" if percent was meant' }],
    ['a misspelt fluid', `${HEAD}tank: { fluid: petorl }\n`, '4:16', { code: 'job-value', hint: 'did you mean "petrol"?' }],
    [
      'a density in the wrong unit',
      `${HEAD}tank: { fluid: { density: 0.745, expansion: 0.0012 } }\n`,
      '4:27',
      { code: 'job-value', hint: 'in g/cm3 or kg/l? Multiply by 1000' },
    ],
    [
      'a misspelt role',
      'voidgauge: 1\nscans: { a: { file: a.ply, role: removd } }\n',
      '2:34',
      { code: 'job-value', hint: 'did you mean "removed"?' },
    ],
    ['a spelt-out unit', `${HEAD}units: metres\n`, '4:8', { code: 'job-value', hint: 'write "m"' }],
    [
      'yes for true',
      'voidgauge: 1\nscans: { a: { file: a.ply, comes_off: yes } }\n',
      '2:39',
      { code: 'job-value', hint: 'write true or false' },
    ],
    ['a scan without a file', 'voidgauge: 1\nscans:\n  a: { role: removed }\n', '3:6', { code: 'job-missing-key' }],
    ['a point of two numbers', `${HEAD}start: [1, 2]\n`, '4:8', { code: 'job-value' }],
    ['a direction of no length', `${HEAD}barriers: [{ at: [0, 0, 0], normal: [0, 0, 0], radius: 3 }]\n`, '4:37', { code: 'job-value' }],
    ['another version', `voidgauge: 2\nscans: { a: a.ply }\n`, '1:12', { code: 'job-value', got: '2' }],
    ['no version', `scans: { a: a.ply }\n`, '1:1', { code: 'job-missing-key' }],
    ['an empty file', '', '1:1', { code: 'job-missing-key', what: 'The job file is empty.' }],
    ['only comments', '# nothing\n', '1:1', { code: 'job-missing-key' }],
    ['a list for a job', '- a\n- b\n', '1:1', { code: 'job-value' }],
    ['no scans', 'voidgauge: 1\nscans: {}\n', '2:8', { code: 'job-no-scans' }],
    ['only a removed part', 'voidgauge: 1\nscans: { a: { file: a.ply, role: removed } }\n', '2:8', { code: 'job-no-obstacle' }],
    ['a name that is no name', 'voidgauge: 1\nscans: { "7": a.ply }\n', '2:10', { code: 'job-name' }],
    ['a name that is a number', 'voidgauge: 1\nscans: { 7: a.ply }\n', '2:10', { code: 'job-yaml' }],
    ['a name that reaches into the prototype', 'voidgauge: 1\nscans: { __proto__: a.ply, b: b.ply }\n', '2:10', { code: 'job-yaml' }],
    [
      'nearness to no scan',
      `${HEAD}region:\n  near: { scan: farme }\n`,
      '5:17',
      { code: 'job-unknown-scan', hint: 'did you mean "frame"?' },
    ],
    ['inside of no scan', `${HEAD}region: { inside: bay }\n`, '4:19', { code: 'job-unknown-scan' }],
    [
      'a mate with a clearance',
      'voidgauge: 1\nscans: { a: { file: a.ply, role: mates, clearance: 3 } }\n',
      '2:52',
      { code: 'job-mates-clearance' },
    ],
    ['a box that is turned about', `${HEAD}region: { box: { min: [0, 0, 9], max: [1, 1, 1] } }\n`, '4:16', { code: 'job-box-empty' }],
    ['a region without an end', `${HEAD}region: { skin: false }\n`, '4:9', { code: 'job-no-region' }],
    [
      'an outline that crosses itself',
      `${HEAD}region: { outline: { axis: z, points: [[0, 0], [9, 9], [9, 0], [0, 9]] } }\n`,
      '4:39',
      { code: 'job-value' },
    ],
    ['an outline without an axis', `${HEAD}region: { outline: { points: [[0, 0], [9, 9], [9, 0]] } }\n`, '4:20', { code: 'job-value' }],
    [
      'a start outside the box',
      `${HEAD}region: { box: { min: [0, 0, 0], max: [9, 9, 9] } }\nstart: [5, 5, 10]\n`,
      '5:8',
      { code: 'job-start-outside' },
    ],
    [
      'a start behind a plane',
      `${HEAD}region: { half_spaces: [{ at: [0, 0, 5], normal: [0, 0, 1] }] }\nstart: [0, 0, 4]\n`,
      '5:8',
      { code: 'job-start-outside' },
    ],
    ['two of a key', `${HEAD}step: 1\nstep: 2\n`, '5:1', { code: 'job-yaml', hint: 'give each key once' }],
    ['a tab', `voidgauge: 1\nscans:\n\ta: b\n`, '3:1', { code: 'job-yaml' }],
    ['an open bracket', `${HEAD}start: [1, 2\n`, '5:1', { code: 'job-yaml' }],
    ['an alias of nothing', `${HEAD}start: *here\n`, '4:8', { code: 'job-yaml' }],
    ['two jobs', `${HEAD}---\nvoidgauge: 1\n`, '4:1', { code: 'job-yaml' }],
    [
      'a hinge that opens backwards',
      'voidgauge: 1\nscans: { a: { file: a, motion: { turn: { about: [[0,0,0],[0,0,1]], from: 5, to: 1 } } } }\n',
      '2:74',
      { code: 'job-value' },
    ],
    [
      'a joint that is both',
      'voidgauge: 1\nscans: { a: { file: a, motion: {} } }\n',
      '2:32',
      { code: 'job-value', expected: 'either "turn" or "slide"' },
    ],
  ])('%s', (_, text, at, detail) => {
    const fault = faultOf(text);
    expect(fault.detail.where).toBe(`quad.yaml:${at}`);
    expect(fault.detail).toMatchObject(detail);
    expect(fault.exit).toBe(2);
  });

  it('are all listed, first one first', () => {
    const text = faultOf(`${HEAD}stepp: 3\ntank: { wall: thick }\nstart: here\n`).toText();
    expect(text.split('\n')[0]).toBe('quad.yaml:4:1: There is no key "stepp".');
    expect(text).toContain('quad.yaml:5:15: "tank.wall"');
    expect(text).toContain('quad.yaml:6:8: "start"');
  });

  it('stop aliases that multiply', () => {
    const bomb = `a: &a [x, x, x, x, x, x, x, x, x, x]\n${'bcdefghi'.replace(/./g, (k) => `${k}: &${k} [${Array(9).fill(`*${String.fromCharCode(k.charCodeAt(0) - 1)}`)}]\n`)}`;
    expect(faultOf(bomb).code).toBe('job-yaml');
  });
});

describe('figures behind the defaults', () => {
  /** Factor from volume at 15 C: ASTM D1250-80 Table 54B, VCF = exp(-a dT (1 + 0.8 a dT)). */
  const vcf = (a: number, rise: number): number => Math.exp(-a * rise * (1 + 0.8 * a * rise));

  it('expansion of petrol and diesel is that of ASTM D1250-80 Table 54B (seen in independent programs, the standard itself not)', () => {
    expect(FLUIDS.petrol.expansion).toBeCloseTo(0.0012132, 7);
    // A rise of 16.4 K (petrol) or 23.3 K (diesel) from 15 C uses up 2 % of a full tank.
    expect(vcf(FLUIDS.petrol.expansion, 16.4)).toBeCloseTo(0.98, 4);
    expect(vcf(FLUIDS.diesel.expansion, 23.3)).toBeCloseTo(0.98, 4);
  });

  it('petrol lies in EN 228 (720 to 775 kg/m3), diesel in EN 590 (820 to 845)', () => {
    expect(FLUIDS.petrol.density).toBeGreaterThan(720);
    expect(FLUIDS.petrol.density).toBeLessThan(775);
    expect(FLUIDS.diesel.density).toBeGreaterThan(820);
    expect(FLUIDS.diesel.density).toBeLessThan(845);
  });

  it('water grows from 999.10 to 992.22 kg/m3 between 15 and 40 C (recalled)', () => {
    expect(FLUIDS.water.density / (1 + 25 * FLUIDS.water.expansion)).toBeCloseTo(992.22, 2);
  });
});

describe('the JSON Schema', () => {
  const schema = jobSchema() as Record<string, unknown>;

  /** Every property below `node`, with its path. */
  function properties(node: unknown, path = ''): [string, Record<string, unknown>][] {
    if (typeof node !== 'object' || node === null) return [];
    const own = (node as { properties?: Record<string, Record<string, unknown>> }).properties ?? {};
    const here = Object.entries(own).map(([key, value]): [string, Record<string, unknown>] => [`${path}.${key}`, value]);
    return [...here, ...Object.entries(node).flatMap(([key, value]) => properties(value, key === 'properties' ? path : `${path}.${key}`))];
  }

  it('describes every key', () => {
    const all = properties(schema);
    expect(all.length).toBeGreaterThan(45);
    expect(all.filter(([, value]) => !value['description']).map(([path]) => path)).toEqual([]);
  });

  it('names a unit for every default length', () => {
    for (const key of ['step', 'accuracy', 'clearance', 'least_radius'] as const) {
      const property = (schema['properties'] as Record<string, { description: string; default: unknown }>)[key];
      expect(property.description).toContain('mm');
      expect(property.default).toBe(JOB_DEFAULTS[key]);
    }
  });

  it('refuses what the parser refuses and takes what it takes', () => {
    const check = z.fromJSONSchema(schema as z.core.JSONSchema.JSONSchema);
    expect(check.safeParse({ voidgauge: 1, scans: { frame: 'frame.ply', a: { file: 'a.stl', clearance: '1 in' } } }).success).toBe(true);
    expect(check.safeParse({ voidgauge: 1, scans: { frame: 'frame.ply' }, regoin: {} }).success).toBe(false);
    expect(check.safeParse({ voidgauge: 1 }).success).toBe(false);
    expect(check.safeParse({ voidgauge: 1, scans: { a: { file: 'a.stl', role: 'other' } } }).success).toBe(false);
  });
});

describe('further questions', () => {
  it('are not asked unless the job asks them; true asks with the defaults', () => {
    const none = parseJob(HEAD, 'q.yaml');
    expect([none.stowage, none.ways_in, none.tubes]).toEqual([false, false, false]);
    const all = parseJob(`${HEAD}stowage: true\nways_in: true\ntubes: true\n`, 'q.yaml');
    expect(all.stowage).toMatchObject({ lining: 0, blocks: true, items: [], seconds: 10 });
    expect(all.ways_in).toEqual({ clearance: 2, directions: 200, bodies: 3, put_on: {}, use: null });
    expect(all.tubes).toEqual({ noise: 0.15, least: 8, most: 80 });
  });

  it('a part that is put on afterwards must be a scan; its direction comes out with length 1', () => {
    expect(parseJob(`${HEAD}ways_in: { put_on: { frame: [0, 0, -2] } }\n`, 'q.yaml').ways_in).toMatchObject({
      put_on: { frame: [0, 0, -1] },
    });
    expect(faultOf(`${HEAD}ways_in: { put_on: { seat: [0, 0, -1] } }\n`).detail).toMatchObject({ got: 'seat', expected: 'one of: frame' });
  });

  it('an item is a box or a cylinder, at least once', () => {
    const job = parseJob(
      `${HEAD}stowage: { items: [{ name: kit, size: [1 cm, 20, 30] }, { name: jar, diameter: 70, length: 90, count: 2 }] }\n`,
      'q.yaml',
    );
    expect(job.stowage).toMatchObject({
      items: [
        { size: [10, 20, 30], count: 1 },
        { diameter: 70, length: 90, count: 2 },
      ],
    });
    expect(faultOf(`${HEAD}stowage: { items: [{ name: jar, diameter: 70, length: 90, count: 0 }] }\n`).detail.where).toMatch(
      /^quad.yaml:4:/,
    );
  });
});

describe('the way of making the wall', () => {
  it('gives wall, density, tolerance and least inside radius when it is named; what the job says goes before', () => {
    const tank = (text: string) => parseJob(`${HEAD}tank: ${text}\n`, 'q.yaml').tank;
    expect(tank('{ process: welded_aluminium }')).toMatchObject({ wall: 2.5, wall_density: 2700, wall_tolerance: 0.05, inside_radius: 4 });
    expect(tank('{ process: rotomoulded, wall: 6, inside_radius: 12, wall_tolerance: 10 % }')).toMatchObject({
      wall: 6,
      wall_tolerance: 0.1,
      inside_radius: 12,
    });
    expect(tank('{}')).toMatchObject({ process: null, wall: 4, wall_tolerance: 0, inside_radius: null });
    expect(tank('{}')).toMatchObject({ bores: [], sender: null });
    expect(
      tank(
        '{ bores: [{ points: [[0, 0, 0], [1 cm, 0, 0]], diameter: 1 in }], sender: { pivot: [0, 0, 9], along: [2, 0, 0], arm: 8, from: -60, to: 5 } }',
      ),
    ).toMatchObject({
      bores: [
        {
          points: [
            [0, 0, 0],
            [10, 0, 0],
          ],
          diameter: 25.4,
        },
      ],
      sender: { along: [1, 0, 0], arm: 8, from: -60, to: 5, float_radius: 0 },
    });
    const ways = (text: string) => parseJob(`${HEAD}ways_in: ${text}\n`, 'q.yaml').ways_in;
    expect([ways('true'), ways('{ use: best }'), ways('{ use: [0, 0, 2] }')]).toMatchObject([
      { use: null },
      { use: 'best' },
      { use: [0, 0, 1] },
    ]);
    expect(faultOf(`${HEAD}ways_in: { use: worst }\n`).toText()).toContain('best, or a direction');
  });
});

describe('the search for a way of turning in', () => {
  it('is off unless asked for, in seconds, and nothing else is taken', () => {
    expect(parseJob(HEAD, 'q.yaml').fit.turn_in).toBe(false);
    expect(parseJob(`${HEAD}fit: { turn_in: 20 }\n`, 'q.yaml').fit.turn_in).toBe(20);
    for (const bad of ['0', '-3', 'long', '4000']) {
      const fault = faultOf(`${HEAD}fit: { turn_in: ${bad} }\n`);
      expect(fault.detail.expected).toContain('1 to 3600 seconds');
      expect(fault.detail.where).toContain('quad.yaml:4');
    }
  });
});

describe('passages', () => {
  it('bend at three diameters and join within one unless the job says otherwise', () => {
    const [p] = parseJob(`${HEAD}passages: [{ name: hose, diameter: 1 cm, from: [0, 0, 0], to: [100, 0, 0] }]\n`, 'q.yaml').passages;
    expect(p).toMatchObject({ diameter: 10, clearance: 5, bend_radius: 30, ends: 10, through: true });
    expect(faultOf(`${HEAD}passages: [{ name: hose, from: [0, 0, 0], to: [1, 0, 0] }]\n`).detail.where).toMatch(/^quad.yaml:4:/);
  });
});

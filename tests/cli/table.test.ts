import { describe, expect, it } from 'vitest';
import { boundedText } from '../../cli/lines.ts';
import { wholeRun } from '../../cli/stages.ts';
import { resultTable } from '../../cli/table.ts';
import { fluidOf } from '../../src/fill/fluids.ts';
import { parseJob } from '../../src/job/job.ts';
import { CAUTIONS, type Result } from '../../src/report/result.ts';

const b = (value: number, off: number) => ({ value, low: value - off, high: value + off });

const at = [0, 0, 0] as const;
const TANK: NonNullable<Result['tank']> = {
  outer_l: b(15.947, 0.13),
  wall_l: b(2.06, 0.24),
  cavity_l: b(13.86, 0.2),
  brim_l: b(13.86, 0.2),
  ullage_l: b(0.692, 0.01),
  vapour_l: b(0.692, 0.01),
  rated_l: b(13.167, 0.19),
  stranded_l: b(0.31, 0.02),
  usable_l: b(12.857, 0.19),
  cut_off: [],
  inside_area_dm2: 41.61,
  wetted_area_dm2: 38.2,
  dry_mass_kg: 1.936,
  full_mass_kg: 11.745,
  centre_mm: at,
  dry_centre_mm: at,
  fluid: fluidOf({ name: 'petrol' }),
  ullage_percent: 5,
  ullage_rule: 'share',
  ullage_covers_k: 40.7,
  filler_mm: at,
  vent_mm: [],
  pickup_mm: [],
  proposed: [],
  filling: { pitch_deg: 0, lean_deg: 0, fill_l: b(13.86, 0.2), trapped_l: 0 },
  attitudes: [{ pitch_deg: 15, lean_deg: -20, trapped_l: 0.123, stranded_l: 0.31, usable_l: 12.857 }],
  vent_places: [],
  pickup_places: [],
  second_pickup: null,
  balance_line: null,
  dip: [],
  half_fill: [],
  notes: [],
};

const result = (more: Partial<Result> = {}): Result => ({
  version: 1,
  tool: { name: 'voidgauge', version: '1' },
  job: parseJob('voidgauge: 1\nname: quad\nscans: { frame: frame.ply }\n', 'q.yaml'),
  inputs: [],
  grid: { step_mm: 2, dims: [250, 116, 115], cells: 1, memory_mb: 1, change_at_double_step_l: -0.0188, skin_step_mm: 8 },
  timings_s: {},
  envelope: {
    volume_l: b(15.947, 0.13),
    area_dm2: 42.37,
    box_mm: { min: [0, 0, 0], max: [461, 228, 197] },
    centre_mm: [1, 2, 3],
    pieces: 1,
    through_holes: 3,
    largest_ball: { radius_mm: 81.6, centre_mm: [-323, 7, 644] },
    least_radius_mm: 8,
    start_mm: [-323, 7, 644],
    start_from: 'the void where the removed part was',
    by_radius: Array.from({ length: 20 }, (_, i) => ({ radius_mm: 4 + i, volume_l: 16 - i / 3 })),
    necks: Array.from({ length: 8 }, (_, i) => ({
      at_mm: [i, -57, 670] as const,
      diameter_mm: 28.06,
      behind_l: 2.21,
      passed: i % 2 === 0,
      between: ['a part with a long name', 'another part with a long name'],
    })),
  },
  tank: TANK,
  notes: [],
  cautions: CAUTIONS,
  ...more,
});

describe('figures', () => {
  it.each([
    [b(15.947, 0.13), ['15.9', '15.8', '16.1']],
    [b(15.947, 0.013), ['15.95', '15.93', '15.96']],
    [b(15.947, 1.3), ['16', '14', '18']],
    [b(0.1, 0.3), ['0.1', '0.0', '0.4']],
    [b(13.3, 0.1), ['13.3', '13.2', '13.4']],
    [b(2, 0), ['2.000', '2.000', '2.000']],
  ])('print no digit finer than their bounds: %o', (bounded, text) => {
    expect(boundedText(bounded)).toEqual(text);
  });
});

describe('the table', () => {
  it('fits 80 columns whatever the names are', () => {
    const name = 'a vehicle whose name goes on and on '.repeat(5);
    const notes = [
      { code: 'a', text: 'a doubt that takes many words to tell '.repeat(9) },
      { code: 'b', text: 'x'.repeat(75) },
    ];
    const base = result();
    for (const r of [
      base,
      result({ job: { ...base.job, name }, notes }),
      result({ tank: { ...TANK, fluid: fluidOf({ name: 'a fluid with quite a long name indeed', density: 790, expansion: 0.001 }) } }),
    ])
      for (const line of resultTable(r).split('\n')) expect(line.length, line).toBeLessThanOrEqual(80);
  });

  it('says the figures, with the masses as sure as their litres', () => {
    const text = resultTable(result());
    expect(text).toMatch(/Envelope +15\.9 +15\.8 +16\.1\n/);
    expect(text).toMatch(/rated volume, petrol +13\.2 +12\.9 +13\.4\n/);
    expect(text.replace(/\s+/g, ' ')).toContain('1.9 kg dry, 11.7 kg with the rated volume');
    expect(text).toContain('3 through-holes');
    expect(text).toMatch(/usable volume +12\.9 +12\.6 +13\.1\n/);
    expect(text).toMatch(/nose up 15, lean -20 +0\.1 +0\.3 +12\.9\n/);
    expect(text).toMatch(
      /\nTank {7}41\.6 dm2 inside, 38\.2 dm2 of it wetted.* with the\n {11}rated volume, ullage for 40 K of warming from 15 C\n/,
    );
    expect(text).toContain('3 more in result.json');
  });

  it('ways in: litres with their bounds, what is met first and what it would have to give, and that none found is not impossible', () => {
    const up = [0, 0, 1] as const;
    const blocker = { obstacle: 'rail', at_mm: [10, 20, 30] as const, after_mm: 6.2, give_mm: 10.2, stops_percent: 12 };
    const way = { direction: up, volume_l: b(14.46, 0.9), kept_percent: 81, blockers: [blocker] };
    const ways_in = [{ ...way, without: [{ obstacle: 'rail', kept_percent: 93 }] }];
    const ways_search = { clearance_mm: 2, step_mm: 8, off: [], map: [], two_step: null };
    const text = resultTable(result({ ways_in, ways_search }));
    expect(text).toMatch(/up +14\.5 +13\.5 +15\.4 +81 %/);
    expect(text.replace(/\s+/g, ' ')).toContain(
      'rail stops 12 %, first at [10, 20, 30] after 6 mm, and would have to give about 11 mm; without it about 93 % is kept',
    );
    expect(text.replace(/\s+/g, ' ')).toContain('none found is not impossible');
    expect(resultTable(result({ ways_in: [{ ...ways_in[0], kept_percent: 91 }], ways_search }))).not.toContain('impossible');
    expect(resultTable(result({ ways_in: [], ways_search }))).toContain('Nothing of the envelope slides out straight.');
  });

  it('always shows the cautions, and leaves the tank out where there is none', () => {
    for (const r of [result(), result({ tank: undefined })])
      expect(resultTable(r).replace(/\s+/g, ' ')).toContain('"empty" fuel tank can explode: welding, cutting or drilling');
    expect(resultTable(result({ tank: undefined }))).not.toContain('rated');
  });

  it('shows every kind of note, and counts what it leaves out', () => {
    const notes = [...Array.from({ length: 9 }, (_, i) => ({ code: 'many', text: `speck ${i}` })), { code: 'other', text: 'a doubt' }];
    const text = resultTable(result({ notes }));
    expect(text).toContain('speck 2');
    expect(text).not.toContain('speck 3');
    expect(text).toContain('6 more like the 3 before');
    expect(text).toContain('a doubt');
  });

  it('breaks no line on a control character from a file', () => {
    expect(resultTable(result({ notes: [{ code: 'a', text: 'bad\u001b[31m\nname' }] }))).not.toContain('\u001b');
  });
});

it('the whole run never turns back', () => {
  const whole = wholeRun();
  const seen = [
    whole('reading scans', 0),
    whole('reading scans', 1),
    whole('clearances', 0.5),
    whole('region', 1),
    whole('unknown', 0.1),
    whole('files', 1),
  ];
  expect(seen.map((s) => s.stage)).toEqual(['reading scans', 'region', 'clearances', 'clearances', 'unknown', 'files']);
  for (let i = 1; i < seen.length; i++) expect(seen[i].done).toBeGreaterThanOrEqual(seen[i - 1].done);
  expect(seen.at(-1)?.done).toBeCloseTo(1, 12);
});

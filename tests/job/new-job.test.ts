import { describe, expect, it } from 'vitest';
import type { Box3 } from '../../src/core/vec.ts';
import { guessUnit } from '../../src/job/guess.ts';
import { parseJob } from '../../src/job/job.ts';
import { type NewScan, renderNewJob, scanName, suggestRole } from '../../src/job/new-job.ts';

const boxOf = (size: number): Box3 => ({ min: [0, 0, 0], max: [size, size / 3, size / 2] });

describe('the guessed unit', () => {
  it.each([
    [2000, 'mm', true],
    [2, 'm', true],
    [200, 'cm', true],
    [45, 'in', true],
    [79, 'in', false],
    [0.02, 'm', false],
  ] as const)('%d across is in %s', (size, unit, sure) => {
    const guess = guessUnit(boxOf(size));
    expect([guess.unit, guess.sure]).toEqual([unit, sure]);
    expect(guess.reason).toContain('0.5 to 5 m');
  });
});

describe('names', () => {
  it('come from the file', () => {
    expect(scanName('/a/b/Left frame.ply.gz', [])).toBe('Left_frame');
    expect(scanName('C:\\scans\\01-airbox.stl', [])).toBe('airbox');
    expect(scanName('12.stl', [])).toBe('scan');
    expect(scanName('frame.stl', ['frame', 'frame_2'])).toBe('frame_3');
  });
  it('suggest the part that was taken out, unless there is nothing else', () => {
    expect(suggestRole('stock_airbox', 2)).toBe('removed');
    expect(suggestRole('stock_airbox', 1)).toBe('obstacle');
    expect(suggestRole('frame', 2)).toBe('obstacle');
  });
});

describe('the written job', () => {
  const scan = (name: string, more: Partial<NewScan> = {}): NewScan => ({
    name,
    file: `${name}.ply`,
    unit: 'mm',
    reason: 'as long as a quad',
    carried: false,
    box: boxOf(1800),
    role: 'obstacle',
    groups: [],
    ...more,
  });

  it('parses as it stands and says what was known', () => {
    const text = renderNewJob('hill: "quad" #1', [
      scan('frame', { file: 'a # b, {c}.ply', unit: 'm', groups: ['tubes', 'bolts\nevil: 1'] }),
      scan('airbox', { role: 'removed', unit: 'm', box: { min: [100, -50, 300], max: [300.2, 50, 500] } }),
      scan('engine', { carried: true, reason: 'glTF is metres' }),
    ]);
    const job = parseJob(text, 'q.yaml');
    expect(job.name).toBe('hill: "quad" #1');
    expect(job.units).toBe('m');
    expect(job.scans['frame'].file).toBe('a # b, {c}.ply');
    expect(job.scans['airbox'].role).toBe('removed');
    expect(job.region.near).toEqual({ scan: ['airbox'], within: 50 });
    expect(text).toContain('# box: { min: [50, -100, 250], max: [351, 100, 550] }');
    expect(text).toContain('as long as a quad');
    // What is written is what a job gets that says nothing.
    const bare = parseJob('voidgauge: 1\nname: q\nscans: { a: a.ply }\n', 'q.yaml');
    expect({ ...job, name: 'q', units: 'mm', scans: bare.scans, region: bare.region }).toEqual(bare);
  });

  it('still parses with the hints uncommented', () => {
    const text = renderNewJob('q', [scan('frame'), scan('airbox', { role: 'removed' })]);
    const open = text.replace(/^( *)# ((box|half_spaces|barriers|start): ?.*)$/gm, '$1$2').replace(/^( *)#( +- \{ at)/gm, '$1 $2');
    const job = parseJob(open, 'q.yaml');
    expect([job.barriers.length, job.region.half_spaces.length, job.start]).toEqual([1, 1, [0, 0, 0]]);
    expect(job.region.box).not.toBeNull();
  });
});

import { describe, expect, it } from 'vitest';
import type { Fault } from '../../src/core/fault.ts';
import { type Job, parseJob } from '../../src/job/job.ts';

const jobOf = (place: string, more = ''): Job =>
  parseJob(`{ voidgauge: 1, scans: { frame: f.ply, stock: { file: s.ply, place: ${place} }${more} } }`, 'job.yaml');

function refused(place: string, more?: string): Fault {
  try {
    jobOf(place, more);
  } catch (f) {
    return f as Fault;
  }
  throw new Error('was taken');
}

describe('a placing that is to be found', () => {
  it.each([
    '{ onto: frame }',
    '{ onto: frame, move: [1, 2, 3], turn: [0, 0, 5], limit: 0.5 }',
    '{ targets: { own: a.csv, fixed: b.csv }, tolerance: 2 }',
    '{ from: placings.json }',
  ])('%s, written out and read again, is the same', (place) => {
    const job = jobOf(place);
    expect(parseJob(JSON.stringify(job), 'job.yaml')).toEqual(job);
  });

  it('has one way, and knows the scan that it is laid onto', () => {
    expect(refused('{ onto: frame, from: placings.json }').detail.expected).toBe('one of "onto", "targets" and "from"');
    expect(refused('{ onto: frme }').detail).toMatchObject({ code: 'job-unknown-scan', hint: 'did you mean "frame"?' });
    expect(refused('{ onto: frame, tolerance: 1 }').detail.expected).toContain('no tolerance without "targets"');
    expect(refused('{ move: [1, 2, 3], limit: 1 }').detail.expected).toContain('not fitted');
    expect(refused('{ ontoo: frame }').detail).toMatchObject({ code: 'job-unknown-key', hint: 'did you mean "onto"?' });
  });

  it('cannot hang on itself, by itself or through others', () => {
    expect(refused('{ onto: stock }').code).toBe('job-place-ring');
    const ring = refused('{ onto: third }', ', third: { file: t.ply, place: { onto: stock } }');
    expect(ring.code).toBe('job-place-ring');
    expect(ring.detail.got).toBe('stock onto third onto stock');
    expect(jobOf('{ onto: third }', ', third: { file: t.ply, place: { onto: frame } }').scans['third'].place).toMatchObject({
      onto: 'frame',
    });
  });
});

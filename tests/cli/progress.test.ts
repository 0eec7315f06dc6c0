import { describe, expect, it } from 'vitest';
import { showProgress, timeText } from '../../cli/progress.ts';

/** A terminal or file that remembers, and a clock that is set by hand, ms. */
function recorder(isTTY: boolean, columns?: number) {
  const written: string[] = [];
  const clock = { now: 0 };
  const shown = showProgress({ isTTY, columns, write: (text: string | Uint8Array) => written.push(String(text)) > 0 }, () => clock.now);
  return { written, clock, ...shown };
}

describe('on a terminal', () => {
  it('is one line with stage, share and time left, redrawn ten times a second at most', () => {
    const r = recorder(true, 80);
    r.progress('distance', 0);
    r.clock.now = 50;
    r.progress('distance', 0.1);
    expect(r.written.length).toBe(1);
    r.clock.now = 2000;
    r.progress('distance', 0.25);
    expect(r.written.length).toBe(2);
    expect(r.written[1]).toBe(`\r\u001b[2K${'='.repeat(6)}${'.'.repeat(18)}  25 %  distance, 6 s left`);
    r.end();
    expect(r.written.at(-1)).toBe('\r\u001b[2K');
    expect(r.written.join('')).not.toContain('\n');
  });

  it('never fills a line', () => {
    const r = recorder(true, 30);
    r.progress('a stage with a long name', 0.5);
    expect(r.written[0].replace('\r\u001b[2K', '').length).toBe(29);
  });
});

describe('anywhere else', () => {
  it('is a line at each stage and every ten seconds, without control characters', () => {
    const r = recorder(false);
    r.progress('reading', 0);
    r.progress('distance', 0);
    for (let t = 0; t < 25; t++) {
      r.clock.now = t * 1000;
      r.progress('distance', t / 100);
    }
    r.end();
    expect(r.written).toEqual(['reading\n', 'distance\n', 'distance 10 %, 90 s left\n', 'distance 20 %, 80 s left\n']);
  });
});

it('tells times in words', () => {
  expect([0.2, 59.6, 99, 150, 4000].map(timeText)).toEqual(['a moment', '60 s', '99 s', '3 min', '67 min']);
});

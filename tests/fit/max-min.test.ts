import type { Highs } from 'highs';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { maxMin, UNKNOWNS } from '../../src/fit/max-min.ts';

/** The same program as text for a general solver (HiGHS; Huangfu and Hall, Mathematical Programming Computation 10, 2018). */
function textOf(p: Parameters<typeof maxMin>[0]): string {
  const js = [0, 1, 2, 3, 4, 5];
  const term = (v: number, name: string): string => `${v < 0 ? '-' : '+'} ${Math.abs(v)} ${name}`;
  const rows = Array.from(p.slack, (s, i) => ` c${i}: t ${js.map((j) => term(-p.gradient[UNKNOWNS * i + j], `x${j}`)).join(' ')} <= ${s}`);
  const rests = js.flatMap((j) => [` p${j}: x${j} - u${j} <= ${p.rest[j]}`, ` m${j}: x${j} + u${j} >= ${p.rest[j]}`]);
  const ends = js.map((j) => ` ${p.low[j]} <= x${j} <= ${p.high[j]}`);
  return `Maximize\n obj: t ${js.map((j) => term(-p.price, `u${j}`)).join(' ')}\nSubject To\n${[...rows, ...rests].join('\n')}\nBounds\n t free\n${ends.join('\n')}\nEnd\n`;
}

async function solver(): Promise<Highs> {
  const load: unknown = (await import('highs')).default;
  if (typeof load !== 'function') throw new TypeError('the solver exports no loader');
  const ready: Highs = await load();
  return ready;
}

function program(seed: number, rows: number): Parameters<typeof maxMin>[0] {
  const r = random(seed);
  const slack = Float64Array.from({ length: rows }, () => r.range(-5, 5));
  const gradient = new Float64Array(UNKNOWNS * rows);
  for (let i = 0; i < rows; i++) {
    gradient.set(r.direction(), UNKNOWNS * i);
    for (let j = 3; j < UNKNOWNS; j++) gradient[UNKNOWNS * i + j] = r.range(-1, 1);
  }
  return { slack, gradient, low: [-2, -2, -1, -2, -2, -2], high: [2, 2, 2, 1, 2, 2], rest: [0.5, 0, 0, -1, 0, 3], price: 1e-3 };
}

describe('the move of the greatest least slack', () => {
  it('is as good as a general solver finds, seeds 1 to 12, 1 to 2000 rows', async () => {
    const general = await solver();
    for (let seed = 1; seed <= 12; seed++) {
      const p = program(seed, [1, 4, 7, 30, 300, 2000][seed % 6]);
      const found = maxMin(p);
      const truth = general.solve(textOf(p));
      expect(truth.Status).toBe('Optimal');
      const away = found.move.reduce((sum, x, j) => sum + Math.abs(x - p.rest[j]), 0);
      expect(found.least - p.price * away).toBeCloseTo(truth.ObjectiveValue, 6);
      // And it says of itself what it is.
      let least = Infinity;
      for (let i = 0; i < p.slack.length; i++)
        least = Math.min(
          least,
          found.move.reduce((s, x, j) => s + x * p.gradient[UNKNOWNS * i + j], p.slack[i]),
        );
      expect(found.least).toBeCloseTo(least, 9);
      expect(found.held.reduce((s, h) => s + h.share, 0)).toBeCloseTo(1, 9);
    }
  });

  it('many equal rows do not trap it', () => {
    const n = 3000;
    const gradient = new Float64Array(UNKNOWNS * n);
    for (let i = 0; i < n; i++) gradient[UNKNOWNS * i + 1] = i % 3 === 0 ? 1 : -1;
    const slack = Float64Array.from({ length: n }, (_, i) => (i % 3 === 0 ? 1 : 3));
    const found = maxMin({ slack, gradient, low: Array(6).fill(-5), high: Array(6).fill(5), rest: Array(6).fill(0), price: 1e-3 });
    // Halfway between the two: 2 from each; nothing else moves.
    expect(found.least).toBeCloseTo(2, 9);
    expect(found.move.map((v) => Math.round(v * 1e9) / 1e9 + 0)).toEqual([0, 1, 0, 0, 0, 0]);
  });

  it('without rows it goes to rest as far as the box allows', () => {
    const found = maxMin({
      slack: new Float64Array(0),
      gradient: new Float64Array(0),
      low: Array(6).fill(-1),
      high: Array(6).fill(1),
      rest: [0, 2, -3, 0.5, 0, 0],
      price: 1e-3,
    });
    expect(found.move).toEqual([0, 1, -1, 0.5, 0, 0]);
  });
});

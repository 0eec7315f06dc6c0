import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { Input } from '../../src/io/input.ts';
import { bytesSource } from '../../src/io/source.ts';
import { text } from './shapes.ts';

async function parse(word: string): Promise<number> {
  const input = await Input.open(bytesSource('n', text(`${word}\n`)));
  await input.more();
  return input.number();
}

describe('numbers in text', () => {
  it('agree with Number() after rounding to float32, whatever the form (seed 11)', async () => {
    const forms = fc.oneof(
      fc.double({ noNaN: true, noDefaultInfinity: true }).map(String),
      fc.float({ noNaN: true, noDefaultInfinity: true }).map(String),
      fc.tuple(fc.double({ min: -1e4, max: 1e4, noNaN: true }), fc.integer({ min: 0, max: 20 })).map(([v, d]) => v.toFixed(d)),
      fc.tuple(fc.double({ min: -1e30, max: 1e30, noNaN: true }), fc.integer({ min: 0, max: 20 })).map(([v, d]) => v.toExponential(d)),
      fc
        .tuple(
          fc.constantFrom('', '-', '+'),
          fc.stringMatching(/^\d{1,30}$/),
          fc.stringMatching(/^\d{0,30}$/),
          fc.constantFrom('', 'e3', 'E-7', 'e+02'),
        )
        .map(([s, a, b, e]) => `${s}${a}.${b}${e}`),
    );
    await fc.assert(
      fc.asyncProperty(forms, async (word) => {
        expect(Math.fround(await parse(word)) + 0).toBe(Math.fround(Number(word)) + 0);
      }),
      { seed: 11, numRuns: 5000 },
    );
  });

  it('with at most 15 digits and a small exponent the float64 is the nearest one', async () => {
    for (const word of ['0.1', '123456789012345', '5123456.125', '-0.000123456789', '1e22', '123456e-10', '.5', '5.', '+7', '-0'])
      expect(await parse(word)).toBe(Number(word) + 0);
  });

  it('a float32 halfway case is decided as Number() decides it', async () => {
    // 1 + 2^-24 lies midway between two float32; a hair more must round up.
    for (const word of ['1.000000059604644775390625', '1.0000000596046447754', '1.00000005960464478', '16777217.0000000001'])
      expect(Math.fround(await parse(word))).toBe(Math.fround(Number(word)));
  });

  it('17 digits midway between two float32 are decided as Number() decides them (seed 3)', async () => {
    const rng = random(3);
    for (let i = 0; i < 3000; i++) {
      const f = Float32Array.of(rng.range(-1000, 1000) * 10 ** (rng.below(8) - 4));
      const next = new Float32Array(Int32Array.of(new Int32Array(f.buffer)[0] + 1).buffer);
      const word = ((f[0] + next[0]) / 2).toPrecision(17);
      expect(Math.fround(await parse(word))).toBe(Math.fround(Number(word)));
    }
  });

  it('refuses what is not a plain decimal number', async () => {
    for (const word of ['', 'nan', 'inf', '0x10', '1_000', '1,5', '1e', '1e+', '--1', '1.2.3', '.', '-', 'e5', '12a', '1n'])
      expect(await parse(word)).toBeNaN();
  });
});

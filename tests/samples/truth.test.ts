import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { fileOf } from '../../samples/make.ts';
import { PART_NAMES } from '../../samples/solids.ts';
import {
  demoJob,
  depthInBalls,
  extrapolated,
  figuresAt,
  type Lattice,
  latticeOver,
  type Recorded,
  recordOf,
  volumeOf,
} from '../../samples/truth.ts';
import type { Vec3 } from '../../src/core/vec.ts';

const recorded = JSON.parse(readFileSync(new URL('../../samples/quad.expected.json', import.meta.url), 'utf8')) as Recorded;

/** Depth inside a box of 400x300x200 mm about `middle`, at every lattice point. */
function boxDepth({ origin, step, n }: Lattice, middle: Vec3): Float32Array {
  const half = [200, 150, 100];
  const out = new Float32Array(n[0] * n[1] * n[2]);
  for (let c = 0; c < out.length; c++) {
    const cell = [c % n[0], Math.floor(c / n[0]) % n[1], Math.floor(c / (n[0] * n[1]))];
    out[c] = Math.min(...cell.map((q, a) => half[a] - Math.abs(origin[a] + q * step - middle[a])));
  }
  return out;
}

describe('the plain kernels of the truth', () => {
  // Box 400x300x200 opened by a ball of radius r: Steiner's formula on the box shrunk by r.
  const opened = (r: number, grow = r): number => {
    const [a, b, c] = [400 - 2 * r, 300 - 2 * r, 200 - 2 * r];
    const surface = 2 * (a * b + b * c + a * c);
    return (a * b * c + surface * grow + Math.PI * (a + b + c) * grow ** 2 + (4 / 3) * Math.PI * grow ** 3) / 1e6;
  };
  const room = (step: number, r: number) => {
    const lattice = latticeOver({ min: [-200, -150, -100], max: [200, 150, 100] }, step);
    const f = boxDepth(lattice, [0.7, -0.4, 0.3]);
    return {
      lattice,
      envelope: depthInBalls(
        lattice,
        f.map((d) => (d >= r ? d : -1)),
      ),
    };
  };
  // From inside, never too much; along edges askew in the lattice the error is of first order, so the least step counts.
  for (const [r, litres, rough, fine] of [
    [10, 23.9241, 0.005, 0.0025],
    [25, 23.5381, 0.008, 0.0045],
  ])
    it(`box rolled out by a ball of ${r} mm holds ${litres} l, found from inside`, () => {
      expect(opened(r)).toBeCloseTo(litres, 4);
      for (const [step, bound] of [
        [5, rough],
        [2.5, fine],
      ]) {
        const { lattice, envelope } = room(step, r);
        const short = 1 - volumeOf(lattice, envelope) / 1e6 / litres;
        expect(short).toBeGreaterThan(-0.0005);
        expect(short).toBeLessThan(bound);
      }
    });
  it('the same box less a wall of 4 mm', () => {
    const r = 25;
    const { lattice, envelope } = room(2.5, r);
    const outside = depthInBalls(
      lattice,
      envelope.map((d) => (d > 0 ? -1 : Math.min(-d, 7.5) + 4)),
    );
    const cavity = volumeOf(
      lattice,
      outside.map((d) => -d),
    );
    expect(Math.abs(cavity / 1e6 / opened(r, r - 4) - 1)).toBeLessThan(0.004);
  });
});

describe('the demo job and its recorded figures', () => {
  const job = demoJob();

  it('names a scan file for every part', () => {
    expect(Object.keys(job.scans)).toEqual([...PART_NAMES]);
    for (const name of PART_NAMES) expect(job.scans[name].file).toBe(`scans/${fileOf(name)}`);
    expect(job.scans['airbox'].role).toBe('removed');
  });

  it('agree with a run at 4 and 3 mm', () => {
    const coarse = figuresAt(job, 4);
    const fine = figuresAt(job, 3);
    const rough = extrapolated(coarse, fine);
    for (const key of ['envelope_l', 'brim_l', 'reclaimed_l'] as const) {
      expect(Math.abs(rough[key] / recorded[key] - 1), key).toBeLessThan(0.015);
      expect(Math.abs(fine[key] / recorded[key] - 1), key).toBeLessThan(0.02);
    }
    expect(Math.abs(fine.neck_mm - recorded.neck_mm)).toBeLessThan(3);
    expect(Math.abs(fine.largest_ball_mm - recorded.largest_ball_mm)).toBeLessThan(2);
  });

  it('make a job worth showing: 8 to 14 l in the tank, a neck of 25 to 30 mm, the skin out of the way', () => {
    expect(recorded.brim_l).toBeGreaterThan(8);
    expect(recorded.brim_l).toBeLessThan(14);
    expect(recorded.neck_mm).toBeGreaterThan(25);
    expect(recorded.neck_mm).toBeLessThan(30);
    expect(recorded.skin_depth_mm).toBeGreaterThan(job.least_radius + 3);
    const [a, b] = recorded.runs;
    expect(recordOf(a, b, recorded.skin_depth_mm).envelope_l).toBeCloseTo(recorded.envelope_l, 3);
    expect(recorded.uncertain_l).toBeLessThan(0.03);
  });
});

import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { type Mesh, meshArea } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { distance, type Vec3 } from '../../src/core/vec.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { after, inverse, moveBy, type Rigid, STAY, smallMotion, turnBetween } from '../../src/scan/place.ts';
import { placeBySurface } from '../../src/scan/place-surface.ts';
import { ballMesh, boxMesh, moveMesh, randomTurn, refineMesh, sheetMesh, together, tubeFrame } from '../oracle/shapes.ts';

/** Independent noise on every corner, as a second scan of the same thing would have. */
function noisy(mesh: Mesh, sigma: number, seed: number): Mesh {
  const rng = random(seed);
  return { ...mesh, positions: mesh.positions.map((v) => v + sigma * rng.normal()) };
}

/** What both scans see, what only the fixed one sees, and what only the moved one sees; mm, about 1 m long. */
function scenario(seed: number): { both: Mesh; onlyFixed: Mesh; onlyMoved: Mesh } {
  const rng = random(seed);
  const block = (size: Vec3, at: Vec3): Mesh => moveMesh(refineMesh(boxMesh(size), 5), randomTurn(rng), at);
  const frame = (s: number, tubes: number): Mesh => tubeFrame({ seed: s, size: [1000, 400, 500], tubes, edge: 4 });
  return {
    both: together(frame(seed + 100, 9), block([220, 150, 180], [-100, 40, -60])),
    onlyFixed: together(frame(seed + 200, 7), block([200, 120, 160], [180, -60, 120])),
    onlyMoved: together(frame(seed + 300, 11), block([240, 180, 160], [120, 30, 60])),
  };
}

/** The two scans: the moved one is off by `off` (what a placing must undo). */
function scans(seed: number, off: Rigid, sigma = 0.1): { fixed: Mesh; moving: Mesh; overlap: number } {
  const { both, onlyFixed, onlyMoved } = scenario(seed);
  const fixed = noisy(together(both, onlyFixed), sigma, seed + 1);
  const moving = moveMesh(noisy(together(both, onlyMoved), sigma, seed + 2), off.rows, off.shift);
  return { fixed, moving, overlap: meshArea(both) / (meshArea(both) + meshArea(onlyMoved)) };
}

const randomOff = (seed: number): Rigid => {
  const rng = random(seed);
  const turn = (10 * Math.PI) / 180;
  return smallMotion(scalar(rng.direction(), rng.range(0.5, 1) * turn), scalar(rng.direction(), rng.range(25, 50)), [0, 0, 0]);
};
const scalar = (v: readonly [number, number, number], k: number): Vec3 => [v[0] * k, v[1] * k, v[2] * k];
const codeOf = (run: () => unknown): string => {
  try {
    run();
  } catch (error) {
    if (error instanceof Fault) return error.code;
    throw error;
  }
  return 'no fault';
};

describe('placing by surface', () => {
  for (const seed of [2, 3])
    it(`finds a motion made outside with 0.1 mm noise and under half in common (seed ${seed})`, () => {
      const off = randomOff(seed);
      const { fixed, moving, overlap } = scans(seed, off);
      expect(overlap).toBeLessThan(0.47);
      expect(overlap).toBeGreaterThan(0.4);
      // Points where an envelope could be.
      const at: Vec3[] = [
        [0, 0, 0],
        [150, 80, 100],
        [-200, -100, -80],
      ];
      const fit = placeBySurface(moving, fixed, { at }, inlineContext);
      const truth = inverse(off);
      for (const p of at) {
        const from = moveBy(off, p);
        expect(distance(moveBy(fit.placing, from), p)).toBeLessThan(0.05);
      }
      expect(turnBetween(fit.placing, truth)).toBeLessThan(0.02);
      // The fit's own idea of its overlap, residuals and error is not far from what is known.
      expect(Math.abs(fit.overlap - overlap)).toBeLessThan(0.1);
      expect(fit.median).toBeGreaterThan(0.03);
      expect(fit.p95).toBeLessThan(0.6);
      expect(Math.max(...fit.errorAt)).toBeLessThan(0.05);
      expect(fit.doubts).toEqual([]);
    });

  it('keeps its accuracy far from zero and from a given start', () => {
    const { both } = scenario(7);
    const far: Vec3 = [3e5, -2e5, 1e5];
    const fixed = moveMesh(noisy(both, 0.05, 1), STAY.rows, far);
    const start = smallMotion([0, 0, Math.PI / 2], [500, -300, 40], far);
    const off = after(inverse(start), smallMotion([0.05, -0.04, 0.06], [12, -9, 14], far));
    const moving: Mesh = (() => {
      const turned = moveMesh(noisy(both, 0.05, 2), off.rows, [0, 0, 0]);
      return { ...turned, origin: moveBy(off, far) };
    })();
    const fit = placeBySurface(moving, fixed, { start }, inlineContext);
    expect(distance(moveBy(fit.placing, moveBy(off, far)), far)).toBeLessThan(0.05);
    expect(fit.overlap).toBeGreaterThan(0.9);
  });

  it('expects an error like the one that fits with fresh noise show', () => {
    const shape = together(
      moveMesh(refineMesh(boxMesh([120, 80, 60]), 4), randomTurn(random(1)), [0, 0, 0]),
      moveMesh(ballMesh(40, 40), STAY.rows, [90, 30, 20]),
    );
    const p: Vec3 = [150, 0, 0];
    let squares = 0;
    let expected = 0;
    const runs = 6;
    for (let i = 0; i < runs; i++) {
      const off = smallMotion([0.01, 0.02, -0.01], [2, -1, 1], [0, 0, 0]);
      const dense = noisy(shape, 0.1, 50 + i);
      const fit = placeBySurface(moveMesh(noisy(shape, 0.1, 500 + i), off.rows, off.shift), dense, { at: [p] }, inlineContext);
      squares += distance(moveBy(fit.placing, moveBy(off, p)), p) ** 2;
      expected += fit.errorAt[0];
    }
    const shown = Math.sqrt(squares / runs);
    // Noise shared by neighbouring points makes the expectation a lower bound; it must not be far off.
    expect(shown / (expected / runs)).toBeGreaterThan(0.6);
    expect(shown / (expected / runs)).toBeLessThan(2.5);
  });

  it('says what slides and what does not overlap', () => {
    const plate = sheetMesh(300, 200);
    // Noise makes the normals waver: that is no hold.
    const [one, two] = [noisy(refineMesh(plate, 6), 0.1, 1), noisy(refineMesh(plate, 6), 0.1, 2)];
    expect(codeOf(() => placeBySurface(moveMesh(one, STAY.rows, [3, 2, 1]), two, {}, inlineContext))).toBe('place-slides');
    expect(codeOf(() => placeBySurface(moveMesh(plate, STAY.rows, [3, 2, 1]), plate, {}, inlineContext))).toBe('place-slides');
    expect(codeOf(() => placeBySurface(ballMesh(40, 30), boxMesh([1000, 900, 800]), {}, inlineContext))).toBe('place-no-overlap');
  });
});

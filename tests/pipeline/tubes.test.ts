import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { facesInwards } from '../../src/pipeline/tubes.ts';
import { boxMesh, moveMesh, randomTurn, tubeMesh } from '../oracle/shapes.ts';

const reversed = (m: Mesh): Mesh => ({ ...m, indices: m.indices.slice().reverse() });

describe('the side that a scan faces', () => {
  it('is told for closed and open shapes, wherever they lie, seeds 1 to 10', () => {
    for (let seed = 1; seed <= 10; seed++) {
      const r = random(seed);
      const rail = tubeMesh(
        [0, 100, 200].map((x): Vec3 => [x, 0, 0]),
        14,
        24,
      );
      for (const shape of [boxMesh([40, 30, 20]), rail]) {
        const there = moveMesh(shape, randomTurn(r), [r.range(-5000, 5000), r.range(-5000, 5000), r.range(-5000, 5000)]);
        expect(facesInwards(there)).toBe(false);
        expect(facesInwards(reversed(there))).toBe(true);
      }
    }
  });
});

import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { smoothCloud } from '../../src/scan/smooth.ts';

const AREA = 14_000;
type Shape = { readonly at: (rng: ReturnType<typeof random>, off: number) => Vec3; readonly off: (p: Vec3) => number };

/** Shapes of 14 000 mm2: a point at random on each, `off` mm outside of it; and how far a point is outside. */
const SHAPES: Record<string, Shape> = {
  plane: { at: (r, off) => [r.range(0, 140), r.range(0, 100), off], off: (p) => p[2] },
  'tube of 28 mm': tube(14),
  'tube of 16 mm': tube(8),
};

function tube(radius: number): Shape {
  const length = AREA / (2 * Math.PI * radius);
  return {
    at: (r, off) => {
      const t = r.range(0, 2 * Math.PI);
      return [r.range(0, length), (radius + off) * Math.cos(t), (radius + off) * Math.sin(t)];
    },
    off: (p) => Math.hypot(p[1], p[2]) - radius,
  };
}

const noisy = (shape: Shape, spacing: number, sigma: number): Float32Array => {
  const rng = random(3);
  const count = Math.round(AREA / spacing ** 2);
  return Float32Array.from(Array.from({ length: count }, () => shape.at(rng, sigma * rng.normal())).flat());
};

describe('a cloud made a surface', () => {
  for (const [name, shape] of Object.entries(SHAPES))
    it.each([
      [1, 0.1],
      [1, 0.3],
      [2, 0.1],
    ])(`${name}, points %s mm apart with %s mm of noise: under half of the noise is left, and no bias`, async (spacing, sigma) => {
      const found = await smoothCloud({ origin: [0, 0, 0], positions: noisy(shape, spacing, sigma) }, inlineContext);
      expect(found.share).toBeGreaterThan(0.97);
      expect(found.spacing / spacing).toBeGreaterThan(0.9);
      expect(found.spacing / spacing).toBeLessThan(1.1);
      expect(found.noise / sigma).toBeGreaterThan(0.9);
      expect(found.noise / sigma).toBeLessThan(1.15);
      const { positions: p } = found.mesh;
      let [n, sum, squares] = [0, 0, 0];
      for (let i = 0; i < p.length; i += 3) {
        const off = shape.off([p[i], p[i + 1], p[i + 2]]);
        // Octahedra stand out from the surface and are not what is asked.
        if (Math.abs(off) > 4 * sigma) continue;
        n++;
        sum += off;
        squares += off ** 2;
      }
      expect(Math.sqrt(squares / n)).toBeLessThan(0.5 * sigma);
      expect(Math.abs(sum / n)).toBeLessThan(0.15 * sigma + 0.01);
      expect(found.off).toBeGreaterThan(Math.abs(sum / n));
    });

  it('points closer together than their noise still make one', async () => {
    const found = await smoothCloud({ origin: [0, 0, 0], positions: noisy(SHAPES['plane'], 0.6, 0.3) }, inlineContext);
    expect(found.share).toBeGreaterThan(0.97);
  });

  it('a handful of points stay bodies of half their spacing, a heap of equal ones is no trouble', async () => {
    const corners = Float32Array.of(0, 0, 0, 8, 0, 0, 0, 8, 0, 0, 0, 8);
    const few = await smoothCloud({ origin: [5, 0, 0], positions: corners }, inlineContext);
    expect(few).toMatchObject({ spacing: 8, share: 0, off: 4 });
    expect(few.mesh.indices).toHaveLength(4 * 8 * 3);
    expect(Math.max(...few.mesh.positions)).toBe(12);
    const heap = await smoothCloud({ origin: [0, 0, 0], positions: new Float32Array(300) }, inlineContext);
    expect(heap.mesh.positions.every((v) => Number.isFinite(v))).toBe(true);
  });
});

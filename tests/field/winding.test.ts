import { describe, expect, it } from 'vitest';
import { cellCentre, gridOver } from '../../src/core/grid.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { distanceToMesh } from '../../src/field/distance.ts';
import { insideOf } from '../../src/field/inside.ts';
import { buildWinding, windingNumber } from '../../src/field/winding.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { ballMesh, moveMesh, randomTurn } from '../oracle/shapes.ts';

/** Winding number as the plain sum of solid angles, by another formula (Girard: angles between the three planes), slow. */
function slowWinding({ origin, positions, indices }: Mesh, p: Vec3): number {
  let sum = 0;
  for (let t = 0; t < indices.length; t += 3) {
    const c = [0, 1, 2].map((v) => [0, 1, 2].map((a) => positions[indices[t + v] * 3 + a] + origin[a] - p[a]));
    const n = c.map(([x, y, z]) => Math.hypot(x, y, z));
    const u = c.map((v, i) => v.map((x) => x / n[i]));
    const dot = (a: number[], b: number[]): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    const det =
      u[0][0] * (u[1][1] * u[2][2] - u[1][2] * u[2][1]) +
      u[0][1] * (u[1][2] * u[2][0] - u[1][0] * u[2][2]) +
      u[0][2] * (u[1][0] * u[2][1] - u[1][1] * u[2][0]);
    const [a, b, k] = [dot(u[1], u[2]), dot(u[2], u[0]), dot(u[0], u[1])].map((d) => Math.acos(Math.max(-1, Math.min(1, d))));
    const s = (a + b + k) / 2;
    // L'Huilier's theorem: the spherical excess from the three sides.
    const tan = Math.tan(s / 2) * Math.tan((s - a) / 2) * Math.tan((s - b) / 2) * Math.tan((s - k) / 2);
    sum += Math.sign(det) * 4 * Math.atan(Math.sqrt(Math.max(tan, 0)));
  }
  return sum / (4 * Math.PI);
}

/** The ball without the triangles whose first corner lies above z. */
const openAbove = (m: Mesh, z: number): Mesh => {
  const kept: number[] = [];
  for (let t = 0; t < m.indices.length; t += 3) if (m.positions[m.indices[t] * 3 + 2] <= z) kept.push(...m.indices.subarray(t, t + 3));
  return { ...m, indices: Uint32Array.from(kept) };
};

describe('winding number', () => {
  it('agrees with the plain sum of solid angles to 0.01, open ball turned anyhow, seeds 1 to 3', () => {
    for (let seed = 1; seed <= 3; seed++) {
      const r = random(seed);
      const mesh = moveMesh(openAbove(ballMesh(50, 24), 20), randomTurn(r), [1e4, -300, 12]);
      const tree = buildWinding(mesh);
      for (let i = 0; i < 40; i++) {
        const p: Vec3 = [1e4 + r.range(-120, 120), -300 + r.range(-120, 120), 12 + r.range(-120, 120)];
        expect(Math.abs(windingNumber(tree, p) - slowWinding(mesh, p))).toBeLessThan(0.01);
      }
    }
  });

  it('is 1 inside a closed ball and 0 outside', () => {
    const tree = buildWinding(ballMesh(50, 40));
    expect(windingNumber(tree, [0, 10, -30])).toBeCloseTo(1, 2);
    expect(windingNumber(tree, [0, 49, 0])).toBeCloseTo(1, 1);
    expect(windingNumber(tree, [80, 0, 0])).toBeCloseTo(0, 2);
  });
});

describe('cells inside a scan', () => {
  it.each([
    ['closed', 100, 0.001],
    ['open above, a hole of 60 degrees', 43, 0.03],
  ])('a ball that is %s', async (_, cut, share) => {
    const mesh = openAbove(ballMesh(50, 60), cut);
    const grid = gridOver({ min: [-70, -65, -66], max: [70, 66, 65] }, 2);
    const d = await distanceToMesh(mesh, grid, { levels: [0] }, inlineContext);
    const { data } = await insideOf(buildWinding(mesh), d, inlineContext);
    let wrong = 0;
    let inside = 0;
    for (let c = 0; c < data.length; c++) {
      const [x, y, z] = cellCentre(grid, c);
      const depth = 50 - Math.hypot(x, y, z);
      if (depth > 0) inside++;
      // Beside the surface a cell may be left out; away from it and from the hole the answer must be right.
      if (Math.abs(depth) > 2 && (data[c] === 1) !== depth > 0) wrong++;
    }
    expect(inside).toBeGreaterThan(60_000);
    expect(wrong / inside).toBeLessThan(share);
  });
});

import { describe, expect, it } from 'vitest';
import { joinMeshes, type Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { cloudAsMesh, medianSpacing } from '../../src/scan/points.ts';
import { dropSpecks, type Specks, speckNote } from '../../src/scan/specks.ts';
import { ballMesh } from '../oracle/shapes.ts';

const moved = (m: Mesh, origin: Vec3): Mesh => ({ ...m, origin });
const body = ballMesh(60, 60);

describe('specks', () => {
  it('small loose pieces go and are counted; a larger loose piece stays', () => {
    const all = joinMeshes([body, moved(ballMesh(4, 1), [0, 0, 90]), moved(ballMesh(3, 1), [5, 90, 0]), moved(ballMesh(9, 4), [90, 0, 0])]);
    const dropped: Specks[] = [];
    const kept = dropSpecks('frame', all, dropped);
    expect(dropped).toHaveLength(1);
    expect(dropped[0]).toMatchObject({
      scan: 'frame',
      pieces: 2,
      list: [
        { triangles: 4, points: 0 },
        { triangles: 4, points: 0 },
      ],
    });
    expect(kept.indices.length / 3).toBe(body.indices.length / 3 + 64);
    expect(speckNote(dropped)[0].text).toContain('2 loose specks were left out (frame 2)');
    expect(speckNote([])).toEqual([]);
  });

  it('pieces that meet at a place hang together though they share no index', () => {
    const half = (from: number): Mesh => ({ ...body, indices: body.indices.slice(from * 3, (from + body.indices.length / 6) * 3) });
    const seamed = joinMeshes([half(0), half(body.indices.length / 6)]);
    const dropped: Specks[] = [];
    expect(dropSpecks('frame', seamed, dropped)).toBe(seamed);
    expect(dropped).toEqual([]);
  });

  it('a scan of nothing but small pieces is kept', () => {
    const tiny = ballMesh(4, 2);
    expect(dropSpecks('bolt', tiny, [])).toBe(tiny);
  });
});

describe('points', () => {
  it('spacing of a square lattice of points on a plane, put anyhow far from zero', () => {
    const positions = new Float32Array(60 * 50 * 3);
    let o = 0;
    for (let j = 0; j < 50; j++) for (let i = 0; i < 60; i++) positions.set([i * 1.5, j * 1.5, 0.2 * i], o++ * 3);
    // Rows lie 1.5 mm apart, points along a row hypot(1.5, 0.2).
    expect(medianSpacing({ origin: [5e6, 0, 0], positions })).toBeCloseTo(1.5, 5);
  });

  it('a cloud is triangles of one point each', () => {
    const r = random(4);
    const positions = Float32Array.from({ length: 30 }, () => r.normal());
    const mesh = cloudAsMesh({ origin: [1, 2, 3], positions });
    expect(Array.from(mesh.indices.slice(0, 6))).toEqual([0, 0, 0, 1, 1, 1]);
    expect(mesh.indices).toHaveLength(30);
  });
});

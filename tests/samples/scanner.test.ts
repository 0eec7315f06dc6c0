import { beforeAll, describe, expect, it } from 'vitest';
import { fullSkin, type Scan, scanQuad } from '../../samples/scanner.ts';
import { obstacleDistance, PART_NAMES } from '../../samples/solids.ts';
import { meshArea, triangleCount } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { corner, solidTriangles, surfaceCorners } from './corners.ts';

/** Edges with a triangle on one side only. */
function boundaryEdges(s: Scan): number {
  const seen = new Map<number, number>();
  const corners = s.mesh.positions.length / 3;
  for (let i = 0; i < 3 * solidTriangles(s); i++) {
    const [a, b] = [s.mesh.indices[i], s.mesh.indices[i % 3 === 2 ? i - 2 : i + 1]];
    const key = Math.min(a, b) * corners + Math.max(a, b);
    seen.set(key, (seen.get(key) ?? 0) + 1);
  }
  return [...seen.values()].filter((n) => n === 1).length;
}

/** Pieces, joined by shared corners, among the triangles from `first` on. */
function pieces(s: Scan, first: number): number {
  const root = new Map<number, number>();
  const find = (v: number): number => {
    let r = v;
    while (root.get(r) !== undefined && root.get(r) !== r) r = root.get(r)!;
    root.set(v, r);
    return r;
  };
  for (let t = first; t < triangleCount(s.mesh); t++) {
    const a = find(s.mesh.indices[3 * t]);
    root.set(find(s.mesh.indices[3 * t + 1]), a);
    root.set(find(s.mesh.indices[3 * t + 2]), a);
  }
  return new Set([...root.keys()].map(find)).size;
}

function areaOfSkin(name: Scan['name']): number {
  const s = fullSkin(name);
  return meshArea({ origin: [0, 0, 0], positions: Float32Array.from(s.positions), indices: s.indices });
}

describe('the virtual scan of the quad, seed 20', () => {
  let scans: Scan[];
  const scan = (name: Scan['name']): Scan => scans.find((s) => s.name === name)!;
  beforeAll(() => {
    scans = scanQuad({ seed: 20 });
  });

  it('has one scan a part and about a million triangles', () => {
    expect(scans.map((s) => s.name)).toEqual([...PART_NAMES]);
    const total = scans.reduce((n, s) => n + triangleCount(s.mesh), 0);
    expect(total).toBeGreaterThan(900_000);
    expect(total).toBeLessThan(1_300_000);
  });

  it('lies about the exact solids with a deviation of 0.1 mm and no bias', () => {
    for (const s of scans) {
      let sum = 0;
      let squares = 0;
      const n = surfaceCorners(s);
      for (let v = 0; v < n; v++) {
        const d = obstacleDistance(s.name, ...corner(s, v));
        sum += d;
        squares += d * d;
      }
      expect(Math.sqrt(squares / n), s.name).toBeGreaterThan(0.093);
      expect(Math.sqrt(squares / n), s.name).toBeLessThan(0.107);
      expect(Math.abs(sum / n), s.name).toBeLessThan(0.008);
    }
  });

  it('keeps the middle of every triangle within 1 mm of the exact solid, and faces outwards', () => {
    for (const s of scans) {
      const t = s.mesh.indices;
      let inward = 0;
      let worst = 0;
      for (let i = 0; i < 3 * solidTriangles(s); i += 3) {
        const [a, b, c] = [corner(s, t[i]), corner(s, t[i + 1]), corner(s, t[i + 2])];
        const m: Vec3 = [(a[0] + b[0] + c[0]) / 3, (a[1] + b[1] + c[1]) / 3, (a[2] + b[2] + c[2]) / 3];
        worst = Math.max(worst, Math.abs(obstacleDistance(s.name, ...m)));
        if (i % 21 !== 0) continue;
        // One in seven: the normal against the way in which the exact distance grows.
        const n = [
          (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1]),
          (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2]),
          (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]),
        ];
        const e = 0.5 / Math.hypot(n[0], n[1], n[2]);
        const out = obstacleDistance(s.name, m[0] + n[0] * e, m[1] + n[1] * e, m[2] + n[2] * e);
        const back = obstacleDistance(s.name, m[0] - n[0] * e, m[1] - n[1] * e, m[2] - n[2] * e);
        if (out < back) inward++;
      }
      expect(worst, s.name).toBeLessThan(1);
      expect(inward, s.name).toBeLessThanOrEqual(solidTriangles(s) / 7 / 2000);
    }
  });

  it('has holes where nothing was seen, more on the shiny pipe, hardly any on the airbox', () => {
    const share = (name: Scan['name']): number => {
      const s = scan(name);
      const bare = { ...s.mesh, indices: s.mesh.indices.slice(0, 3 * solidTriangles(s)) };
      return meshArea(bare) / areaOfSkin(name);
    };
    expect(share('airbox')).toBeGreaterThan(0.96);
    expect(share('exhaust')).toBeLessThan(0.96);
    expect(share('engine')).toBeLessThan(0.96);
    expect(share('frame')).toBeGreaterThan(0.9);
    expect(share('frame')).toBeLessThan(0.995);
    for (const name of ['frame', 'engine', 'exhaust'] as const) expect(boundaryEdges(scan(name)), name).toBeGreaterThan(300);
  });

  it('sees nothing that lies inside another part', () => {
    for (const s of scans) {
      if (s.name === 'airbox') continue;
      for (const other of PART_NAMES) {
        if (other === s.name || other === 'airbox') continue;
        let deepest = 0;
        const n = surfaceCorners(s);
        for (let v = 0; v < n; v += 17) deepest = Math.min(deepest, obstacleDistance(other, ...corner(s, v)));
        expect(deepest, `${s.name} in ${other}`).toBeGreaterThan(-3);
      }
    }
  });

  it('carries 36 loose specks of at most 24 triangles, clear of their own part as a rule', () => {
    let count = 0;
    let clear = 0;
    for (const s of scans) {
      expect(s.speckTriangles).toBeGreaterThan(0);
      const here = pieces(s, solidTriangles(s));
      expect(s.speckTriangles).toBeLessThanOrEqual(here * 24);
      count += here;
      for (let v = surfaceCorners(s); v < s.mesh.positions.length / 3; v++) if (obstacleDistance(s.name, ...corner(s, v)) > 2) clear++;
    }
    expect(count).toBe(36);
    expect(clear).toBeGreaterThan(200);
  });
});

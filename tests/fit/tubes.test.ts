import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { joinMeshes, type Mesh } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { cross, distance, dot, sub, type Vec3 } from '../../src/core/vec.ts';
import { euler } from '../../src/field/euler.ts';
import { boresIn } from '../../src/fit/bores.ts';
import { commonSizes } from '../../src/fit/sizes.ts';
import { findTubes, type Tube } from '../../src/fit/tubes.ts';
import { box } from '../oracle/solids.ts';
import { type ScanOptions, tubeScan } from '../oracle/tube-scan.ts';

const half: ScanOptions = { radius: 14, bend: 70, noise: 0.1, arc: 180, seenFrom: [0, 0, 1], spacing: 1.2 };
const corners: Vec3[] = [
  [0, 0, 0],
  [200, 0, 0],
  [280, 150, 0],
  [280, 300, 80],
];

/** A flat plate with noise, and a ball: nothing that is a tube. */
function clutter(seed: number): Mesh {
  const r = random(seed);
  const positions: number[] = [];
  const indices: number[] = [];
  const patch = (n: number, at: (i: number, j: number) => number[]): void => {
    const first = positions.length / 3;
    for (let j = 0; j <= n; j++) for (let i = 0; i <= n; i++) positions.push(...at(i, j));
    for (let j = 0; j < n; j++)
      for (let i = 0; i < n; i++) {
        const a = first + i + (n + 1) * j;
        indices.push(a, a + 1, a + n + 2, a, a + n + 2, a + n + 1);
      }
  };
  patch(80, (i, j) => [-60 + 2 * i, -160 + 2 * j, -40 + 0.1 * r.normal()]);
  patch(60, (i, j) => {
    const [t, p] = [(Math.PI * (i + 1)) / 62, (2 * Math.PI * j) / 60];
    const R = 40 + 0.1 * r.normal();
    return [100 + R * Math.sin(t) * Math.sin(p), 200 + R * Math.sin(t) * Math.cos(p), R * Math.cos(t)];
  });
  return { origin: [0, 0, 0], positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
}

/** The sides of a block along x whose four edges are rounded, with 0.1 mm of noise: no part of it is more than a quarter of a tube. */
function roundedBlock([long, wide, high]: Vec3, fillet: number, r: ReturnType<typeof random>): Mesh {
  const ring: [number, number, number, number][] = [];
  const put = (y: number, z: number, ny: number, nz: number): void => {
    ring.push([y, z, ny, nz]);
  };
  const [b, c] = [wide / 2 - fillet, high / 2 - fillet];
  for (let q = 0; q < 4; q++) {
    const [sy, sz] = [q === 0 || q === 3 ? 1 : -1, q < 2 ? 1 : -1];
    const steps = Math.max(6, Math.round((fillet * Math.PI) / 2 / 1.5));
    for (let s = 0; s <= steps; s++) {
      const t = (q + s / steps) * (Math.PI / 2);
      put(sy * b + fillet * Math.cos(t), sz * c + fillet * Math.sin(t), Math.cos(t), Math.sin(t));
    }
    // The flat to the next edge, in pieces of about 3 mm.
    const flat = q % 2 === 0 ? 2 * b : 2 * c;
    const t = (q + 1) * (Math.PI / 2);
    const [py, pz] = [sy * b + fillet * Math.cos(t), sz * c + fillet * Math.sin(t)];
    const n = Math.max(1, Math.round(flat / 3));
    for (let s = 1; s < n; s++) put(py - (flat * s * Math.sin(t)) / n, pz + (flat * s * Math.cos(t)) / n, Math.cos(t), Math.sin(t));
  }
  const count = Math.round(long / 2);
  const positions: number[] = [];
  const indices: number[] = [];
  for (let i = 0; i <= count; i++)
    for (const [y, z, ny, nz] of ring) {
      const e = 0.1 * r.normal();
      positions.push((long * i) / count, y + e * ny, z + e * nz);
    }
  const m = ring.length;
  for (let i = 0; i < count; i++)
    for (let j = 0; j < m; j++) {
      const [p, q] = [i * m + j, i * m + ((j + 1) % m)];
      indices.push(p, q, p + m, q, q + m, p + m);
    }
  const mesh = { origin: [0, 0, 0] as const, positions: Float32Array.from(positions), indices: Uint32Array.from(indices) };
  return meshFacesOut(mesh);
}

/** Faces the other way round where the first of them looks to the block's axis. */
function meshFacesOut(mesh: Mesh): Mesh {
  const at = (v: number): Vec3 => [mesh.positions[3 * v], mesh.positions[3 * v + 1], mesh.positions[3 * v + 2]];
  const [a, b, c] = [at(mesh.indices[0]), at(mesh.indices[1]), at(mesh.indices[2])];
  const outward = dot(cross(sub(b, a), sub(c, a)), [0, a[1], a[2]]);
  return outward > 0 ? mesh : { ...mesh, indices: mesh.indices.slice().reverse() };
}

const toSegment = (p: Vec3, a: Vec3, b: Vec3): number => {
  const d = sub(b, a);
  const t = Math.max(0, Math.min(1, dot(sub(p, a), d) / dot(d, d)));
  return distance(p, [a[0] + t * d[0], a[1] + t * d[1], a[2] + t * d[2]]);
};

/** The faces of which all corners are wanted. */
function facesWhere(mesh: Mesh, wanted: (p: Vec3) => boolean): Mesh {
  const { positions: p } = mesh;
  const ok = (v: number): boolean => wanted([p[3 * v], p[3 * v + 1], p[3 * v + 2]]);
  const indices: number[] = [];
  for (let f = 0; f < mesh.indices.length; f += 3) {
    const corners = [...mesh.indices.subarray(f, f + 3)];
    if (corners.every(ok)) indices.push(...corners);
  }
  return { ...mesh, indices: Uint32Array.from(indices) };
}

describe('tubes half seen, 0.1 mm noise', () => {
  for (const [seed, radius] of [
    [1, 14],
    [2, 9],
    [3, 19],
    [4, 11.1125],
  ])
    it(`diameter within 0.1 mm, bends and straights, radius ${radius}, seed ${seed}`, () => {
      const tubes = findTubes(tubeScan(corners, { ...half, radius }, random(seed)));
      expect(tubes).toHaveLength(1);
      const [t] = tubes;
      expect(Math.abs(t.diameter - 2 * radius)).toBeLessThan(0.1);
      // The stated error must be of the right size: not blind, not off by more than a few times itself.
      expect(t.diameterError).toBeGreaterThan(0.0005);
      expect(Math.abs(t.diameter - 2 * radius)).toBeLessThan(5 * t.diameterError + 0.01);
      expect(Math.abs(t.arcSeen - 180)).toBeLessThanOrEqual(20);
      // Corners of 61.9 and 38.9 degrees, each cut back by 70 tan(angle / 2): 42.0 and 24.7 mm.
      expect(t.straights).toHaveLength(3);
      const lengths = t.straights.map((s) => s.length).sort((a, b) => a - b);
      for (const [i, want] of [103.3, 145.3, 158].entries()) expect(Math.abs(lengths[i] - want)).toBeLessThan(5);
      const angles = t.bends.map((b) => b.angle).sort((a, b) => a - b);
      expect(Math.abs(angles[0] - 38.9)).toBeLessThan(0.3);
      expect(Math.abs(angles[1] - 61.9)).toBeLessThan(0.3);
      for (const b of t.bends) expect(Math.abs(b.radius - 70) / 70).toBeLessThan(0.06);
      expect(Math.abs(t.length - (158 + 103.3 + 145.3 + 70 * ((61.9 + 38.9) * (Math.PI / 180))))).toBeLessThan(6);
    });

  it('the centre line lies in the middle, not pulled to the seen side', () => {
    const [t] = findTubes(
      tubeScan(
        [
          [0, 0, 0],
          [150, 0, 0],
        ],
        half,
        random(5),
      ),
    );
    for (const p of t.axis) expect(Math.hypot(p[1], p[2])).toBeLessThan(0.1);
    expect(Math.abs(t.length - 150)).toBeLessThan(2);
    expect(t.bends).toEqual([]);
  });

  it('among clutter: two tubes, no plate, no ball', () => {
    const r = random(6);
    const scans = [
      tubeScan(corners, half, r),
      tubeScan(
        [
          [0, 80, 60],
          [180, 90, 40],
        ],
        { ...half, radius: 8 },
        r,
      ),
      clutter(7),
    ];
    const tubes = findTubes(joinMeshes(scans));
    expect(tubes.map((t) => Math.round(t.diameter))).toEqual([28, 16]);
  });

  it('a T-joint and a slanting branch: three tubes of three diameters, none lost or bent by the joint', () => {
    const r = random(12);
    const main: Vec3[] = [
      [-20, 0, 0],
      [330, 0, 0],
    ];
    const tee: Vec3[] = [
      [100, 0, 0],
      [100, 190, 0],
    ];
    const slanting: Vec3[] = [
      [230, 0, 0],
      [320, 150, 40],
    ];
    const lines = [main, tee, slanting];
    const radii = [16, 12.5, 11];
    // What a scanner sees: of each tube what is not inside another.
    const seen = lines.map((line, i) =>
      facesWhere(tubeScan(line, { ...half, radius: radii[i], arc: 200 }, r), (p) =>
        lines.every((other, k) => k === i || toSegment(p, other[0], other[1]) > radii[k]),
      ),
    );
    const tubes = findTubes(joinMeshes(seen)).sort((a, b) => b.diameter - a.diameter);
    expect(tubes).toHaveLength(3);
    tubes.forEach((t, i) => {
      expect(Math.abs(t.diameter - 2 * radii[i])).toBeLessThan(0.1);
      expect(t.bends).toEqual([]);
      const free = distance(lines[i][0], lines[i][1]) - (i === 0 ? 0 : radii[0]);
      expect(Math.abs(t.straights.reduce((sum, q) => sum + q.length, 0) - free)).toBeLessThan(20);
      for (const p of t.axis) expect(toSegment(p, lines[i][0], lines[i][1])).toBeLessThan(0.3);
    });
  });

  it('a closed ring is found once, all round', () => {
    const ring: Vec3[] = Array.from({ length: 9 }, (_, i) => [100 * Math.cos((i * Math.PI) / 4), 100 * Math.sin((i * Math.PI) / 4), 0]);
    const scan = tubeScan([[100, 0.001, 0], ...ring.slice(1, 8), [100, 0, 0]], { ...half, radius: 10, bend: 60, arc: 200 }, random(8));
    const tubes = findTubes(scan);
    expect(tubes).toHaveLength(1);
    expect(tubes[0].diameter).toBeCloseTo(20, 0.7);
  });

  it('an exact tube of a few long faces: the corners lie on it, the faces do not', () => {
    const [t] = findTubes(
      tubeScan(
        [
          [0, 0, 0],
          [300, 0, 0],
        ],
        { ...half, noise: 0, arc: 360, spacing: 3 },
        random(9),
      ),
    );
    expect(t.diameter).toBeCloseTo(28, 2);
  });

  it('a hollow surface is no tube', () => {
    const inside = tubeScan(corners, half, random(10));
    const flipped = { ...inside, indices: inside.indices.slice().reverse() };
    expect(findTubes(flipped)).toEqual([]);
  });

  it('rounded edges of blocks are no tubes, fillets of 5 to 20 mm, seeds 1 to 4', () => {
    [5, 8, 12, 20].forEach((fillet, i) => {
      const seed = i + 1;
      expect(findTubes(roundedBlock([160, 70, 60], fillet, random(seed))), `fillet ${fillet}`).toEqual([]);
    });
  });

  it('the same scan gives the same tubes', () => {
    const scan = tubeScan(corners, half, random(11));
    expect(findTubes(scan)).toEqual(findTubes(scan));
  });
});

describe('common sizes', () => {
  it('hints in mm and inches, the nearer first', () => {
    expect(commonSizes(28.02)[0].size).toBe('28 mm');
    expect(commonSizes(22.2)[0].size).toBe('7/8 in');
    expect(commonSizes(31.8)[0]).toMatchObject({ size: '1 1/4 in' });
    expect(commonSizes(31.8)[0].off).toBeCloseTo(0.05, 6);
  });
});

describe('bores', () => {
  const grid = gridOver({ min: [-54, -44, -34], max: [54, 44, 34] }, 2);
  const straight = (from: Vec3, to: Vec3, diameter: number): Tube => ({
    diameter,
    diameterError: 0.01,
    arcSeen: 180,
    axis: [from, to],
    length: distance(from, to),
    straights: [],
    bends: [],
    sizes: commonSizes(diameter),
    scatter: 0.1,
  });
  const block = box([100, 80, 60]);

  it('a tube right through: enclosed, as long as the block, and the Euler number agrees', () => {
    for (const at of [0, 0.7, 1.3]) {
      const tube = straight([-90, at, at], [90, at, at], 20);
      const body = fieldOf(grid, (x, y, z) => Math.min(block(x, y, z), Math.hypot(y - at, z - at) - 14));
      const bores = boresIn(body, [tube], 4);
      expect(bores).toHaveLength(1);
      expect(bores[0]).toMatchObject({ tube: 0, diameter: 28, enclosed: true, openAngle: 0 });
      expect(Math.abs(bores[0].length - 100)).toBeLessThan(2);
      expect(Math.abs(bores[0].cost / (Math.PI * 14 ** 2 * 100) - 1)).toBeLessThan(0.02);
      expect(euler(body).holes).toBe(bores.filter((b) => b.enclosed).length);
      // From the bore to the nearest face: 30 - 14 less the shift.
      expect(Math.abs(bores[0].web - (16 - at))).toBeLessThan(1);
    }
  });

  it('a tube in the upper face: an open slot, its angle from the geometry', () => {
    // The axis lies in the face: half the circumference is open.
    const tube = straight([-90, 0, 30], [90, 0, 30], 20);
    const body = fieldOf(grid, (x, y, z) => Math.min(block(x, y, z), Math.hypot(y, z - 30) - 14));
    const [bore, ...more] = boresIn(body, [tube], 4);
    expect(more).toEqual([]);
    expect(bore.enclosed).toBe(false);
    expect(Math.abs(bore.openAngle - 180)).toBeLessThan(15);
    expect(Math.abs(bore.cost / (0.5 * Math.PI * 14 ** 2 * 100) - 1)).toBeLessThan(0.1);
    expect(euler(body).holes).toBe(0);
  });

  it('the web to the next bore', () => {
    const tubes = [straight([-90, -20, 0], [90, -20, 0], 12), straight([-90, 20, 0], [90, 20, 0], 12)];
    const body = fieldOf(grid, (x, y, z) => Math.min(block(x, y, z), Math.hypot(y - 20, z) - 9, Math.hypot(y + 20, z) - 9));
    const bores = boresIn(body, tubes, 3);
    expect(bores.map((b) => b.enclosed)).toEqual([true, true]);
    // Outwards 40 - 20 - 9 = 11 to the face, inwards 22 to the other bore.
    for (const b of bores) expect(Math.abs(b.web - 11)).toBeLessThan(1);
    expect(euler(body).holes).toBe(2);
  });

  it('a tube that passes outside needs none', () => {
    expect(boresIn(fieldOf(grid, block), [straight([-90, 0, 60], [90, 0, 60], 20)], 4)).toEqual([]);
  });
});

import { describe, expect, it } from 'vitest';
import { lines, net, strip } from '../../samples/netting.ts';
import { block, capsule, cylinder, frameFrom, type Primitive, ring, sheet, tube } from '../../samples/primitives.ts';
import { obstacleDistance, PART_NAMES, part } from '../../samples/solids.ts';
import { random } from '../../src/core/random.ts';
import { growBox, unionBox, type Vec3 } from '../../src/core/vec.ts';

type Distance = (x: number, y: number, z: number) => number;

function gradient(f: Distance, [x, y, z]: Vec3): Vec3 {
  const e = 1e-4;
  return [
    (f(x + e, y, z) - f(x - e, y, z)) / (2 * e),
    (f(x, y + e, z) - f(x, y - e, z)) / (2 * e),
    (f(x, y, z + e) - f(x, y, z - e)) / (2 * e),
  ];
}

/**
 * A function that changes by at most 1 mm a mm never exceeds the distance to its own zeros; where a step of its own value against its
 * gradient ends on a zero, it is that distance. Returns the worst of both failings over random points outside.
 */
function worstOutside(f: Distance, box: { min: Vec3; max: Vec3 }, seed: number): { steep: number; miss: number } {
  const rng = random(seed);
  let steep = 0;
  let miss = 0;
  for (let n = 0; n < 400; n++) {
    const p: Vec3 = [rng.range(box.min[0], box.max[0]), rng.range(box.min[1], box.max[1]), rng.range(box.min[2], box.max[2])];
    const q: Vec3 = [rng.range(box.min[0], box.max[0]), rng.range(box.min[1], box.max[1]), rng.range(box.min[2], box.max[2])];
    const d = f(...p);
    steep = Math.max(steep, Math.abs(d - f(...q)) / Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]));
    if (d <= 0) continue;
    const g = gradient(f, p);
    // On the seam between two primitives there is no one direction; such points are rare and told by a short gradient.
    if (Math.abs(Math.hypot(...g) - 1) > 1e-4) continue;
    miss = Math.max(miss, Math.abs(f(p[0] - d * g[0], p[1] - d * g[1], p[2] - d * g[2])));
  }
  return { steep, miss };
}

/** Volume that the net over `primitives` encloses, litres. */
function netVolume(primitives: readonly Primitive[], step: number): number {
  const box = primitives.map((p) => p.box).reduce(unionBox);
  const axis = (a: 0 | 1 | 2) => lines({ lo: box.min[a], hi: box.max[a], from: -1e9, to: 1e9 }, step, step);
  return enclosed(net(primitives, [axis(0), axis(1), axis(2)]));
}

function enclosed({ positions: p, indices: t }: { positions: Float64Array; indices: Uint32Array }): number {
  let sum = 0;
  for (let i = 0; i < t.length; i += 3) {
    const [a, b, c] = [t[i] * 3, t[i + 1] * 3, t[i + 2] * 3];
    sum +=
      p[a] * (p[b + 1] * p[c + 2] - p[b + 2] * p[c + 1]) +
      p[a + 1] * (p[b + 2] * p[c] - p[b] * p[c + 2]) +
      p[a + 2] * (p[b] * p[c + 1] - p[b + 1] * p[c]);
  }
  return sum / 6e6;
}

/** Edges that do not have exactly one triangle on each side, in opposite directions. */
function openEdges(t: Uint32Array): number {
  const count = new Map<string, number>();
  for (let i = 0; i < t.length; i++) {
    const [a, b] = [t[i], t[i % 3 === 2 ? i - 2 : i + 1]];
    const key = a < b ? `${a} ${b}` : `${b} ${a}`;
    count.set(key, (count.get(key) ?? 0) + (a < b ? 1 : -1));
  }
  return [...count.values()].filter((v) => v !== 0).length;
}

const one = (p: Primitive): Distance => p.distance;

describe('exact distances', () => {
  const bent = tube(30, 60, [0, 0, 0], [200, 0, 0], [260, 150, 90]);
  const turnedFrame = frameFrom([0, 0, 0], [0.8, 0.6, 0], [-0.6, 0.8, 0]);
  const bentSheet = sheet(
    frameFrom([0, 0, 0], [1, 0, 0], [0, 0, 1]),
    [
      [0, 0],
      [100, 0],
      [140, 90],
    ],
    { rounding: 30, half: 40, thickness: 3 },
  );
  const cases: [string, readonly Primitive[]][] = [
    ['capsule', [capsule([0, 0, 0], [50, 80, 20], 14)]],
    ['bent tube', bent],
    ['turned rounded block', [block([10, 20, 30], [60, 40, 25], 8, turnedFrame)]],
    ['cylinder', [cylinder([0, 0, 0], [30, 40, 90], 35, 6)]],
    ['ring', [ring([0, -40, 0], [0, 40, 0], { inner: 90, outer: 160 }, 25)]],
    ['bent sheet', bentSheet.primitives],
  ];
  for (const [name, primitives] of cases)
    it(`${name}: no steeper than 1, and a step of the distance ends on the surface (seed 3)`, () => {
      const f: Distance = (x, y, z) => Math.min(...primitives.map((p) => one(p)(x, y, z)));
      const box = growBox(primitives.map((p) => p.box).reduce(unionBox), 60);
      const { steep, miss } = worstOutside(f, box, 3);
      expect(steep).toBeLessThan(1 + 1e-9);
      expect(miss).toBeLessThan(1e-3);
    });
  for (const name of PART_NAMES)
    it(`part ${name} of the quad, as a union (seed 4)`, () => {
      const box = growBox(
        part(name)
          .primitives.map((p) => p.box)
          .reduce(unionBox),
        80,
      );
      const { steep, miss } = worstOutside((x, y, z) => obstacleDistance(name, x, y, z), box, 4);
      expect(steep).toBeLessThan(1 + 1e-9);
      expect(miss).toBeLessThan(1e-3);
    });
  it('every primitive of every part lies in its box', () => {
    for (const name of PART_NAMES)
      for (const p of part(name).primitives) {
        const rng = random(9);
        for (let n = 0; n < 60; n++) {
          // From a point just outside the box the solid is at least as far as the box's side.
          const axis = rng.below(3);
          const q = [0, 1, 2].map((a) => rng.range(p.box.min[a], p.box.max[a]));
          q[axis] = p.box.max[axis] + 5;
          expect(p.distance(q[0], q[1], q[2])).toBeGreaterThan(5 - 1e-6);
          q[axis] = p.box.min[axis] - 5;
          expect(p.distance(q[0], q[1], q[2])).toBeGreaterThan(5 - 1e-6);
        }
      }
  });
});

describe('volumes of the nets against closed forms', () => {
  // Elementary geometry: capsule pi r^2 L + 4/3 pi r^3, torus 2 pi^2 R r^2, rounded box by Steiner's formula.
  it('capsule r 50, L 200: 2.094395 l less the sag of the facets', () => {
    expect(netVolume([capsule([0, 0, 0], [120, 160, 0], 50)], 4)).toBeCloseTo(2.094395, 2);
  });
  it('torus R 100, r 30: 1.776529 l, once as a ring and once as four bends', () => {
    const asRing = ring([0, -30, 0], [0, 30, 0], { inner: 70, outer: 130 }, 30);
    expect(Math.abs(netVolume([asRing], 3) / 1.776529 - 1)).toBeLessThan(0.006);
    const corner: Vec3[] = [
      [-100, 0, 0],
      [-100, 100, 0],
      [100, 100, 0],
      [100, -100, 0],
      [-100, -100, 0],
      [-100, 0, 0],
    ];
    expect(Math.abs(netVolume(tube(60, 100 - 1e-9, ...corner), 3) / 1.776529 - 1)).toBeLessThan(0.006);
  });
  it('box 400x300x200 grown by 3: 25.5856 l', () => {
    expect(Math.abs(netVolume([block([0, 0, 0], [203, 153, 103], 3)], 4) / 25.5856 - 1)).toBeLessThan(0.001);
  });
  it('strips are closed, face outwards and enclose area times thickness, with round rims', () => {
    const flat = sheet(
      frameFrom([0, 0, 0], [1, 0, 0], [0, 0, 1]),
      [
        [0, 0],
        [300, 0],
      ],
      { rounding: 1, half: 100, thickness: 4 },
    );
    const s = strip(flat.skeleton, 5);
    expect(openEdges(s.indices)).toBe(0);
    // 300 x 200 x 4, a half-round rim of radius 2 along 1000 mm, balls at the corners.
    const exact = (300 * 200 * 4 + (Math.PI * 4 * 1000) / 2 + (4 / 3) * Math.PI * 8) / 1e6;
    expect(Math.abs(enclosed(s) / exact - 1)).toBeLessThan(0.01);
  });
  it('nets of a thick part are closed', () => {
    const p = part('airbox').primitives;
    const box = p.map((q) => q.box).reduce(unionBox);
    const axis = (a: 0 | 1 | 2) => lines({ lo: box.min[a], hi: box.max[a], from: -300, to: 0 }, 5, 9);
    expect(openEdges(net(p, [axis(0), axis(1), axis(2)]).indices)).toBe(0);
  });
});

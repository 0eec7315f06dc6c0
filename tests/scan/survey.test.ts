import { describe, expect, it } from 'vitest';
import type { Mesh } from '../../src/core/mesh.ts';
import { joinMeshes, meshArea } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { borderLoops } from '../../src/scan/borders.ts';
import { closeLoop } from '../../src/scan/caps.ts';
import { doubleSheets } from '../../src/scan/double-sheets.ts';
import { holesTask } from '../../src/scan/holes.ts';
import { surfaceNoise } from '../../src/scan/noise.ts';
import { topology } from '../../src/scan/topology.ts';
import { ballMesh, boxMesh, moveMesh, randomTurn, refineMesh } from '../oracle/shapes.ts';

/** An open tube of radius r and length l along z, its faces outwards: `around` by `along` squares of two triangles. */
function openTube(r: number, l: number, around: number, along: number): Mesh {
  const positions = new Float32Array(around * (along + 1) * 3);
  const indices: number[] = [];
  for (let j = 0; j <= along; j++)
    for (let i = 0; i < around; i++) {
      const t = (2 * Math.PI * i) / around;
      positions.set([r * Math.cos(t), r * Math.sin(t), (j * l) / along], (j * around + i) * 3);
      if (j === along) continue;
      const [a, b] = [j * around + i, j * around + ((i + 1) % around)];
      indices.push(a, b, b + around, a, b + around, a + around);
    }
  return { origin: [0, 0, 0], positions, indices: Uint32Array.from(indices) };
}

/** A closed ball, every corner there once: a box cut finer and blown up. */
function closedBall(radius: number, rounds: number): Mesh {
  const m = refineMesh(boxMesh([1, 1, 1]), rounds);
  const p = m.positions.slice();
  for (let v = 0; v < p.length; v += 3) {
    const k = radius / Math.hypot(p[v], p[v + 1], p[v + 2]);
    for (let a = 0; a < 3; a++) p[v + a] *= k;
  }
  return { ...m, positions: p };
}

const without = (m: Mesh, gone: (f: number) => boolean): Mesh => ({
  ...m,
  indices: m.indices.filter((_, i) => !gone(Math.floor(i / 3))),
});

/** Every triangle with corners of its own, as STL has them. */
function soup(m: Mesh): Mesh {
  const positions = new Float32Array(m.indices.length * 3);
  m.indices.forEach((v, i) => {
    positions.set(m.positions.subarray(v * 3, v * 3 + 3), i * 3);
  });
  return { origin: m.origin, positions, indices: Uint32Array.from({ length: m.indices.length }, (_, i) => i) };
}

const flip = (m: Mesh, which: (f: number) => boolean): Mesh => {
  const indices = m.indices.slice();
  for (let f = 0; f < indices.length / 3; f++)
    if (which(f)) [indices[f * 3 + 1], indices[f * 3 + 2]] = [indices[f * 3 + 2], indices[f * 3 + 1]];
  return { ...m, indices };
};

describe('borders', () => {
  it.each([1, 2, 3])('an open tube has two, of the length of its rims, put anyhow (seed %i)', (seed) => {
    const rng = random(seed);
    const shift: Vec3 = [rng.range(-900, 900), rng.range(-900, 900), 5e4];
    const turn = randomTurn(rng);
    for (const m of [openTube(20, 100, 90, 40), soup(openTube(20, 100, 90, 40))]) {
      const { loops, pieces } = topology(moveMesh(m, turn, shift));
      expect(pieces).toHaveLength(1);
      expect(loops).toHaveLength(2);
      for (const l of loops) {
        // A polygon of 90 sides in a circle of radius 20.
        expect(l.length).toBeCloseTo(90 * 40 * Math.sin(Math.PI / 90), 2);
        expect(l.vertices).toHaveLength(90);
      }
      const apart = Math.hypot(...[0, 1, 2].map((a) => loops[0].at[a] - loops[1].at[a]));
      expect(apart).toBeCloseTo(100, 1);
    }
  });

  it('a closed ball has none; one triangle out of it leaves one of three corners, two that touch leave their outline', () => {
    const ball = closedBall(50, 4);
    expect(topology(ball)).toMatchObject({ loops: [], flipped: [], duplicates: 0, crowdedEdges: 0, degenerate: 0 });
    expect(topology(without(ball, (f) => f === 300)).loops.map((l) => l.vertices.length)).toEqual([3]);
    const pair = topology(without(openTube(20, 100, 30, 10), (f) => f === 200 || f === 201)).loops;
    expect(pair.map((l) => l.vertices.length).sort((a, b) => a - b)).toEqual([4, 30, 30]);
  });

  it('agrees with a count of edges by their corners on a ball with holes at random', () => {
    const rng = random(8);
    const gone = Array.from({ length: 12 * 4 ** 4 }, () => rng.next() < 0.15);
    const holed = without(closedBall(50, 4), (f) => gone[f]);
    const seen = new Map<string, number>();
    for (let i = 0; i < holed.indices.length; i++) {
      const [v, w] = [holed.indices[i], holed.indices[i % 3 === 2 ? i - 2 : i + 1]];
      const key = v < w ? `${v} ${w}` : `${w} ${v}`;
      seen.set(key, (seen.get(key) ?? 0) + 1);
    }
    const single = [...seen.values()].filter((n) => n === 1).length;
    const { loops } = topology(holed);
    expect(loops.reduce((n, l) => n + l.vertices.length, 0)).toBe(single);
    for (const m of [holed, soup(holed)])
      expect(borderLoops(m).map((l) => [l.vertices.length, l.length])).toEqual(loops.map((l) => [l.vertices.length, l.length]));
  });

  it('looked for alone, they are the same where faces are there twice or turned round', () => {
    const rng = random(18);
    const flipped = Array.from({ length: 12 * 4 ** 4 }, () => rng.next() < 0.02);
    const gone = flipped.map(() => rng.next() < 0.05);
    const ball = flip(
      without(closedBall(50, 4), (f) => gone[f]),
      (f) => flipped[f],
    );
    const twice: Mesh = { ...ball, indices: Uint32Array.from([...ball.indices, ...ball.indices.slice(900, 1200)]) };
    for (const m of [ball, twice]) {
      const { loops } = topology(m);
      expect(loops.length).toBeGreaterThan(50);
      expect(borderLoops(m).map((l) => l.vertices.length)).toEqual(loops.map((l) => l.vertices.length));
    }
  });

  it('those near the envelope come first, and are thinned for drawing', async () => {
    const tube = openTube(20, 100, 90, 40);
    const slit = without(tube, (f) => f >= 2000 && f < 2004);
    // Places where an envelope would be: beside the rim at z = 100, and 30 mm off the axis of the tube at the other.
    const places = Float64Array.of(20, 0, 105, 0, 20, 105, 30, 0, -10);
    const found = await holesTask.run({ scan: 'tube', mesh: slit, places });
    expect(found.map((h) => h.at_mm.map((v) => Math.abs(Math.round(v)))[2])).toEqual([100, 0, expect.any(Number)]);
    // The nearest of the thinned corners lies up to 0.7 mm beside the place.
    expect(found[0].from_envelope_mm).toBeGreaterThanOrEqual(5);
    expect(found[0].from_envelope_mm).toBeLessThan(5.1);
    expect(found[1].from_envelope_mm).toBeCloseTo(Math.hypot(10, 10), 1);
    expect(found[0].loop).toHaveLength(45);
    for (const [x, y] of found[0].loop) expect(Math.hypot(x, y)).toBeCloseTo(20, 1);
    expect(found[2].length_mm).toBeLessThan(20);
  });
});

describe('faces', () => {
  it('a patch that was turned round is found with its area, and the rest is not', () => {
    const tube = openTube(20, 100, 30, 20);
    const patch = (f: number): boolean => f >= 300 && f < 420;
    const { flipped } = topology(flip(tube, patch));
    expect(flipped).toHaveLength(1);
    expect(flipped[0].triangles).toBe(120);
    expect(flipped[0].area).toBeCloseTo(meshArea(without(tube, (f) => !patch(f))), 2);
    expect(topology(flip(tube, () => true)).flipped).toEqual([]);
  });

  it('triangles that are there twice are counted, whichever way round', () => {
    const ball = closedBall(50, 3);
    const again = ball.indices.slice(30, 30 + 3 * 7);
    again.set([again[1], again[0], again[2]]);
    expect(topology({ ...ball, indices: Uint32Array.from([...ball.indices, ...again]) }).duplicates).toBe(7);
  });

  it('triangles that are there twice make no flipped patch, no crowd of edges and no border of their own', () => {
    const tube = openTube(20, 100, 30, 20);
    // A strip across the whole tube, both rims in it.
    const strip = tube.indices.filter((_, i) => Math.floor(i / 6) % 30 === 4);
    const found = topology({ ...tube, indices: Uint32Array.from([...tube.indices, ...strip]) });
    expect(found).toMatchObject({ duplicates: 40, flipped: [], crowdedEdges: 0 });
    expect(found.loops.map((l) => l.vertices.length)).toEqual([30, 30]);
  });

  it('a rim that a flipped patch interrupts stays in one piece, whatever the order of the faces', () => {
    const tube = openTube(20, 100, 30, 20);
    const order = Array.from({ length: tube.indices.length / 3 }, (_, f) => f);
    for (const faces of [order, [...order].reverse()]) {
      const indices = Uint32Array.from(faces.flatMap((f) => [...tube.indices.subarray(f * 3, f * 3 + 3)]));
      const { loops } = topology(flip({ ...tube, indices }, (k) => Math.floor(faces[k] / 2) === 4));
      // One whole rim of 30 corners, and one of 29 edges beside the flipped square's own edge.
      expect(loops.map((l) => l.vertices.length)).toEqual([30, 30, 2]);
    }
  });

  it('a second sheet over half of a tube is found, the two sides of a thin wall are not one', () => {
    const tube = openTube(20, 200, 60, 60);
    const half = openTube(20.6, 100, 60, 30);
    const found = doubleSheets(joinMeshes([tube, half]));
    // Tube 200 long, half of it under the second sheet, which has the other half of all that is double.
    expect(found.share).toBeCloseTo(2 / 3, 1);
    expect(found.apart).toBeGreaterThan(0.55);
    expect(found.apart).toBeLessThan(0.65);
    const inner = flip(openTube(19, 200, 60, 60), () => true);
    expect(doubleSheets(joinMeshes([tube, inner])).share).toBe(0);
  });
});

describe('roughness', () => {
  it.each([
    ['tube of 16 mm', openTube(16, 300, 70, 200), 1.5],
    ['ball of 200 mm', ballMesh(200, 120), 4],
  ])('noise put on a %s is read back', (_, m, spacing) => {
    for (const sigma of [0.05, 0.1, 0.3]) {
      const rng = random(21);
      const positions = m.positions.slice();
      for (let v = 0; v < positions.length; v += 3) {
        // Along the normal: away from the axis or the centre.
        const z = m.positions.length === positions.length && spacing === 1.5 ? 0 : positions[v + 2];
        const r = Math.hypot(positions[v], positions[v + 1], z) || 1;
        const by = 1 + (sigma * rng.normal()) / r;
        positions[v] *= by;
        positions[v + 1] *= by;
        if (z !== 0) positions[v + 2] *= by;
      }
      const read = surfaceNoise({ ...m, positions }, spacing);
      expect(read / sigma).toBeGreaterThan(0.9);
      expect(read / sigma).toBeLessThan(1.12);
    }
  });

  it('is not told from a handful of points', () => {
    expect(surfaceNoise(ballMesh(20, 2), 10)).toBeNaN();
  });
});

describe('closing a border', () => {
  it('a rim is filled by its polygon, facing along the tube, and then nothing is open there', () => {
    const tube = openTube(20, 100, 48, 10);
    const [loop] = topology(tube).loops.filter((l) => l.at[2] > 50);
    const patch = closeLoop(tube, loop.vertices);
    expect(patch).toHaveLength(46 * 3);
    const area = (48 / 2) * 400 * Math.sin((2 * Math.PI) / 48);
    expect(meshArea({ ...tube, indices: patch })).toBeCloseTo(area, 2);
    const closed = topology({ ...tube, indices: Uint32Array.from([...tube.indices, ...patch]) });
    expect(closed.loops).toHaveLength(1);
    expect(closed).toMatchObject({ flipped: [], crowdedEdges: 0 });
  });

  it('a long slot is zipped across its width', () => {
    const tube = openTube(20, 400, 60, 100);
    // A third of the way round missing over the middle 360 mm.
    const slot = without(tube, (f) => {
      const square = Math.floor(f / 2);
      const [i, j] = [square % 60, Math.floor(square / 60)];
      return i < 20 && j >= 5 && j < 95;
    });
    const [loop] = topology(slot).loops;
    const chord = 2 * 20 * Math.sin((Math.PI * 20) / 60);
    expect(meshArea({ ...slot, indices: closeLoop(slot, loop.vertices) })).toBeLessThan(1.08 * chord * 360);
  });
});

import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { cellCount, type Grid } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { euler } from '../../src/field/euler.ts';
import { anyTurn, ball, both, box, capsule, type Depth, either, not, placed, torus } from '../oracle/solids.ts';

const grid: Grid = { origin: [-48, -48, -48], step: 2, nx: 49, ny: 49, nz: 49 };

/** Straight bars of radius 5 between pairs of points. */
function bars(pairs: readonly (readonly number[])[]): Depth {
  return (x, y, z) => {
    let best = -Infinity;
    for (const [ax, ay, az, bx, by, bz] of pairs) {
      const t = ((x - ax) * (bx - ax) + (y - ay) * (by - ay) + (z - az) * (bz - az)) / ((bx - ax) ** 2 + (by - ay) ** 2 + (bz - az) ** 2);
      const u = Math.min(Math.max(t, 0), 1);
      best = Math.max(best, 5 - Math.hypot(x - ax - u * (bx - ax), y - ay - u * (by - ay), z - az - u * (bz - az)));
    }
    return best;
  };
}

const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((c) => [c & 1, (c >> 1) & 1, c >> 2].map((b) => (b ? 25 : -25)));
const edges = corners.flatMap((a, i) =>
  corners
    .slice(i + 1)
    .filter((b) => a.filter((v, q) => v !== b[q]).length === 1)
    .map((b) => [...a, ...b]),
);
const rungs = [-32, -16, 0, 16, 32];
const ladder = [[-15, -38, 0, -15, 38, 0], [15, -38, 0, 15, 38, 0], ...rungs.map((y) => [-15, y, 0, 15, y, 0])];

describe('Euler numbers (Toriwaki & Yonekura 2002), turned at random', () => {
  const cases: [string, Depth, number, number, number][] = [
    ['ball', ball(30), 1, 0, 0],
    ['shell', both(ball(35), not(ball(20))), 1, 0, 1],
    ['torus', torus(28, 10), 1, 1, 0],
    ['the edges of a cube', bars(edges), 1, 5, 0],
    ['a ladder of five rungs', bars(ladder), 1, 4, 0],
    ['two balls, one hollow', either(placed(both(ball(20), not(ball(10))), [1, 0, 0, 0], [-22, 0, 0]), ball(12, [28, 0, 0])), 2, 0, 1],
    ['box with two hollows', both(box([60, 40, 40]), not(ball(9, [15, 0, 0])), not(ball(9, [-15, 0, 0]))), 1, 0, 2],
    ['capsule', capsule(10, 50), 1, 0, 0],
  ];
  for (const [name, solid, pieces, holes, cavities] of cases)
    for (let seed = 1; seed <= 2; seed++)
      it(`${name}, seed ${seed}`, () => {
        const r = random(seed);
        const field = fieldOf(grid, placed(solid, anyTurn(r.normal), [r.range(-1, 1), r.range(-1, 1), r.range(-1, 1)]));
        expect(euler(field)).toEqual({ pieces, holes, cavities, euler: pieces - holes + cavities });
      });

  it('the stated numbers: ball 1, shell 2, torus 0, cube of edges -4, ladder -3', () => {
    expect(cases.slice(0, 5).map(([, solid]) => euler(fieldOf(grid, solid)).euler)).toEqual([1, 2, 0, -4, -3]);
  });
});

describe('Euler number of small patterns', () => {
  const g: Grid = { origin: [0, 0, 0], step: 1, nx: 5, ny: 5, nz: 5 };

  it('cells that touch at an edge or a corner only are two pieces', () => {
    for (const other of ['220', '222']) {
      const field = fieldOf(g, (x, y, z) => (x + y + z === 3 && x === 1 && y === 1 ? 1 : `${x}${y}${z}` === other ? 1 : -1));
      expect(euler(field).pieces).toBe(2);
    }
  });

  it('a hollow that leaks at a corner only is no cavity', () => {
    const shell = (x: number, y: number, z: number): number => Math.max(Math.abs(x - 2), Math.abs(y - 2), Math.abs(z - 2));
    expect(euler(fieldOf(g, (x, y, z) => (shell(x, y, z) === 1 ? 1 : -1))).cavities).toBe(1);
    expect(euler(fieldOf(g, (x, y, z) => (shell(x, y, z) === 1 && x + y + z !== 3 ? 1 : -1))).cavities).toBe(0);
  });

  it('a hollow at the grid edge is open', () => {
    expect(euler(fieldOf(g, (x, y, z) => (x === 2 && y === 2 && z === 0 ? -1 : 1)))).toEqual({
      pieces: 1,
      holes: 0,
      cavities: 0,
      euler: 1,
    });
  });

  it('holes are never negative and numbers add up, random patterns, seeds 1 to 30', () => {
    for (let seed = 1; seed <= 30; seed++) {
      const r = random(seed);
      const share = r.next();
      const field = fieldOf({ ...g, nx: 6, ny: 7 }, () => share - r.next());
      const e = euler(field);
      expect(e.holes).toBeGreaterThanOrEqual(0);
      expect(e.pieces - e.holes + e.cavities).toBe(e.euler);
      expect(e.pieces).toBeLessThanOrEqual(cellCount(field.grid));
    }
  });
});

import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { cellAt, cellCentre, type Grid } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { flood, UNREACHED } from '../../src/field/flood.ts';
import { slowReach } from '../oracle/dijkstra.ts';

const grid = (nx: number, ny: number, nz: number, step = 1): Grid => ({ origin: [0, 0, 0], step, nx, ny, nz });

/** A room of balls joined by tubes along x: free where inside any of them; the field is the depth inside. */
function rooms(g: Grid, balls: [number, number][], tubes: [number, number, number][]): Field {
  return fieldOf(g, (x, y, z) => {
    const off = Math.hypot(y - 20, z - 20);
    let f = -Infinity;
    for (const [at, r] of balls) f = Math.max(f, r - Math.hypot(x - at, off));
    for (const [from, to, r] of tubes) if (x >= from && x <= to) f = Math.max(f, r - off);
    return f;
  });
}

describe('flood against a slow widest-path search', () => {
  const shapes: [number, number, number][] = [
    [9, 8, 7],
    [13, 1, 11],
    [1, 1, 30],
    [6, 14, 5],
  ];
  for (let seed = 1; seed <= 24; seed++)
    it(`random field, seed ${seed}`, () => {
      const r = random(seed);
      const [nx, ny, nz] = shapes[seed % shapes.length];
      // Every third field has few different values, so that ties are common; every fourth has walls.
      const field = fieldOf(grid(nx, ny, nz), () => {
        if (seed % 4 === 0 && r.next() < 0.35) return -Infinity;
        return seed % 3 === 0 ? r.below(5) - 2 : Math.fround(r.normal() * 10 ** r.range(-6, 6));
      });
      const sources = Array.from({ length: 1 + r.below(3) }, () => r.below(field.data.length));
      const floor = seed % 5 === 0 ? -0.5 : undefined;
      const { reach, labels } = flood(field, sources, { floor });
      expect(new Uint32Array(reach.data.buffer)).toEqual(new Uint32Array(slowReach(field, sources, floor).buffer));
      for (let c = 0; c < labels.length; c++) expect(labels[c] === UNREACHED).toBe(reach.data[c] === -Infinity);
    });

  it('a minimax by negation', () => {
    const r = random(77);
    const field = fieldOf(grid(7, 7, 7), () => r.range(0, 100));
    const negated = { grid: field.grid, data: field.data.map((v) => -v) };
    const { reach } = flood(negated, [0]);
    expect(reach.data[342]).toBe(slowReach(negated, [0])[342]);
    expect(-reach.data[342]).toBeGreaterThanOrEqual(Math.max(field.data[0], field.data[342]));
  });

  it('a source that may not be entered reaches nothing', () => {
    const field = fieldOf(grid(4, 4, 4), (x) => x - 1);
    const { reach, necks } = flood(field, [0], { floor: 0 });
    expect(reach.data.every((v) => v === -Infinity)).toBe(true);
    expect(necks).toEqual([]);
  });
});

describe('necks', () => {
  it('a dumbbell has one neck of the tube radius, with the far chamber behind it', () => {
    const g = grid(101, 41, 41);
    const field = rooms(
      g,
      [
        [20, 18],
        [75, 15],
      ],
      [[20, 75, 5]],
    );
    const { necks, labels, reach } = flood(field, [cellAt(g, [20, 20, 20])], { floor: 0 });
    expect(necks).toHaveLength(1);
    const [neck] = necks;
    expect(neck.level).toBe(5);
    expect(neck.peak).toBe(15);
    expect(cellCentre(g, neck.peakCell)).toEqual([75, 20, 20]);
    expect(neck.parent).toBe(-1);
    expect(reach.data[cellAt(g, [75, 20, 20])]).toBe(5);
    // Behind it: about the ball of 15 mm, cells being 1 mm3.
    expect(neck.cells).toBeGreaterThan(0.95 * (4 / 3) * Math.PI * 15 ** 3);
    expect(neck.cells).toBeLessThan(1.1 * (4 / 3) * Math.PI * 15 ** 3);
    expect(labels.reduce((n, l) => n + (l === 0 ? 1 : 0), 0)).toBe(neck.cells);
    expect(labels[cellAt(g, [20, 30, 20])]).toBe(-1);
  });

  it('a ladder of pockets: each behind the one before, peaks and counts summed up', () => {
    const g = grid(181, 41, 41);
    const balls: [number, number][] = [
      [16, 15],
      [60, 12],
      [105, 16],
      [155, 18],
    ];
    const field = rooms(g, balls, [
      [16, 60, 8],
      [60, 105, 6],
      [105, 155, 4],
    ]);
    const { necks, labels } = flood(field, [cellAt(g, [16, 20, 20])], { floor: 0 });
    expect(necks.map((n) => n.level)).toEqual([8, 6, 4]);
    expect(necks.map((n) => n.parent)).toEqual([-1, 0, 1]);
    expect(necks.map((n) => n.peak)).toEqual([18, 18, 18]);
    expect(necks[0].cells).toBeGreaterThan(necks[1].cells);
    const own = necks.map((_, i) => labels.reduce((n, l) => n + (l === i ? 1 : 0), 0));
    expect(necks[2].cells).toBe(own[2]);
    expect(necks[1].cells).toBe(own[1] + own[2]);
    expect(necks[0].cells).toBe(own[0] + own[1] + own[2]);
  });

  it('a pocket that rises too little is joined to the one before it and no cell is lost', () => {
    const g = grid(181, 41, 41);
    const field = rooms(
      g,
      [
        [16, 15],
        [60, 9],
        [105, 16],
      ],
      [
        [16, 60, 8],
        [60, 105, 6],
      ],
    );
    const source = [cellAt(g, [16, 20, 20])];
    const all = flood(field, source, { floor: 0, persistence: 0.5 });
    const few = flood(field, source, { floor: 0, persistence: 2 });
    expect(all.necks.map((n) => n.level)).toEqual([8, 6]);
    expect(few.necks.map((n) => n.level)).toEqual([6]);
    expect(few.necks[0]).toMatchObject({ parent: -1, cells: all.necks[1].cells });
    expect(few.labels.filter((l) => l !== UNREACHED).length).toBe(all.labels.filter((l) => l !== UNREACHED).length);
  });

  it('two chambers behind one neck each, side by side, know no parent', () => {
    const g = grid(141, 41, 41);
    const field = rooms(
      g,
      [
        [20, 12],
        [70, 18],
        [120, 14],
      ],
      [
        [20, 70, 5],
        [70, 120, 7],
      ],
    );
    const { necks } = flood(field, [cellAt(g, [70, 20, 20])], { floor: 0 });
    expect(necks.map((n) => [n.level, n.peak, n.parent])).toEqual([
      [7, 14, -1],
      [5, 12, -1],
    ]);
  });

  it('sources are no necks, whatever lies above them', () => {
    const g = grid(101, 41, 41);
    const field = rooms(
      g,
      [
        [20, 18],
        [75, 15],
      ],
      [[20, 75, 5]],
    );
    const { necks } = flood(field, [cellAt(g, [20, 37, 20]), cellAt(g, [75, 34, 20])], { floor: 0 });
    expect(necks).toEqual([]);
  });
});

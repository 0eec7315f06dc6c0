import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import { type Item, type PlacedItem, packItems, packLuggage } from '../../src/stow/items.ts';
import { LUGGAGE } from '../../src/stow/standard.ts';
import { box, can, fieldIn, questions, type Solid } from './shapes.ts';

// Sizes of a one-litre bottle, a first-aid kit and a tool roll: common practice.
const KIT: Item[] = [
  { name: 'bottle', shape: 'box', size: [90, 60, 230], count: 2 },
  { name: 'first-aid kit', shape: 'box', size: [160, 110, 50], count: 1 },
  { name: 'tool roll', shape: 'cylinder', diameter: 80, length: 250, count: 1 },
];

const inside = (p: PlacedItem, solid: Solid, tolerance: number): void => {
  for (let t = 0; t < 64; t++) {
    const q = [0, 1, 2].map((a) => p.at_mm[a] + p.size_mm[a] / 2);
    if (p.axis === undefined) {
      for (let a = 0; a < 3; a++) q[a] += p.size_mm[a] * ((Math.floor(t / 4 ** a) % 4) / 3 - 0.5);
    } else {
      const [u, v] = [(p.axis + 1) % 3, (p.axis + 2) % 3];
      q[u] += (p.size_mm[u] / 2) * Math.cos((t * Math.PI) / 16);
      q[v] += (p.size_mm[v] / 2) * Math.sin((t * Math.PI) / 16);
      q[p.axis] += (p.size_mm[p.axis] / 2) * (t < 32 ? -1 : 1);
    }
    expect(solid(q[0], q[1], q[2])).toBeGreaterThan(-1.8 * tolerance);
  }
};

describe('items', () => {
  it('a bottle pair, a first-aid kit and a tool roll go into 270 x 200 x 130', () => {
    const solid = box(270, 200, 130);
    const r = packItems(fieldIn(solid, [135, 100, 65], 5), KIT, { budget: questions(300) });
    expect(r.all).toBe(true);
    expect(r.items.map((i) => i.fits)).toEqual([2, 1, 1]);
    for (const i of r.items) for (const p of i.places) inside(p, solid, r.tolerance_mm);
    expect(r.volume_l).toBeCloseTo((2 * 90 * 60 * 230 + 160 * 110 * 50 + (Math.PI / 4) * 6400 * 250) / 1e6, 9);
  });

  it('what can not go in together is left out, and said', () => {
    const r = packItems(fieldIn(box(240, 100, 70), [120, 50, 35], 5), KIT, { budget: questions(40) });
    expect(r.all).toBe(false);
    expect(r.items[0].fits).toBe(1);
    expect(r.items[2].fits).toBe(0);
    expect(r.notes.map((n) => n.code)).toEqual(['stow-partly']);
  });

  it('a cylinder goes where its box would not: standing in a can, two side by side in an oval', () => {
    const solid = can(52, 210);
    const r = packItems(fieldIn(solid, [52, 52, 105], 3), [{ name: 'flask', shape: 'cylinder', diameter: 100, length: 200, count: 2 }], {
      budget: questions(5),
      pitch: 2,
    });
    expect(r.items[0].fits).toBe(1);
    expect(r.items[0].places[0].axis).toBe(2);
    inside(r.items[0].places[0], solid, r.tolerance_mm);
    const lying: Solid = (x, y, z) => solid(z, y, x);
    const l = packItems(fieldIn(lying, [105, 52, 52], 3), [{ name: 'flask', shape: 'cylinder', diameter: 100, length: 200, count: 1 }], {
      budget: questions(5),
      pitch: 2,
    });
    expect(l.items[0].places[0].axis).toBe(0);
  });

  it('round and square side by side: beside a can in a square well a stick of 14 goes into each corner, one of 16 into none', () => {
    // A circle of radius r in its square leaves corners of (1 - 1 / sqrt 2) r: 14.6 mm here.
    const f = fieldIn(box(100, 100, 200), [50, 50, 100], 2);
    const stick = (edge: number): Item => ({ name: 'stick', shape: 'box', size: [edge, edge, 200], count: 5 });
    const flask: Item = { name: 'flask', shape: 'cylinder', diameter: 100, length: 200, count: 1 };
    const thin = packItems(f, [flask, stick(14)], { budget: questions(30), pitch: 2 });
    expect(thin.items.map((i) => i.fits)).toEqual([1, 4]);
    expect(packItems(f, [flask, stick(16)], { budget: questions(5), pitch: 2 }).items.map((i) => i.fits)).toEqual([1, 0]);
  });

  it('an item that does not pass the opening has no place, though there is room behind it', () => {
    // Two rooms joined by a hatch of 60 x 60; the opening is in the first.
    const rooms: Solid = (x, y, z) =>
      Math.max(box(150, 150, 150)(x + 80, y, z), box(150, 150, 150)(x - 80, y, z), box(60, 60, 60)(x, y, z));
    const f = fieldIn(rooms, [155, 75, 75], 5);
    const cube = (edge: number, count: number): Item => ({ name: 'cube', shape: 'box', size: [edge, edge, edge], count });
    const opening = [-100, 0, 0] as const;
    expect(packItems(f, [cube(100, 2)], { budget: questions(20) }).items[0].fits).toBe(2);
    expect(packItems(f, [cube(100, 2)], { budget: questions(20), opening }).items[0].fits).toBe(1);
    const small = packItems(f, [cube(50, 20)], { budget: questions(20), opening, pitch: 5 }).items[0];
    expect(small.places.some((p) => p.at_mm[0] > 20)).toBe(true);
  });

  it('luggage pieces of SAE J1100: a boot of 1000 x 500 x 480 takes more than two of the largest', () => {
    const r = packLuggage(fieldIn(box(1000, 500, 480), [500, 250, 240], 20), { budget: questions(20), pitch: 20 });
    // Pieces of SAE J1100 with the most that may be counted of each, as listed in arXiv 1008.3773.
    expect(LUGGAGE.map(({ size, most }) => [...size, most])).toEqual([
      [229, 483, 610, 4],
      [165, 330, 457, 4],
      [229, 406, 660, 2],
      [216, 457, 533, 2],
      [203, 229, 381, 2],
      [178, 356, 533, 2],
      [1143, 204, 204, 2],
      [152, 114, 325, 20],
    ]);
    expect(r.items.map((i) => i.asked)).toEqual(LUGGAGE.map((p) => p.most));
    expect(r.items[6].fits).toBe(0);
    expect(r.volume_l).toBeGreaterThan(0.55 * 240);
    expect(r.volume_l).toBeLessThan(240);
  });

  it('senseless items are refused', () => {
    const f = fieldIn(box(100, 100, 100), [50, 50, 50], 5);
    expect(() => packItems(f, [{ name: 'x', shape: 'box', size: [0, 1, 1], count: 1 }], { budget: questions(1) })).toThrow(Fault);
    expect(() => packItems(f, [{ name: 'x', shape: 'cylinder', diameter: 5, length: 5, count: 1.5 }], { budget: questions(1) })).toThrow(
      Fault,
    );
  });
});

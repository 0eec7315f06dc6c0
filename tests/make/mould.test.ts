import Module, { type Manifold } from 'manifold-3d';
import { describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { type Mesh, meshArea } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { dot, type Vec3 } from '../../src/core/vec.ts';
import { surface } from '../../src/field/surface.ts';
import { Flat } from '../../src/make/flat.ts';
import { foamFigures } from '../../src/make/foam.ts';
import { boxAlong, hullOf, leastBox, volumeOf } from '../../src/make/least-box.ts';
import { blocksOf, scaledForMould, shrinkageOf } from '../../src/make/mould.ts';
import { PROCESS_FIGURES } from '../../src/make/processes.ts';
import { bestPull, pullFigures } from '../../src/make/pull.ts';
import { AskedSurface } from '../../src/make/samples.ts';
import { cutterFigures, thinFigures } from '../../src/make/touching.ts';
import { moveMesh, randomTurn } from '../oracle/shapes.ts';

const lib = await Module();
lib.setup();
const { Manifold: Solid, CrossSection } = lib;

function meshOf(solid: Manifold): Mesh {
  const { vertProperties, triVerts } = solid.getMesh();
  return { origin: [0, 0, 0], positions: vertProperties.slice(), indices: triVerts.slice() };
}
const block = (lo: Vec3, size: Vec3): Manifold => Solid.cube([...size]).translate([...lo]);
const asked = (solid: Manifold): AskedSurface => new AskedSurface(meshOf(solid));

const Z: Vec3 = [0, 0, 1];

describe('undercuts and draft along a direction of pull', () => {
  it('a ball: half of it stops a mould in one part, nothing stops two; low draft by the closed form', () => {
    const ball = asked(Solid.sphere(50, 256));
    for (const d of [Z, [0.6, 0, 0.8], [1, 2, -3]] as const) {
      const p = pullFigures(ball, d, 5);
      // Walls that lean in by less than half a degree count as upright: sin(0.5 degrees) / 2 of the area.
      expect(Math.abs(p.one_part_percent - 50)).toBeLessThan(0.6);
      expect(p.two_part_percent).toBe(0);
      // The zone of a sphere within 5 degrees of its equator is sin(5 degrees) of the area; a facet is 1.4 degrees wide.
      expect(Math.abs(p.low_draft_percent - 100 * Math.sin((5 * Math.PI) / 180))).toBeLessThan(1.25);
    }
  });

  it('an arm on a post: its underside, the foot and the wall below the arm, by their areas', () => {
    // Post 40 x 50 x 80 with an arm 60 long and 20 thick at its top.
    const hook = asked(block([0, 0, 0], [40, 50, 80]).add(block([0, 0, 60], [100, 50, 20])));
    const up = pullFigures(hook, Z, 1);
    expect(up.one_part_percent).toBeCloseTo((100 * (60 * 50 + 40 * 50 + 60 * 50)) / hook.area, 0);
    expect(up.two_part_percent).toBe(0);
    expect(up.undercuts).toEqual([]);
    // From below only the top is caught.
    expect(pullFigures(hook, [0, 0, -1], 1).one_part_percent).toBeCloseTo((100 * 100 * 50) / hook.area, 0);
  });

  it('a slot in the side of a block: its whole inside is an undercut, is found, and the best pull is along it', () => {
    const slotted = asked(block([0, 0, 0], [100, 100, 100]).subtract(block([50, -1, 40], [51, 102, 20])));
    const inside = 2 * 50 * 100 + 20 * 100;
    const up = pullFigures(slotted, Z, 1);
    expect(up.two_part_percent / ((100 * inside) / slotted.area)).toBeCloseTo(1, 1);
    expect(Math.abs(up.two_part_percent - (100 * inside) / slotted.area)).toBeLessThan(0.3);
    expect(up.undercuts[0].area_cm2).toBeCloseTo(inside / 100, 0);
    const [x, , z] = up.undercuts[0].at_mm;
    expect(x).toBeGreaterThanOrEqual(50);
    expect([z >= 40, z <= 60]).toEqual([true, true]);
    // All but the slot's inside and top and bottom stands upright.
    expect(up.low_draft_percent).toBeCloseTo((100 * (slotted.area - inside - 2 * 100 * 100)) / slotted.area, 0);
    const best = bestPull(slotted);
    expect(Math.abs(best[2])).toBeLessThan(0.02);
    expect(pullFigures(slotted, best, 1).two_part_percent).toBe(0);
  });

  it('a cone that leans by 2 degrees has enough draft for 1.5 and not for 2.5', () => {
    const lean = 80 * Math.tan((2 * Math.PI) / 180);
    const cone = Solid.cylinder(80, 40, 40 - lean, 256);
    const wall = Math.PI * (80 - lean) * Math.hypot(80, lean);
    expect(pullFigures(asked(cone), Z, 1.5).low_draft_percent).toBe(0);
    const p = pullFigures(asked(cone), Z, 2.5);
    expect(Math.abs(p.low_draft_percent - (100 * wall) / meshArea(meshOf(cone)))).toBeLessThan(0.1);
    expect(p.low_draft.length).toBe(1);
  });
});

describe('the least block', () => {
  it.each([1, 2, 3, 4])('of a tilted box is the box (seed %i)', (seed) => {
    const mesh = moveMesh(meshOf(Solid.cube([100, 60, 40], true)), randomTurn(random(seed)), [500, -20, 30]);
    const box = leastBox(hullOf(mesh, lib));
    expect(volumeOf(box) / (100 * 60 * 40)).toBeCloseTo(1, 2);
    expect([...box.size_mm].sort((a, b) => a - b).map((v, i) => Math.abs(v - [40, 60, 100][i]) < 0.3)).toEqual([true, true, true]);
    expect(box.centre_mm).toEqual([500, -20, 30].map((v) => expect.closeTo(v, 1)));
    const [p, q, r] = box.axes;
    expect([dot(p, q), dot(q, r), dot(r, p)].map((v) => Math.abs(v) < 1e-12)).toEqual([true, true, true]);
    // It holds every corner.
    for (let i = 0; i < mesh.positions.length; i += 3)
      for (const a of [0, 1, 2])
        expect(
          Math.abs(
            dot([0, 1, 2].map((k) => mesh.positions[i + k] + mesh.origin[k] - box.centre_mm[k]) as [number, number, number], box.axes[a]),
          ),
        ).toBeLessThan(box.size_mm[a] / 2 + 1e-3);
  });

  it('of a regular tetrahedron lies on none of its faces: a cube of its edge over the root of 2 (O Rourke 1985, recalled)', () => {
    const tetra = moveMesh(meshOf(Solid.tetrahedron().scale(50)), randomTurn(random(9)), [0, 0, 0]);
    // The library's has its corners on those of the cube from -1 to 1.
    expect(volumeOf(leastBox(hullOf(tetra, lib))) / 100 ** 3).toBeCloseTo(1, 2);
  });
});

const flat = new Flat(lib);

describe('block, foam and shrinkage', () => {
  const brick = block([10, 20, 30], [300, 200, 120]);

  it('fits the travel in any way that it can be laid down; the pile only upright', () => {
    const fits = (machine: Vec3, stock = 0): (boolean | null)[] => {
      const f = blocksOf(meshOf(brick), Z, { machine, stock }, lib);
      return [f.least_block.fits, f.pull_block.fits];
    };
    expect(fits([121, 201, 301])).toEqual([true, false]);
    expect(fits([201, 301, 121])).toEqual([true, true]);
    expect(fits([201, 301, 121], 5)).toEqual([false, false]);
    const alone = blocksOf(meshOf(brick), Z, { machine: null, stock: 5 }, lib);
    expect(alone.least_block.fits).toBe(null);
    expect(alone.pull_block.volume_l).toBeCloseTo(3.1 * 2.1 * 1.3, 2);
  });

  const foamOf = (solid: Manifold, sheet: Vec3, stock = 0) =>
    foamFigures(meshOf(solid), boxAlong(hullOf(meshOf(solid), lib), Z), { sheet, stock, saw: 0 }, flat);

  it('counts layers and sheets of foam: whole, two from one sheet, glued from two', () => {
    const of = (sheet: Vec3, stock = 0) => foamOf(brick, sheet, stock);
    expect(of([300, 200, 50])).toMatchObject({ pieces: 3, sheets: 3, least_sheets: 3 });
    expect(of([600, 200, 50])).toMatchObject({ pieces: 3, sheets: 2, least_sheets: 2 });
    expect(of([200, 150, 60])).toMatchObject({ pieces: 4, sheets: 4 });
    expect(of([320, 220, 50], 10)).toMatchObject({ pieces: 3, sheets: 3 });
    expect(of([310, 220, 50], 10).pieces).toBe(6);
    // The lowest and the highest layer are stock alone: 120 + 2 x 21 mm in layers of 20.
    const thin = of([342, 242, 20], 21);
    expect(thin.pieces).toBe(9);
    for (const l of thin.layers) expect([...l.size_mm].sort((a, b) => b - a)).toEqual([expect.closeTo(342, 3), expect.closeTo(242, 3)]);
    expect(of([300, 200, 50]).layers.map((l) => [l.from_mm, Math.round(l.to_mm)])).toEqual([
      [0, 50],
      [50, 100],
      [100, 120],
    ]);
  });

  it('a stepped body takes smaller layers where it is smaller, and they come from one sheet', () => {
    const stepped = block([0, 0, 0], [300, 200, 50]).add(block([50, 50, 49], [140, 190 - 50, 101]));
    const { layers, sheets } = foamOf(stepped, [300, 200, 50]);
    expect(layers.map((l) => [...l.size_mm].sort((a, b) => b - a).map(Math.round))).toEqual([
      [300, 200],
      [140, 140],
      [140, 140],
    ]);
    expect(sheets).toBe(2);
    expect(layers[1].sheets).toEqual(layers[2].sheets);
  });

  it('a mould is as much larger as the part shrinks back', () => {
    const shrinkage = shrinkageOf(meshOf(brick), PROCESS_FIGURES.rotomoulded, 2);
    expect(shrinkage.mould_mm.map((v) => v * 0.98)).toEqual([300, 200, 120].map((v) => expect.closeTo(v, 3)));
    expect(shrinkage.mould_volume_l * 0.98 ** 3).toBeCloseTo(7.2, 4);
    // 1.5 to 3 %: a maker's design guide for rotomoulded polyethylene.
    expect(shrinkage.doubt_mm).toBeCloseTo(300 / 0.97 - 300 / 0.985, 3);
    expect(shrinkageOf(meshOf(brick), PROCESS_FIGURES.rotomoulded, null).percent).toBe(2.25);
    const scaled = scaledForMould({ ...meshOf(brick), origin: [98, 0, 0] }, 2);
    expect(scaled.origin[0]).toBeCloseTo(100, 9);
    expect(meshArea(scaled) / meshArea(meshOf(brick))).toBeCloseTo(1 / 0.98 ** 2, 5);
  });
});

describe('what a cutter reaches, and thin places', () => {
  it('an inside corner of 5 mm: reached by a ball of 4, not by one of 8, by area', () => {
    const corner = CrossSection.ofPolygons([
      [
        [0, 0],
        [90, 0],
        [90, 30],
        [30, 30],
        [30, 90],
        [0, 90],
      ],
    ]);
    const solid = Solid.extrude(corner.offset(5, 'Round', 2, 96).offset(-5, 'Round', 2, 96), 60);
    const plug = (radius: number) => cutterFigures(asked(solid), 1, radius);
    const [four, eight] = [plug(4), plug(8)];
    expect(Math.abs(four.least_radius_mm - 5)).toBeLessThan(0.5);
    expect(four.unreached_percent).toBe(0);
    const area = meshArea(meshOf(solid));
    // A ball of 8 rests on both walls 8 mm from the corner: it leaves the arc, and more than 0.15 mm over the next 1.46 mm of each wall.
    const leaves = 60 * ((5 * Math.PI) / 2 + 2 * (3 - Math.sqrt(2 * 8 * 0.15 - 0.15 ** 2)));
    const nothing = 60 * ((5 * Math.PI) / 2 + 2 * 3);
    expect(eight.unreached_percent).toBeGreaterThan((100 * leaves) / area - 0.3);
    expect(eight.unreached_percent).toBeLessThan((100 * nothing) / area + 0.3);
    const [x, y] = eight.unreached[0].at_mm;
    expect(Math.hypot(x - 30, y - 30)).toBeLessThan(8);
  });

  it('inside a box with edges rounded by 8 mm the least radius is 8', () => {
    const rounded = fieldOf(gridOver({ min: [-44, -34, -29], max: [44, 34, 29] }, 2), (x, y, z) => {
      const q = [Math.abs(x) - 32, Math.abs(y) - 22, Math.abs(z) - 17];
      return 8 - Math.hypot(...q.map((v) => Math.max(v, 0))) - Math.min(Math.max(...q), 0);
    });
    const mould = cutterFigures(new AskedSurface(surface(rounded, 0)), -1, 6);
    expect(Math.abs(mould.least_radius_mm - 8)).toBeLessThan(0.8);
    expect(mould.unreached_percent).toBe(0);
    expect(cutterFigures(new AskedSurface(surface(rounded, 0)), 1, 20).unreached_percent).toBe(0);
  });

  it('the floor of a pocket is thin on both sides', () => {
    const plate = asked(block([0, 0, 0], [100, 80, 12]).subtract(block([20, 20, 2], [30, 40, 11])));
    const thin = thinFigures(plate, 3);
    expect(thin.least_mm).toBeCloseTo(2, 4);
    expect(Math.abs(thin.thin_percent - (100 * 2 * 30 * 40) / plate.area)).toBeLessThan(0.3);
    expect(thinFigures(plate, 1.9)).toMatchObject({ thin_percent: 0, thin: [] });
  });
});

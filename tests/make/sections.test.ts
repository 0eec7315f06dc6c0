import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import type { Mesh } from '../../src/core/mesh.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { volume } from '../../src/field/integrate.ts';
import { surface } from '../../src/field/surface.ts';
import { fitArcs } from '../../src/make/arcs.ts';
import { lineLength, type Sections, sectionFiles, sections } from '../../src/make/sections.ts';
import { sliceMesh } from '../../src/make/slice.ts';
import { extentAlong, stationPlane, stationsEvery } from '../../src/make/stations.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { auditDxf, readDxf } from './audit-dxf.ts';

const X: Vec3 = [1, 0, 0];
const Z: Vec3 = [0, 0, 1];
const over = (half: Vec3, step: number, at: Vec3 = [0, 0, 0]) =>
  gridOver({ min: [at[0] - half[0], at[1] - half[1], at[2] - half[2]], max: [at[0] + half[0], at[1] + half[1], at[2] + half[2]] }, step);

/** A lying cylinder, R 50, from x = -100 to 100 about (0, 3, 1). */
const cylinder = (x: number, y: number, z: number): number => Math.min(50 - Math.hypot(y - 3, z - 1), 100 - Math.abs(x));
const body = fieldOf(over([110, 60, 60], 2, [0.3, 3.4, 1.2]), cylinder);
const cavity = fieldOf(body.grid, (x, y, z) => cylinder(x, y, z) - 6);
const slack = fieldOf(body.grid, (x, y, z) => cylinder(x, y, z) + 4);

/** A plate 40 x 20 x 10 about `at`, as a closed mesh of 12 faces. */
function plate(at: Vec3): Mesh {
  const positions = new Float32Array(24);
  for (let c = 0; c < 8; c++) positions.set([c & 1 ? 20 : -20, c & 2 ? 10 : -10, c & 4 ? 5 : -5], 3 * c);
  const quads = [0, 2, 3, 1, 4, 5, 7, 6, 0, 1, 5, 4, 2, 6, 7, 3, 0, 4, 6, 2, 1, 3, 7, 5];
  const indices = Uint32Array.from([0, 1, 2, 3, 4, 5].flatMap((q) => [0, 1, 2, 0, 2, 3].map((i) => quads[4 * q + i])));
  return { origin: at, positions, indices };
}

const common = { axis: X, every: 40, round: 60, tolerance: 0.1 };
const cut = (options: object = {}): Sections =>
  sections(
    { body, cavity, slack, obstacles: [{ name: 'plate', mesh: plate([0, 80, 0]), radius: 0 }] },
    { ...common, ...options },
    inlineContext,
  );

describe('sections', () => {
  it('of a lying cylinder: circles across, rectangles along, area and perimeter by the closed forms', () => {
    const across = cut();
    expect(across.list.map((s) => s.station)).toEqual([-80, -40, 0, 40, 80]);
    for (const s of across.list) {
      // pi R^2 and 2 pi R; between cells and along chords a convex outline comes out short by less than 0.5 (step / R)^2.
      const near = (is: number, of: number, r: number): void => {
        expect(is / of).toBeLessThan(1);
        expect(is / of).toBeGreaterThan(1 - 0.5 * (2 / r) ** 2);
      };
      near(s.body.area, Math.PI * 50 ** 2, 50);
      near(s.body.perimeter, 2 * Math.PI * 50, 50);
      near(s.cavity!.area, Math.PI * 44 ** 2, 44);
      near(s.clearance!.area, Math.PI * 54 ** 2, 54);
    }
    const along = cut({ axis: Z, at: [1, 31] });
    // The width at height h over the axis is 2 sqrt(R^2 - h^2).
    expect(along.list.map((s) => s.body.area / 200)).toEqual([expect.closeTo(100, 0), expect.closeTo(80, 0)]);
    // A lattice of 2 mm cuts off sharp corners, each by less than the cell's corner: 2 - sqrt(2) cells.
    expect(along.list[1].body.perimeter).toBeLessThan(2 * (200 + 80));
    expect(along.list[1].body.perimeter).toBeGreaterThan(2 * (200 + 80) - 4 * (2 - Math.SQRT2) * 2);
  });

  it('of a ball with a hole: area pi (R^2 - h^2), the hole taken off; areas along the axis add up to the volume', () => {
    const ball = fieldOf(over([46, 46, 46], 1.5), (x, y, z) => Math.min(40 - Math.hypot(x, y, z), Math.hypot(x, y, z) - 15));
    const all = sections({ body: ball }, { ...common, axis: Z, every: 1 }, inlineContext);
    const at = (h: number): number => all.list.find((s) => s.station === h)!.body.area;
    expect(at(0) / (Math.PI * (1600 - 225))).toBeCloseTo(1, 2);
    expect(all.list.find((s) => s.station === 0)!.body.lines.length).toBe(2);
    expect(Math.abs(at(20) / (Math.PI * (1600 - 400)) - 1)).toBeLessThan(0.75 * (1.5 / Math.sqrt(1200)) ** 2);
    expect(all.list.reduce((s, l) => s + l.body.area, 0) / volume(ball)).toBeCloseTo(1, 2);
  });

  it('stations: whole multiples strictly within the body, or those listed; faults and notes for the rest', () => {
    expect(extentAlong(body, X)[1]).toBeCloseTo(100, 1);
    expect(stationsEvery(25, [-50, 60])).toEqual([-25, 0, 25, 50]);
    expect(cut({ at: [10, 500] }).notes.map((n) => n.code)).toEqual(['sections-missed']);
    expect(() => cut({ at: [500] })).toThrow(expect.objectContaining({ code: 'sections-none' }));
    expect(() => cut({ every: 0.1 })).toThrow(expect.objectContaining({ code: 'sections-many' }));
  });

  it('a plane through a mesh: closed lines of the right length, open ones where faces are missing, far ones left out', () => {
    const mesh = plate([7, 80, 2]);
    const lines = sliceMesh(mesh, stationPlane(X, 3), [-1000, -1000, 1000, 1000]);
    expect(lines.map((l) => [l.closed, lineLength(l.points, l.closed)])).toEqual([[true, expect.closeTo(60, 4)]]);
    const open = sliceMesh({ ...mesh, indices: mesh.indices.subarray(6) }, stationPlane(X, 3), [-1000, -1000, 1000, 1000]);
    expect(open.map((l) => [l.closed, lineLength(l.points, l.closed)])).toEqual([[false, expect.closeTo(40, 4)]]);
    expect(sliceMesh(mesh, stationPlane(X, 3), [-1000, -1000, 60, 1000])).toEqual([]);
    // A ball of many faces, against 2 pi sqrt(R^2 - h^2).
    const ball = surface(
      fieldOf(over([34, 34, 34], 1), (x, y, z) => 30 - Math.hypot(x, y, z)),
      0,
    );
    const [ring, ...more] = sliceMesh(ball, stationPlane(Z, 18.2), [-99, -99, 99, 99]);
    expect(more).toEqual([]);
    expect(lineLength(ring.points, true) / (2 * Math.PI * Math.sqrt(900 - 18.2 ** 2))).toBeCloseTo(1, 2);
  });
});

/** A rectangle 80 x 40 with corners of 10 mm, its outline in steps of about 1 mm, a counter-clockwise line. */
function rounded(): Float64Array {
  const out: number[] = [];
  for (let c = 0; c < 4; c++) {
    const [sx, sy] = [
      [1, -1],
      [1, 1],
      [-1, 1],
      [-1, -1],
    ][c];
    for (let i = 0; i <= 16; i++) {
      const t = (Math.PI / 2) * (c - 1 + i / 16);
      out.push(sx * 30 + 10 * Math.cos(t), sy * 10 + 10 * Math.sin(t));
    }
  }
  return Float64Array.from(out);
}

/** Area of a line of arcs: the polygon's, and of each arc the segment between it and its chord, r^2 (t - sin t) / 2. */
function arcArea(points: ArrayLike<number>, bulges: ArrayLike<number>): { area: number; length: number } {
  let [area, length] = [0, 0];
  for (let i = 0; i < bulges.length; i++) {
    const j = (i + 1) % bulges.length;
    const [x0, y0, x1, y1] = [points[2 * i], points[2 * i + 1], points[2 * j], points[2 * j + 1]];
    const angle = 4 * Math.atan(bulges[i]);
    const chord = Math.hypot(x1 - x0, y1 - y0);
    const r = angle === 0 ? 0 : chord / (2 * Math.sin(Math.abs(angle) / 2));
    area += (x0 * y1 - x1 * y0) / 2 + (Math.sign(angle) * r * r * (Math.abs(angle) - Math.sin(Math.abs(angle)))) / 2;
    length += angle === 0 ? chord : r * Math.abs(angle);
  }
  return { area, length };
}

describe('arcs fitted to outlines', () => {
  it('a rounded rectangle is four straight pieces and four arcs', () => {
    const fit = fitArcs({ points: rounded() }, 0.02);
    expect(fit.bulges.length).toBeLessThanOrEqual(9);
    expect(fit.deviation).toBeLessThanOrEqual(0.02);
    const { area, length } = arcArea(fit.points, fit.bulges);
    expect(area).toBeCloseTo(80 * 40 - (4 - Math.PI) * 100, 0);
    expect(length).toBeCloseTo(160 + 20 * Math.PI, 1);
  });

  it('a circle either way round keeps its area and its sense', () => {
    for (const way of [1, -1]) {
      const circle = Float64Array.from({ length: 400 }, (_, i) => 25 * (i % 2 ? Math.sin : Math.cos)((way * Math.PI * (i >> 1)) / 100));
      const fit = fitArcs({ points: circle }, 0.02);
      expect(fit.bulges.length).toBeLessThanOrEqual(4);
      expect(arcArea(fit.points, fit.bulges).area / (way * Math.PI * 625)).toBeCloseTo(1, 3);
    }
  });

  it('the deviation stated is the one that brute force finds', () => {
    const [line] = cut({ at: [0] }).list[0].body.lines;
    for (const tolerance of [0.5, 0.05]) {
      const fit = fitArcs(line, tolerance);
      expect(fit.deviation).toBeLessThanOrEqual(tolerance);
      // The polyline is all but the circle itself, so every arc's own points must be as near to it.
      for (let i = 0; i < fit.bulges.length; i++) {
        const j = (i + 1) % fit.bulges.length;
        const [x0, y0, x1, y1] = [fit.points[2 * i], fit.points[2 * i + 1], fit.points[2 * j], fit.points[2 * j + 1]];
        // The middle of an arc lies bulge half chords to the right of its chord.
        const [mx, my] = [(x0 + x1) / 2 + (fit.bulges[i] * (y1 - y0)) / 2, (y0 + y1) / 2 - (fit.bulges[i] * (x1 - x0)) / 2];
        expect(Math.abs(Math.hypot(mx - 3, my - 1) - 50)).toBeLessThan(fit.deviation + 0.03);
      }
    }
  });
});

const total = (lines: readonly (readonly [string, number])[], layer: string): number =>
  lines.filter((l) => l[0] === layer).reduce((s, l) => s + l[1], 0);

describe('files of sections', () => {
  const all = cut();
  const files = sectionFiles(all);

  it('the DXF opens in two independent readers, in mm, with the layers and lengths that were meant', () => {
    const text = files.get('sections.dxf')!;
    const audit = auditDxf(text);
    expect(audit.errors).toEqual([]);
    expect(audit.units).toBe(4);
    expect(audit.layers).toEqual(
      expect.arrayContaining(['BODY', 'BODY-FIT', 'CAVITY', 'CAVITY-FIT', 'CLEARANCE', 'CLEARANCE-FIT', 'OBSTACLES', 'TEXT']),
    );
    for (const [layer, radius] of [
      ['BODY', 50],
      ['BODY-FIT', 50],
      ['CAVITY', 44],
      ['CAVITY-FIT', 44],
      ['CLEARANCE-FIT', 54],
    ] as const)
      expect(total(audit.lines, layer) / (5 * 2 * Math.PI * radius)).toBeCloseTo(1, 2);
    // The plate crosses the station at 0 alone: 20 x 10 mm.
    expect(total(audit.lines, 'OBSTACLES')).toBeCloseTo(60, 3);

    const read = readDxf(text);
    expect(read.header['$INSUNITS']).toBe(4);
    const entities = read.entities;
    const body = entities.filter((e) => e.layer === 'BODY');
    expect(body.length).toBe(5);
    const lengths = body.map((e) =>
      lineLength(
        e.vertices!.flatMap((v) => [v.x, v.y]),
        true,
      ),
    );
    expect(body.every((e) => e.type === 'LWPOLYLINE' && e.shape)).toBe(true);
    lengths.forEach((l, i) => {
      expect(l).toBeCloseTo(all.list[i].body.perimeter, 3);
    });
    const fitted = entities.filter((e) => e.layer === 'BODY-FIT');
    for (const f of fitted)
      expect(
        arcArea(
          f.vertices!.flatMap((v) => [v.x, v.y]),
          f.vertices!.map((v) => v.bulge ?? 0),
        ).area /
          (Math.PI * 2500),
      ).toBeCloseTo(1, 2);
  });

  it('lines in place lie in their stations', () => {
    const text = files.get('sections-in-place.dxf')!;
    expect(auditDxf(text).errors).toEqual([]);
    const entities = readDxf(text).entities;
    const xs = entities.filter((e) => e.layer === 'BODY').map((e) => new Set(e.vertices!.map((v) => v.x)));
    expect(xs).toEqual([-80, -40, 0, 40, 80].map((x) => new Set([x])));
    const z = entities.filter((e) => e.layer === 'BODY').flatMap((e) => e.vertices!.map((v) => v.z ?? 0));
    expect([Math.min(...z), Math.max(...z)]).toEqual([expect.closeTo(-49, 1), expect.closeTo(51, 1)]);
  });

  it('the table has a row a station; the picture is as large as it says', () => {
    const [head, ...rows] = files
      .get('stations.csv')!
      .trim()
      .split('\n')
      .map((l) => l.split(','));
    expect(head[0]).toBe('station_mm');
    expect(rows.map((r) => Number(r[0]))).toEqual([-80, -40, 0, 40, 80]);
    expect(Number(rows[2][head.indexOf('body_area_mm2')])).toBeCloseTo(all.list[2].body.area, 0);
    expect(Number(rows[2][head.indexOf('cavity_perimeter_mm')]) / (2 * Math.PI * 44)).toBeCloseTo(1, 3);
    const [, w, h, box] = /width="([\d.]+)mm" height="([\d.]+)mm" viewBox="([^"]+)"/.exec(files.get('sections.svg')!)!;
    expect(box.split(' ').slice(2)).toEqual([w, h]);
    const groups = [...files.get('sections.svg')!.matchAll(/<g id="([A-Z-]+)"/g)].map((g) => g[1]);
    expect(groups).toEqual(['OBSTACLES', 'CLEARANCE', 'CLEARANCE-FIT', 'BODY', 'BODY-FIT', 'CAVITY', 'CAVITY-FIT', 'TEXT']);
    // Fitted lines are arcs of the cylinder's radius in the picture too.
    const arcs = /<g id="BODY-FIT"[\s\S]*?<\/g>/.exec(files.get('sections.svg')!)![0].matchAll(/A([\d.]+) \1 0/g);
    const radii = [...arcs].map((a) => Number(a[1]));
    expect(radii.length).toBeGreaterThanOrEqual(5);
    for (const r of radii) expect(Math.abs(r - 50)).toBeLessThan(0.5);
    expect(files.get('sections.svg')).toBe(sectionFiles(cut()).get('sections.svg'));
  });
});

it('two runs give the same bytes', () => {
  const field: Field = body;
  const files = () => sectionFiles(sections({ body: field }, common, inlineContext));
  expect(files()).toEqual(files());
});

import type { ManifoldToplevel } from 'manifold-3d';
import { beforeAll, describe, expect, it } from 'vitest';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import { normalize, type Vec3 } from '../../src/core/vec.ts';
import { type Figure, Flat, figureArea, figureBox, figureLength, inFigure } from '../../src/make/flat.ts';
import { strokesOf } from '../../src/make/letters.ts';
import { RIB_DEFAULTS, type RibKit, ribKit } from '../../src/make/ribs.ts';
import { laid, ribFiles } from '../../src/make/ribs-files.ts';
import { nest, SHEET_DEFAULTS } from '../../src/make/ribs-nest.ts';
import type { Rib, RibOptions } from '../../src/make/ribs-plan.ts';
import { COVERED, collisions, coverage, groundOf, proveKit, roomOfRib } from '../../src/make/ribs-proof.ts';
import { loadSolids } from '../../src/make/simplify.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { auditDxf, readDxf } from './audit-dxf.ts';

const UP: Vec3 = [0, 0, 1];
const H: Vec3 = [130, 90, 70];
/** Box of half sides H with edges rounded by 25 mm, positive inside, exact. */
const box = (x: number, y: number, z: number): number => {
  const q = [Math.abs(x) - H[0] + 25, Math.abs(y) - H[1] + 25, Math.abs(z) - H[2] + 25];
  return 25 - Math.hypot(...q.map((v) => Math.max(v, 0))) - Math.min(Math.max(...q), 0);
};
/** The same with a tunnel along y and a groove along x under it: ribs with holes and with hollows. */
const tank = (x: number, y: number, z: number): number =>
  Math.min(box(x, y, z), Math.hypot(x - 33, z - 12) - 20, Math.hypot(y + 35, z + 75) - 40);
const fieldOver = (f: (x: number, y: number, z: number) => number) =>
  fieldOf(gridOver({ min: [-138.3, -98.1, -78.4], max: [138.3, 98.1, 78.4] }, 2), f);
const body = fieldOver(tank);

let lib: ManifoldToplevel;
let flat: Flat;
let kit: RibKit;
let plain: RibKit;
const made = (f: typeof body, options: Partial<RibOptions> = {}): RibKit =>
  ribKit(f, { ...RIB_DEFAULTS, spacing: 55, along: UP, ...options }, lib, inlineContext);

beforeAll(async () => {
  lib = await loadSolids();
  flat = new Flat(lib);
  kit = made(body);
  plain = made(fieldOver(box));
});

const named = (k: RibKit, name: string): Rib => k.ribs.find((r) => r.name === name)!;

/** A part as a solid in space, `lift` mm up along the slots. */
function solidOf(rib: Rib, thickness: number, lift: number) {
  const { u, v } = rib.plane.section;
  const n = rib.plane.normal;
  // u, v and the normal may be left-handed: the solid is turned inside out then, which the sign of its volume would show.
  const hand = Math.sign(n[0] * (u[1] * v[2] - u[2] * v[1]) + n[1] * (u[2] * v[0] - u[0] * v[2]) + n[2] * (u[0] * v[1] - u[1] * v[0]));
  const shift = rib.plane.at - (hand * thickness) / 2;
  const at = [0, 1, 2].map((a) => n[a] * shift + v[a] * lift);
  return new lib.CrossSection(rib.part, 'Positive')
    .extrude(thickness)
    .transform([u[0], u[1], u[2], 0, v[0], v[1], v[2], 0, hand * n[0], hand * n[1], hand * n[2], 0, at[0], at[1], at[2], 1]);
}

describe('rib kit', () => {
  it('of a rounded box: slots meet at half height, areas by the closed form', () => {
    const { ribs, joints, options } = plain;
    expect(plain.proof).toMatchObject({ ok: true, inside: true, collisions: 0, loose: 0 });
    // 260 / 55 and 180 / 55.
    expect(ribs.map((r) => r.name)).toEqual(['A', 'B', 'C', 'D', 'E', '1', '2', '3']);
    expect(ribs.map((r) => r.plane.at)).toEqual([-104, -52, 0, 52, 104, -60, 0, 60].map((v) => expect.closeTo(v, 0)));
    expect(joints.length).toBe(15);
    const inner = joints.filter((j) => 'BCD'.includes(j.first) && j.second === '2');
    expect(inner.map((j) => [j.at, j.length])).toEqual(
      inner.map(() => [expect.closeTo(0, 1), expect.closeTo(2 * (H[2] - options.draw_in), 0)]),
    );
    // A rounded rectangle drawn in, less three slots of half its height (relief: four fifths of a disc each corner at most).
    const [w, h, r] = [2 * (H[1] - 0.5), 2 * (H[2] - 0.5), 24.5];
    const whole = w * h - (4 - Math.PI) * r * r;
    const slots = 3 * (3 + 0.1) * (h / 2);
    const area = figureArea(named(plain, 'B').part);
    expect(area).toBeLessThan(whole - slots + 1);
    expect(area).toBeGreaterThan(whole - slots - 6 * Math.PI * 0.8 ** 2 - 0.004 * whole);
  });

  it('every part lies inside the body over the whole thickness: the exact shape at random points', () => {
    const { next } = random(11);
    for (const rib of kit.ribs) {
      const [a0, b0, a1, b1] = figureBox(rib.part);
      const points = rib.part.flat();
      for (let i = 0; i < 3000; i++) points.push([a0 + (a1 - a0) * next(), b0 + (b1 - b0) * next()]);
      const { u, v, origin } = rib.plane.section;
      let least = Infinity;
      points.forEach(([a, b], i) => {
        if (i >= points.length - 3000 && !inFigure(rib.part, a, b)) return;
        for (const t of [-1.5, -0.5, 0.7, 1.5]) {
          const [x, y, z] = [0, 1, 2].map((k) => origin[k] + a * u[k] + b * v[k] + t * rib.plane.normal[k]);
          least = Math.min(least, tank(x, y, z));
        }
      });
      expect(least, rib.name).toBeGreaterThan(0);
      // Nor is more given away than asked: somewhere the outline is as near to the surface as it is drawn in.
      expect(least, rib.name).toBeLessThan(0.75);
    }
  });

  it('no two solids share any room, in place or while the numbered ones go on (manifold-3d)', () => {
    for (const lift of [0, 0.02, 5, 31, 90, 150]) {
      const lower = kit.ribs.filter((r) => r.family === 0).map((r) => solidOf(r, 3, 0));
      const upper = kit.ribs.filter((r) => r.family === 1).map((r) => solidOf(r, 3, lift));
      const all = lib.Manifold.union(lower);
      for (const q of upper) expect(all.intersect(q).volume(), `lift ${lift}`).toBeLessThan(0.01);
      if (lift === 0) for (const q of upper) expect(q.volume()).toBeGreaterThan(1000);
    }
    // Pushed the other way, they do meet: the slots end where they should.
    const [p, q] = [named(kit, 'C'), named(kit, '2')];
    expect(
      solidOf(p, 3, 0)
        .intersect(solidOf(q, 3, -0.5))
        .volume(),
    ).toBeGreaterThan(1);
  });

  it('the proof fails when the kit is spoilt', () => {
    const ground = groundOf(body);
    const spoilt = (name: string, change: (r: Rib) => Partial<Rib>) => {
      const ribs = kit.ribs.map((r) => (r.name === name ? { ...r, ...change(r) } : r));
      return proveKit(ground, { ...kit, ribs }, flat);
    };
    const moved = (part: Figure, a: number, b: number): Figure => part.map((ring) => ring.map(([x, y]) => [x + a, y + b]));
    expect(spoilt('C', () => ({})).ok).toBe(true);
    expect(spoilt('C', (r) => ({ part: moved(r.part, 0, 0.7) }))).toMatchObject({ ok: false, inside: false });
    expect(spoilt('C', (r) => ({ part: moved(r.part, 0.2, 0) })).collisions).toBeGreaterThan(0);
    expect(spoilt('C', (r) => ({ part: flat.grow(r.part, 0.6) }))).toMatchObject({ inside: false });
    const filled = spoilt('2', (r) => ({ part: flat.grow(flat.grow(r.part, 2), -2) }));
    expect(filled.collisions).toBeGreaterThan(0);
    expect(filled.faults.some((f) => /do not meet/.test(f))).toBe(true);
    expect(proveKit(ground, { ...kit, joints: kit.joints.filter((j) => j.second !== '2') }, flat).loose).toBe(1);
    // A pit in the middle of a rib, away from every edge, is found too.
    const centre = named(kit, 'B').plane;
    const pit = fieldOver((x, y, z) => Math.min(tank(x, y, z), Math.hypot(x - centre.at, y - 27, z - 20) - 4));
    expect(roomOfRib(groundOf(body), centre, named(kit, 'B').part, 3)).toBeGreaterThanOrEqual(0);
    expect(roomOfRib(groundOf(pit), centre, named(kit, 'B').part, 3)).toBeLessThan(0);
    expect(collisions(kit.ribs, 3, flat)).toEqual([]);
    expect(collisions(kit.ribs, 3.3, flat).length).toBeGreaterThan(0);
  });

  it('the share of the surface near an edge, against every edge of every rib at random faces', () => {
    // The surface of the plain box is 2 (ab + bc + ca) with its edges rounded; what counts is the share, so sample the field's own surface.
    const share = coverage(body, kit.ribs, 3);
    expect(100 * share).toBe(kit.proof.covered_percent);
    // Long strips round each rib, 5 mm to each side and the sheet's own 3: less than the sum, more than half of it.
    const strips = kit.ribs.reduce((s, r) => s + figureLength(flat.grow(r.part, 3).slice(0, 1)), 0) * (3 + 2 * COVERED);
    const area = 8 * (H[0] * H[1] + H[1] * H[2] + H[2] * H[0]);
    expect(share).toBeLessThan(strips / area);
    expect(share).toBeGreaterThan((0.5 * strips) / area);
    expect(coverage(body, [], 3)).toBe(0);
  });

  it('cut lines lie half the kerf outside, so slots come out as asked', () => {
    for (const rib of kit.ribs) {
      const grown = figureArea(rib.cut) - figureArea(rib.part);
      expect(grown / (figureLength(rib.part) * 0.075)).toBeCloseTo(1, 1);
      expect(figureArea(flat.cut(rib.part, rib.cut))).toBeLessThan(1e-3);
    }
    // Across a slot of B, well above its end: 3.1 mm in the part, 2.95 in the cut.
    const b = named(plain, 'B');
    const at = named(plain, '2').plane.at;
    const gap = (f: Figure): number =>
      figureArea(
        flat.cut(
          [
            [
              [at - 8, 20],
              [at + 8, 20],
              [at + 8, 21],
              [at - 8, 21],
            ],
          ],
          f,
        ),
      );
    expect(gap(b.part)).toBeCloseTo(3.1, 3);
    expect(gap(b.cut)).toBeCloseTo(2.95, 3);
  });

  it('names are on every part, clear of its edges; a hand finds its hole in each family', () => {
    for (const rib of kit.ribs) {
      expect(rib.engraved.length, rib.name).toBe(strokesOf(`${rib.name}^`, 12).lines.length);
      const inner = flat.grow(rib.part, -2);
      for (const { points } of rib.engraved)
        for (let i = 0; i < points.length; i += 2) expect(inFigure(inner, points[i], points[i + 1]), rib.name).toBe(true);
    }
    // An empty rib of the box is one ring; the tunnel along y is no hole of the ribs across it... those of the first family.
    expect(plain.ribs.filter((r) => r.part.length === 2).map((r) => r.family)).toEqual([0, 1]);
    const hole = plain.ribs.find((r) => r.part.length === 2)!.part.reduce((m, r) => (r.length < m.length ? r : m));
    const area = Math.abs(figureArea([hole]));
    // A stadium 90 x 30, or four fifths of it.
    expect([60 * 30 + Math.PI * 225, 0.64 * (60 * 30 + Math.PI * 225)].some((v) => Math.abs(v - area) < 0.01 * v)).toBe(true);
    expect(made(fieldOver(box), { hand_hole: null }).ribs.every((r) => r.part.length === 1)).toBe(true);
  });

  it('along any direction; by itself it takes one that loses nothing', () => {
    const slanted = made(body, { along: normalize([0.3, 0.2, 1]) });
    expect(slanted.proof.ok).toBe(true);
    const { a, b, w } = slanted.frame;
    for (const [p, q] of [
      [a, b],
      [b, w],
      [w, a],
    ])
      expect(p[0] * q[0] + p[1] * q[1] + p[2] * q[2]).toBeCloseTo(0, 12);
    expect(made(body, { along: undefined }).proof.ok).toBe(true);
  });

  it('a body too small for a kit is a fault', () => {
    const small = fieldOf(gridOver({ min: [-6, -6, -6], max: [6, 6, 6] }, 1), (x, y, z) => 4.5 - Math.hypot(x, y, z));
    expect(() => made(small)).toThrow(expect.objectContaining({ code: 'ribs-none' }));
  });
});

describe('ribs on sheets', () => {
  const sheet = { ...SHEET_DEFAULTS, width: 420, height: 300 };

  it('lie within the sheet less its margin, at least the gap apart', () => {
    const placings = nest(kit.ribs, sheet, flat);
    expect(placings.map((p) => p.name).sort()).toEqual(kit.ribs.map((r) => r.name).sort());
    const laidOut = placings.map((p) => ({ ...p, figure: laid(named(kit, p.name), p) }));
    for (const p of laidOut) {
      const [a0, b0, a1, b1] = figureBox(p.figure);
      expect(Math.min(a0, b0)).toBeGreaterThanOrEqual(sheet.margin - 1e-6);
      expect(a1).toBeLessThanOrEqual(sheet.width - sheet.margin + 1e-6);
      expect(b1).toBeLessThanOrEqual(sheet.height - sheet.margin + 1e-6);
      expect(figureArea(p.figure)).toBeCloseTo(figureArea(named(kit, p.name).cut), 2);
      for (const q of laidOut)
        if (p.name < q.name && p.sheet === q.sheet)
          expect(figureArea(flat.common(flat.grow(p.figure, sheet.gap - 0.02), q.figure)), `${p.name} ${q.name}`).toBe(0);
    }
    // No more sheets than one part each, and at least what the area asks.
    const sheets = 1 + Math.max(...placings.map((p) => p.sheet));
    expect(sheets).toBeLessThan(kit.ribs.length / 2 + 1);
  });

  it('small parts go into the hollow of a large one', () => {
    const ring: Figure = [
      [
        [0, 0],
        [280, 0],
        [280, 280],
        [0, 280],
      ],
      [
        [40, 40],
        [40, 240],
        [240, 240],
        [240, 40],
      ],
    ];
    const small: Figure = [
      [
        [0, 0],
        [60, 0],
        [60, 50],
        [0, 50],
      ],
    ];
    const placings = nest(
      [
        { name: 'a', cut: ring },
        { name: 'b', cut: small },
      ],
      { ...sheet, width: 300 },
      flat,
    );
    expect(placings.map((p) => p.sheet)).toEqual([0, 0]);
  });

  it('a part larger than the sheet is a fault that names it', () => {
    expect(() => nest(kit.ribs, { ...sheet, width: 200, height: 200 }, flat)).toThrow(expect.objectContaining({ code: 'ribs-sheet' }));
  });

  it('DXF opens in two independent readers: cut and engraved lines on their layers, right lengths; the same bytes twice', () => {
    const { files, report } = ribFiles(kit, sheet, lib);
    expect(report).toMatchObject({ inside: true, collisions: 0, joints: kit.joints.length });
    const names = [...files.keys()];
    expect(names.filter((n) => n.endsWith('.dxf')).length).toBe(report.sheets);
    expect(names).toContain('ribs-assembly.svg');
    let [cut, engraved, read] = [0, 0, 0];
    for (const name of names.filter((n) => n.endsWith('.dxf'))) {
      const audit = auditDxf(files.get(name)!);
      expect(audit.errors).toEqual([]);
      expect(audit.units).toBe(4);
      expect(audit.layers).toEqual(expect.arrayContaining(['CUT', 'ENGRAVE', 'SHEET']));
      for (const [layer, length] of audit.lines) {
        if (layer === 'CUT') cut += length;
        if (layer === 'ENGRAVE') engraved += length;
        if (layer === 'SHEET') expect(length).toBeCloseTo(2 * (sheet.width + sheet.height), 6);
      }
      const entities = readDxf(files.get(name)!).entities;
      expect(entities.filter((e) => e.layer === 'CUT').every((e) => e.shape)).toBe(true);
      read += entities.filter((e) => e.layer === 'CUT').length;
    }
    expect(cut / 1000).toBeCloseTo(report.cut_length_m, 3);
    expect(read).toBe(kit.ribs.reduce((s, r) => s + r.cut.length, 0));
    const asked = kit.ribs
      .flatMap((r) => r.engraved)
      .reduce((s, e) => {
        let length = 0;
        for (let i = 2; i < e.points.length; i += 2) length += Math.hypot(e.points[i] - e.points[i - 2], e.points[i + 1] - e.points[i - 1]);
        return s + length;
      }, 0);
    expect(engraved).toBeCloseTo(asked, 2);
    expect(ribFiles(made(body), sheet, lib).files).toEqual(files);
    for (const r of kit.ribs) expect(files.get('ribs-assembly.svg')).toContain(`>${r.name}</text>`);
  });
});

describe('letters', () => {
  const ALL = 'ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.^';

  it('are all there, all different, within their box', () => {
    const seen = new Set<string>();
    for (const letter of ALL) {
      const { lines, width } = strokesOf(letter, 6);
      expect(lines.length, letter).toBeGreaterThan(0);
      for (const line of lines) {
        expect(line.length).toBeGreaterThanOrEqual(4);
        line.forEach((v, i) => {
          expect(v >= 0 && v <= (i % 2 ? 6 : width + 1e-9)).toBe(true);
        });
      }
      seen.add(JSON.stringify(lines));
    }
    expect(seen.size).toBe(ALL.length);
    expect(strokesOf('AB', 12).width).toBeCloseTo(2 * (4 + 1.6 + 4), 9);
  });
});

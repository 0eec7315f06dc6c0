import { describe, expect, it } from 'vitest';
import { Fault } from '../../src/core/fault.ts';
import type { Field } from '../../src/core/field.ts';
import { volume } from '../../src/field/integrate.ts';
import { cavityOf, withBores } from '../../src/fill/cavity.ts';
import { fluidOf } from '../../src/fill/fluids.ts';
import { type TankOptions, tankOf } from '../../src/fill/tank.ts';
import { ullageOf } from '../../src/fill/ullage.ts';
import { wettedShare } from '../../src/fill/wetted.ts';
import { PROCESSES } from '../../src/job/defaults.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { box, cylinder, moved, solidField, union, without } from './shapes.ts';

const petrol = fluidOf({ name: 'petrol' });
const base: TankOptions = {
  wall: 4,
  wallDensity: 940,
  fluid: petrol,
  ullage: ullageOf(petrol, { by: 'share', share: 0.05 }),
  accuracy: 0.25,
  stand: { advise: false },
};
const fault = async (run: Promise<unknown>): Promise<Fault> => {
  try {
    await run;
  } catch (e) {
    if (e instanceof Fault) return e;
    throw e;
  }
  throw new Error('no fault');
};

/** Volume of a box of the given edges opened by a ball (Steiner: the eroded box grown again), mm3. */
const opened = (l: number, w: number, h: number, r: number): number => {
  const [a, b, c] = [l - 2 * r, w - 2 * r, h - 2 * r];
  return a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3;
};

const BOX = solidField(box(400, 300, 200), [200, 150, 100], 8);

describe('cavity of a box of 400 x 300 x 200, against Steiner closed forms', () => {
  it.each([
    [3, 0],
    [4, 10],
    [4, 25],
  ])('wall %i, inside radius %i', async (wall, r) => {
    const want = opened(400 - 2 * wall, 300 - 2 * wall, 200 - 2 * wall, r);
    const got = volume(await cavityOf(BOX, wall, r === 0 ? null : r, inlineContext));
    expect(Math.abs(got / want - 1)).toBeLessThan(4e-3);
  });

  it('only the sign and the zero of the body count: a bent field gives the same cavity', async () => {
    const bent: Field = { grid: BOX.grid, data: BOX.data.map((v) => (v > 10 ? 10 + (v - 10) * 0.2 : v)) };
    const straight = volume(await cavityOf(BOX, 12, null, inlineContext));
    expect(Math.abs(volume(await cavityOf(bent, 12, null, inlineContext)) / straight - 1)).toBeLessThan(1e-4);
  });

  it('a bore takes its tube: box less a cylinder right through', () => {
    const bored = withBores(BOX, [
      {
        points: [
          [-300, 0, 20],
          [300, 0, 20],
        ],
        diameter: 60,
      },
    ]);
    expect(Math.abs(volume(bored) - (24e6 - Math.PI * 900 * 400)) / 24e6).toBeLessThan(1e-3);
  });
});

describe('a tank in a box', () => {
  it('its parts are those of the box, and add up', async () => {
    const { tank } = await tankOf(BOX, base, inlineContext);
    const inside = (392 * 292 * 192) / 1e6;
    expect(Math.abs(tank.outer_l.value - 24)).toBeLessThan(0.03);
    expect(Math.abs(tank.cavity_l.value - inside)).toBeLessThan(0.04);
    expect(tank.wall_l.value).toBeCloseTo(tank.outer_l.value - tank.cavity_l.value, 9);
    // Proposed outlets stand on the border: no layer is lost under the vent or over the pickup.
    expect(tank.brim_l.value / tank.cavity_l.value).toBeGreaterThan(0.9995);
    expect(Math.abs(tank.vent_mm[0][2] - 96)).toBeLessThan(1);
    expect(Math.abs(tank.pickup_mm[0][2] + 96)).toBeLessThan(1);
    expect(tank.rated_l.value).toBeCloseTo(0.95 * tank.brim_l.value, 9);
    expect(tank.rated_l.value + tank.ullage_l.value).toBeCloseTo(tank.brim_l.value, 9);
    expect(tank.rated_l.value + tank.vapour_l.value).toBeCloseTo(tank.cavity_l.value, 9);
    expect(tank.stranded_l.value).toBeLessThan(0.005);
    expect(tank.usable_l.value).toBeCloseTo(tank.rated_l.value - tank.stranded_l.value, 9);
    const area = 2 * (392 * 292 + 292 * 192 + 392 * 192) * 1e-4;
    expect(Math.abs(tank.inside_area_dm2 / area - 1)).toBeLessThan(0.01);
    expect(tank.inside_area_dm2).toBe(Number(tank.inside_area_dm2.toPrecision(3)));
    // Wetted: floor and the sides up to 95 % of the height.
    const wet = (392 * 292 + 2 * (392 + 292) * 192 * 0.95) * 1e-4;
    expect(Math.abs(tank.wetted_area_dm2 / wet - 1)).toBeLessThan(0.02);
    expect(tank.dry_mass_kg).toBeCloseTo(tank.wall_l.value * 0.94, 9);
    expect(tank.full_mass_kg).toBeCloseTo(tank.dry_mass_kg + tank.rated_l.value * 0.745, 9);
    expect(Math.hypot(...tank.dry_centre_mm)).toBeLessThan(1.5);
    const low = (-0.05 * 96 * tank.rated_l.value * 0.745) / tank.full_mass_kg;
    expect(Math.abs(tank.centre_mm[2] - low)).toBeLessThan(0.5);
    expect(tank.dip.length).toBe(101);
    expect(tank.dip[100].volume_l).toBeCloseTo(tank.cavity_l.value, 6);
  });

  it('its bounds: area times accuracy, the tolerance of the wall, and the change against the double step', async () => {
    const coarse = (await tankOf(solidField(box(400, 300, 200), [200, 150, 100], 16), { ...base, thin: false }, inlineContext)).tank;
    const { tank } = await tankOf(BOX, { ...base, coarse, wallTolerance: 0.2, thin: false }, inlineContext);
    const half = (b: { low: number; high: number }): number => (b.high - b.low) / 2;
    const area = (2 * (392 * 292 + 292 * 192 + 392 * 192)) / 1e6;
    expect(half(tank.cavity_l)).toBeGreaterThan(area * (0.25 + 0.8) * 0.99);
    expect(half(tank.cavity_l)).toBeLessThan(area * (0.25 + 0.8) * 1.01 + Math.abs(coarse.cavity_l.value - tank.cavity_l.value) + 1e-6);
    expect(tank.notes.map((n) => n.code)).not.toContain('no-coarse-run');
    expect(coarse.notes.map((n) => n.code)).toContain('no-coarse-run');
    for (const part of [tank.outer_l, tank.wall_l, tank.brim_l, tank.rated_l, tank.usable_l, tank.vapour_l]) {
      expect(part.low).toBeLessThanOrEqual(part.value);
      expect(part.high).toBeGreaterThanOrEqual(part.value);
    }
    // The truth lies within.
    const inside = (392 * 292 * 192) / 1e6;
    expect(tank.cavity_l.low).toBeLessThan(inside);
    expect(tank.cavity_l.high).toBeGreaterThan(inside);
  });

  it('double walls and foam take their share', async () => {
    const { tank } = await tankOf(
      BOX,
      { ...base, inner: { gap: 6, wall: 3 }, foam: { takes: 0.03, holds: 0.02 }, thin: false },
      inlineContext,
    );
    const shell = (a: number): number => (400 - 2 * a) * (300 - 2 * a) * (200 - 2 * a);
    expect(Math.abs(tank.cavity_l.value - shell(13) / 1e6)).toBeLessThan(0.05);
    expect(Math.abs((tank.interspace_l?.value ?? 0) - (shell(4) - shell(10)) / 1e6)).toBeLessThan(0.05);
    expect(Math.abs(tank.wall_l.value - (24e6 - shell(4) + shell(10) - shell(13)) / 1e6)).toBeLessThan(0.08);
    expect(tank.foam_l?.value).toBeCloseTo(0.03 * tank.cavity_l.value, 9);
    expect(tank.brim_l.value / (0.97 * tank.cavity_l.value)).toBeGreaterThan(0.995);
    expect(tank.stranded_l.value).toBeGreaterThan(0.02 * tank.rated_l.value - 1e-9);
  });

  it('attitudes: trapped air and stranded fuel of the leaned box; usable is the worst of them', async () => {
    const { tank } = await tankOf(
      BOX,
      {
        ...base,
        thin: false,
        stand: {
          advise: true,
          attitudes: [
            { pitch: 0, lean: 0 },
            { pitch: 15, lean: 0, name: 'climb' },
          ],
          vents: [[0, 0, 96]],
          pickups: [[0, 0, -96]],
        },
      },
      inlineContext,
    );
    const wedge = (0.392 ** 2 * 0.292 * Math.tan((15 * Math.PI) / 180) * 1e3) / 8;
    expect(tank.attitudes.map((a) => a.pitch_deg)).toEqual([0, 15]);
    expect(tank.attitudes[1].name).toBe('climb');
    expect(Math.abs(tank.attitudes[1].trapped_l - wedge)).toBeLessThan(0.03);
    expect(Math.abs(tank.attitudes[1].stranded_l - wedge)).toBeLessThan(0.03);
    expect(tank.stranded_l.value).toBeCloseTo(tank.attitudes[1].stranded_l, 9);
    expect(tank.usable_l.value).toBeCloseTo(tank.attitudes[1].usable_l, 9);
    expect(tank.proposed).toEqual(['filler']);
    // A second pickup at the low end of the climb would free all of it.
    expect(tank.second_pickup?.frees_l).toBeGreaterThan(0.8 * wedge);
    expect(tank.notes.map((n) => n.code)).toContain('second-pickup');
    expect(tank.pickup_places[0].worst_l).toBeLessThan(tank.pickup_places[4].worst_l + 1e-9);
    // Half a fill: the centre runs to the low end.
    expect(tank.half_fill[1].centre_mm[0]).toBeLessThan(-20);
  });

  it('the side stand gives the true fill', async () => {
    const lean = -12;
    const stand = {
      advise: false,
      filling: { pitch: 0, lean },
      filler: [0, 0, 96] as const,
      vents: [[0, 0, 96] as const],
      attitudes: [{ pitch: 0, lean: 0 }],
    };
    const { tank } = await tankOf(BOX, { ...base, thin: false, stand }, inlineContext);
    // Leaned, the level stands at the middle of the top: one wedge of air over it stays empty.
    const wedge = (0.292 ** 2 * 0.392 * Math.tan((12 * Math.PI) / 180) * 1e3) / 8;
    expect(Math.abs(tank.cavity_l.value - tank.filling.fill_l.value - wedge)).toBeLessThan(0.03);
    expect(tank.filling.lean_deg).toBe(lean);
    expect(tank.filling.trapped_l).toBeLessThan(0.005);
    const far = await tankOf(BOX, { ...base, thin: false, stand: { ...stand, filler: [0, -146, 96] } }, inlineContext);
    // Its mouth at the low side of the top: a wedge of the full width is lost, and the rated volume is held to it.
    expect(Math.abs(far.tank.cavity_l.value - far.tank.filling.fill_l.value - 4 * wedge)).toBeGreaterThanOrEqual(0);
    expect(far.tank.filling.fill_l.value).not.toBeCloseTo(tank.filling.fill_l.value, 1);
  });
});

describe('wetted share', () => {
  it('of a ball below any height: (z + R) / (2 R), Archimedes', () => {
    const f = solidField((x, y, z) => 60 - Math.hypot(x, y, z), [60, 60, 60], 10);
    for (const z of [-55, -31, 0, 17, 44]) expect(Math.abs(wettedShare(f, z) - (z + 60) / 120)).toBeLessThan(0.004);
    expect(wettedShare(f, -70)).toBe(0);
    expect(wettedShare(f, 70)).toBe(1);
  });
});

describe('bodies that are not a tank all over', () => {
  it('a fin too thin for a cavity becomes wall and is listed', async () => {
    const fin = solidField(union(box(200, 200, 200), moved(box(160, 120, 6), [160, 0, 0])), [240, 100, 100], 4);
    const { tank } = await tankOf(fin, base, inlineContext);
    expect(Math.abs(tank.cavity_l.value - 192 ** 3 / 1e6)).toBeLessThan(0.02);
    expect(tank.thin_places?.length).toBe(1);
    expect(tank.thin_places?.[0].at_mm[0]).toBeGreaterThan(150);
    // The fin reaches 140 mm out; its first 4 mm lie within two walls of the cavity and can not be told from the box's own wall.
    expect(Math.abs((tank.thin_l ?? 0) - (136 * 120 * 6) / 1e6)).toBeLessThan(0.002);
    expect(tank.notes.map((n) => n.code)).toContain('cavity-thin');
  });

  it('a room behind a bottle neck is cut off, listed, and counts as wall', async () => {
    const two = solidField(
      union(box(200, 200, 200), moved(box(60, 80, 80), [200, 0, 0]), moved(cylinder(3.5, 200), [120, 0, 0])),
      [240, 100, 100],
      4,
    );
    const { tank, cavity } = await tankOf(two, base, inlineContext);
    expect(tank.cut_off.length).toBe(1);
    expect(Math.abs(tank.cut_off[0].volume_l - (52 * 72 * 72) / 1e6)).toBeLessThan(0.01);
    expect(Math.abs(tank.cut_off[0].at_mm[0] - 200)).toBeLessThan(2);
    expect(Math.abs(volume(cavity) - 192 ** 3) / 1e6).toBeLessThan(0.02);
    expect(Math.abs(tank.cavity_l.value - 192 ** 3 / 1e6)).toBeLessThan(0.02);
    expect(tank.wall_l.value).toBeCloseTo(tank.outer_l.value - tank.cavity_l.value, 9);
  });

  it('a saddle over a tube: the other lobe is stranded, a balance line frees it', async () => {
    const saddle = solidField(without(box(300, 400, 200), moved(cylinder(60, 400), [0, 0, -100])), [150, 200, 100], 5);
    const stand = { attitudes: [{ pitch: 0, lean: 0 }], pickups: [[0, -150, -96] as const] };
    const { tank } = await tankOf(saddle, { ...base, thin: false, stand }, inlineContext);
    expect(tank.stranded_l.value).toBeGreaterThan(1.9);
    expect(tank.balance_line?.frees_l).toBeGreaterThan(0.9 * tank.stranded_l.value);
    expect(tank.notes.map((n) => n.code)).toEqual(expect.arrayContaining(['second-pickup', 'balance-line']));
  });
});

describe('faults', () => {
  it('nothing deep enough, senseless walls, and the common-practice table', async () => {
    const thin = solidField(box(100, 100, 6), [50, 50, 3], 2);
    const none = await fault(tankOf(thin, base, inlineContext));
    expect([none.code, none.exit]).toEqual(['cavity-empty', 3]);
    expect((await fault(tankOf(BOX, { ...base, wall: 0 }, inlineContext))).code).toBe('tank-wall');
    expect((await fault(tankOf(BOX, { ...base, foam: { takes: 0.9, holds: 0.2 } }, inlineContext))).code).toBe('tank-wall');
    // Walls of 3 to 10 mm, 20 % either way, from a maker's design guide; the rest is common practice.
    const roto = PROCESSES.rotomoulded;
    expect(roto.wall).toBeGreaterThanOrEqual(3);
    expect(roto.tolerance).toBe(0.2);
    expect(roto.inside_radius).toBeGreaterThanOrEqual(6);
  });
});

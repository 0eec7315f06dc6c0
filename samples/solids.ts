import type { Vec3 } from '../src/core/vec.ts';
import { block, capsule, coil, cylinder, frameFrom, type Primitive, ring, type Sheet, sheet, tube } from './primitives.ts';

/**
 * A hill-farm quad of our own, no maker's: x forward, y left, z up, ground at z = 0, mm. Its stock airbox sits between the upper
 * rails, under the seat; a compact intake replaces it. The room that comes free has a cross tube through it, a hot pipe under one
 * corner, and behind a bolted brace a pocket over the battery, reached through slots of some 27 mm.
 */
export interface Part {
  readonly name: PartName;
  readonly primitives: readonly Primitive[];
  /** Thin sheets among the primitives, by their middle lines. */
  readonly sheets: readonly Sheet[];
}

export const PART_NAMES = [
  'frame',
  'brace',
  'engine',
  'intake',
  'exhaust',
  'tray',
  'seat-base',
  'mudguard',
  'swing-arm',
  'shock',
  'front-end',
  'wheels',
  'airbox',
] as const;
export type PartName = (typeof PART_NAMES)[number];

const REAR_AXLE: Vec3 = [-620, 0, 290];
const FRONT_AXLE: Vec3 = [600, 0, 290];

/** The same thing on the left and on the right. */
const both = (make: (side: 1 | -1) => Primitive[]): Primitive[] => [...make(1), ...make(-1)];

const frame = (): Primitive[] => [
  ...both((s) => [
    // Upper rail, from the tail over the bay and past the engine to the steering head.
    ...tube(28, 120, [-660, s * 165, 740], [-50, s * 165, 740], [150, s * 110, 800], [425, s * 24, 800]),
    // Cradle under the engine and up to the steering head.
    ...tube(32, 110, [-320, s * 150, 250], [290, s * 130, 250], [430, s * 60, 500], [440, s * 26, 680]),
    ...tube(32, 90, [-320, s * 150, 250], [-310, s * 165, 440], [-310, s * 165, 740]),
    ...tube(28, 90, [0, s * 136, 250], [-40, s * 165, 500], [-40, s * 165, 740]),
    // Stay from the tail down to the rear upright.
    ...tube(28, 50, [-655, s * 165, 738], [-310, s * 165, 470]),
    // Front box: carries the arms and the bumper.
    ...tube(28, 100, [290, s * 130, 250], [800, s * 130, 290], [880, s * 130, 560], [870, s * 60, 640]),
    ...tube(25, 80, [560, s * 130, 275], [520, s * 100, 520], [436, s * 28, 720]),
    ...tube(25, 60, [560, s * 128, 400], [850, s * 128, 470]),
    // Side bar round the footwell, and the rear rack with its legs.
    ...tube(28, 70, [160, s * 132, 250], [160, s * 440, 262], [-150, s * 440, 262], [-170, s * 145, 250]),
    ...tube(22, 60, [-700, s * 0, 860], [-530, s * 0, 860], [-530, s * 300, 860], [-880, s * 300, 860], [-880, s * 0, 860]),
    ...tube(22, 40, [-640, s * 165, 742], [-640, s * 190, 860]),
    ...tube(18, 40, [-530, s * 150, 860], [-880, s * 150, 860]),
    ...tube(22, 40, [-655, s * 150, 742], [-820, s * 150, 858]),
    // Lug that the brace is bolted to, plates of the swing arm's pivot, lug of the shock.
    block([-405, s * 163, 716], [22, 5, 26], 2),
    block([-200, s * 146, 330], [42, 5, 95], 3),
    block([-312, s * 28, 522], [15, 4, 24], 3),
  ]),
  // Cross tubes: the dropped one through the void, the one under its floor, and those away from it.
  ...tube(28, 45, [-240, -165, 740], [-240, -128, 698], [-240, 128, 698], [-240, 165, 740]),
  capsule([-310, -165, 542], [-310, 165, 542], 16),
  capsule([-655, -165, 740], [-655, 165, 740], 14),
  capsule([-320, -150, 250], [-320, 150, 250], 16),
  capsule([280, -130, 250], [280, 130, 250], 16),
  capsule([560, -130, 275], [560, 130, 275], 14),
  capsule([800, -130, 290], [800, 130, 290], 14),
  capsule([870, -60, 640], [870, 60, 640], 14),
  capsule([880, -130, 540], [880, 130, 540], 14),
  capsule([-530, -300, 860], [-530, 300, 860], 11),
  // Hanger under the battery tray.
  ...tube(20, 30, [-480, -160, 604], [-480, -152, 508], [-480, 152, 508], [-480, 160, 604]),
  cylinder([452.5, 0, 560], [415, 0, 860], 32, 3),
  cylinder([462, 0, 480], [452, 0, 565], 22, 3),
];

const brace = (): Primitive[] => [
  capsule([-405, -146, 704], [-405, 146, 704], 16),
  ...both((s) => [
    block([-405, s * 153, 714], [22, 5, 24], 2),
    cylinder([-393, s * 150, 727], [-393, s * 140, 727], 7, 1),
    cylinder([-417, s * 150, 727], [-417, s * 140, 727], 7, 1),
  ]),
];

/** Cylinder, fins and head lean with the barrel: their axis from the crankcase to the head. */
const BARREL: { readonly a: Vec3; readonly b: Vec3 } = { a: [82, 0, 462], b: [58, 0, 640] };
const barrelAt = (k: number): Vec3 => [BARREL.a[0] + (BARREL.b[0] - BARREL.a[0]) * k, 0, BARREL.a[2] + (BARREL.b[2] - BARREL.a[2]) * k];
const LEAN = Math.sqrt((BARREL.a[0] - BARREL.b[0]) ** 2 + (BARREL.b[2] - BARREL.a[2]) ** 2);
const leaning = frameFrom([0, 0, 0], [(BARREL.b[2] - BARREL.a[2]) / LEAN, 0, (BARREL.a[0] - BARREL.b[0]) / LEAN], [0, 1, 0]);

const engine = (): Primitive[] => [
  block([115, 0, 370], [150, 104, 98], 28),
  block([20, 0, 400], [70, 90, 80], 24),
  cylinder([110, 90, 365], [110, 136, 365], 86, 12),
  cylinder([112, -90, 370], [112, -130, 370], 78, 12),
  cylinder([112, -120, 370], [112, -140, 370], 34, 8),
  block([250, 0, 330], [40, 60, 40], 15),
  cylinder(barrelAt(0), barrelAt(1), 55, 4),
  ...Array.from({ length: 8 }, (_, i) => block(barrelAt(0.16 + i * 0.098), [76 - 2 * (i % 2), 80, 3.4], 2.5, leaning)),
  block(barrelAt(1.06), [76, 72, 30], 16, leaning),
  block(barrelAt(1.3), [60, 56, 22], 14, leaning),
  ...[-1, 1].flatMap((i) => both((s) => [cylinder([56 + i * 62, s * 58, 640], [54 + i * 62, s * 58, 676], 8, 2)])),
  // Spark plug and lead, inlet stub, carburettor with its float bowl.
  cylinder([58, 62, 668], [58, 102, 680], 11, 3),
  ...tube(9, 40, [58, 100, 680], [58, 140, 684], [120, 150, 760]),
  cylinder([-6, 0, 643], [-48, 0, 632], 24, 3),
  block([-62, 0, 628], [22, 27, 32], 9),
  cylinder([-62, 0, 604], [-62, 0, 572], 22, 8),
  cylinder([-62, 0, 655], [-62, 0, 684], 16, 5),
];

const intake = (): Primitive[] => [
  cylinder([-206, -38, 618], [-116, -38, 618], 47, 14),
  cylinder([-120, -38, 618], [-112, -38, 618], 49, 3),
  ...tube(46, 26, [-114, -38, 618], [-100, -30, 620], [-82, -2, 628]),
];

const exhaust = (): Primitive[] => [
  ...tube(
    42,
    48,
    [120, -20, 646],
    [210, -34, 640],
    [216, -128, 512],
    [-60, -108, 498],
    [-150, -126, 500],
    [-262, -232, 524],
    [-330, -238, 540],
  ),
  cylinder([-322, -238, 538], [-640, -238, 556], 51, 18),
  cylinder([-630, -238, 556], [-690, -238, 552], 18, 2),
  cylinder([118, -19, 646], [136, -22, 645], 32, 4),
  block([-470, -190, 560], [16, 22, 4], 2),
];

const tray = (): Primitive[] => [
  block([-468, 0, 524], [57, 130, 3], 2),
  block([-414, 0, 546], [3, 130, 24], 2),
  block([-522, 0, 546], [3, 130, 24], 2),
  ...both((s) => [block([-468, s * 128, 542], [56, 2.5, 20], 2)]),
  // Battery with its posts, fuse box.
  block([-468, 34, 590], [49, 88, 64], 5),
  cylinder([-448, 100, 650], [-448, 100, 663], 8, 2),
  cylinder([-448, -32, 650], [-448, -32, 663], 8, 2),
  block([-468, -92, 590], [48, 31, 64], 5),
];

const swingArm = (): Primitive[] => [
  cylinder([-200, -138, 330], [-200, 138, 330], 27, 4),
  ...both((s) => [
    ...tube(46, 160, [-205, s * 100, 330], [-400, s * 106, 330], [-600, s * 118, 292]),
    cylinder([-620, s * 296, 290], [-620, s * 322, 290], 66, 6),
  ]),
  capsule([-400, -104, 328], [-400, 104, 328], 18),
  cylinder([-620, -300, 290], [-620, 300, 290], 34, 4),
  cylinder([-620, -40, 290], [-620, 70, 290], 84, 22),
  cylinder([-600, 20, 292], [-470, 20, 318], 30, 10),
  cylinder([-620, -208, 290], [-620, -196, 290], 98, 3),
  block([-440, 0, 340], [26, 20, 24], 6),
];

const shockBetween = (low: Vec3, high: Vec3): Primitive[] => {
  const on = (k: number): Vec3 => [low[0] + (high[0] - low[0]) * k, low[1] + (high[1] - low[1]) * k, low[2] + (high[2] - low[2]) * k];
  return [
    cylinder(on(0.06), on(0.55), 19, 3),
    cylinder(on(0.5), on(0.94), 8, 2),
    cylinder(on(0.12), on(0.16), 40, 2),
    cylinder(on(0.87), on(0.92), 40, 2),
    ...coil(on(0.17), on(0.86), { radius: 33, wire: 11, turns: 6.5 }),
  ];
};

const shock = (): Primitive[] => [
  ...shockBetween([-440, 0, 352], [-314, 0, 512]),
  cylinder([-440, -18, 354], [-440, 18, 354], 15, 3),
  cylinder([-314, -20, 510], [-314, 20, 510], 16, 3),
];

const frontEnd = (): Primitive[] => [
  ...tube(30, 40, [470, 0, 420], [398, 0, 996]),
  ...tube(22, 60, [300, -390, 1070], [345, -200, 1062], [392, -70, 1000], [392, 70, 1000], [345, 200, 1062], [300, 390, 1070]),
  ...both((s) => [
    cylinder([303, s * 388, 1070], [330, s * 268, 1065], 17, 5),
    // Two arms and a shock, upright and hub.
    ...tube(25, 40, [500, s * 130, 290], [600, s * 330, 252]),
    ...tube(25, 40, [720, s * 130, 296], [600, s * 330, 252]),
    ...tube(22, 40, [545, s * 124, 400], [600, s * 322, 336]),
    ...tube(22, 40, [690, s * 128, 430], [600, s * 322, 336]),
    // The front shocks wear rubber sleeves.
    cylinder([600, s * 290, 268], [564, s * 209, 388], 20, 4),
    cylinder([576, s * 236, 348], [521, s * 112, 531], 36, 12),
    cylinder([524, s * 119, 520], [512, s * 92, 560], 16, 4),
    capsule([600, s * 330, 252], [600, s * 326, 340], 20),
    cylinder([600, s * 318, 290], [600, s * 345, 290], 60, 6),
    ...tube(14, 30, [470, s * 10, 440], [560, s * 326, 300]),
    cylinder([505, s * 96, 812], [560, s * 96, 806], 52, 20),
  ]),
  // Cowl ahead of the seat, clock, front rack.
  block([190, 0, 884], [176, 112, 56], 48),
  block([395, 0, 930], [60, 150, 34], 30),
  cylinder([372, 0, 992], [385, 0, 1016], 44, 8),
  ...tube(22, 60, [520, 0, 900], [520, -280, 900], [850, -280, 880], [850, 280, 880], [520, 280, 900], [520, 0, 900]),
  ...[-140, 0, 140].flatMap((y) => tube(18, 40, [520, y, 900], [850, y, 880])),
  ...both((s) => tube(22, 40, [868, s * 58, 640], [840, s * 140, 882])),
  ...both((s) => tube(22, 40, [500, s * 84, 540], [525, s * 140, 898])),
];

const wheel = (centre: Vec3, side: 1 | -1): Primitive[] => {
  const [x, y, z] = centre;
  const lugs = Array.from({ length: 22 }, (_, i) => {
    const t = (i * 2 * Math.PI) / 22;
    const turn = (k: number): Primitive => {
      const a = t + (k * Math.PI) / 44;
      const out: Vec3 = [Math.cos(a), 0, Math.sin(a)];
      return block([x + out[0] * 288, y + k * 44, z + out[2] * 288], [13, 40, 15], 5, frameFrom([0, 0, 0], out, [0, 1, 0]));
    };
    return [turn(-1), turn(1)];
  }).flat();
  return [
    ring([x, y - 100, z], [x, y + 100, z], { inner: 152, outer: 288 }, 56),
    ring([x, y - 78, z], [x, y + 78, z], { inner: 138, outer: 156 }, 6),
    cylinder([x, y + side * 8, z], [x, y + side * 38, z], 146, 10),
    cylinder([x, y - side * 70, z], [x, y + side * 44, z], 48, 8),
    ...lugs,
  ];
};

const wheels = (): Primitive[] =>
  both((s) => [...wheel([REAR_AXLE[0], s * 424, REAR_AXLE[2]], s), ...wheel([FRONT_AXLE[0], s * 424, FRONT_AXLE[2]], s)]);

const airbox = (): Primitive[] => [
  block([-240, 0, 620], [149, 133, 55], 30),
  block([-153, 0, 680], [62, 126, 66], 28),
  block([-327, 0, 680], [62, 126, 66], 28),
  // Clamp to the carburettor, snorkel over the brace, resonator over the battery.
  cylinder([-120, 0, 627], [-86, 0, 628], 30, 4),
  block([-405, 0, 738], [54, 42, 9], 7),
  block([-470, 0, 710], [42, 60, 36], 15),
];

const Y_ACROSS = frameFrom([0, 0, 0], [1, 0, 0], [0, 0, 1]);

function seatBase(): Part {
  // A section that arches over the rails and hangs down as side panels, drawn out along x.
  const f = frameFrom([-284, 0, 0], [0, 1, 0], [0, 0, 1]);
  const points = [
    [-194, 600],
    [-190, 758.5],
    [190, 758.5],
    [194, 600],
  ] as const;
  const { primitives, skeleton } = sheet(f, points, { rounding: 21, half: 243, thickness: 3 });
  return { name: 'seat-base', primitives, sheets: [skeleton] };
}

function mudguard(): Part {
  const tail = sheet(
    Y_ACROSS,
    [
      [-535, 636],
      [-535, 766],
      [-860, 772],
      [-950, 690],
    ],
    { rounding: 24, half: 143, thickness: 3 },
  );
  const wings = [1, -1].flatMap((s) =>
    [-1, 1].map((end) => {
      const middle = s * (end < 0 ? 382 : 400);
      const f = frameFrom([end < 0 ? REAR_AXLE[0] : FRONT_AXLE[0], middle, 0], [1, 0, 0], [0, 0, 1]);
      const arch = [
        [-390, 470],
        [-330, 700],
        [-90, 800],
        [120, 795],
        [330, 690],
        [385, 500],
      ] as const;
      return sheet(f, arch, { rounding: 150, half: end < 0 ? 166 : 148, thickness: 3 });
    }),
  );
  const all = [tail, ...wings];
  return { name: 'mudguard', primitives: all.flatMap((a) => a.primitives), sheets: all.map((a) => a.skeleton) };
}

const MAKERS: Record<PartName, () => Primitive[] | Part> = {
  frame,
  brace,
  engine,
  intake,
  exhaust,
  tray,
  'seat-base': seatBase,
  mudguard,
  'swing-arm': swingArm,
  shock,
  'front-end': frontEnd,
  wheels,
  airbox,
};

const made = new Map<PartName, Part>();

/** One part of the quad with all its primitives. */
export function part(name: PartName): Part {
  const known = made.get(name);
  if (known) return known;
  const m = MAKERS[name]();
  const result: Part = Array.isArray(m) ? { name, primitives: m, sheets: [] } : m;
  made.set(name, result);
  return result;
}

/**
 * Signed distance to a named part, mm, negative inside: exact outside; inside, where primitives overlap, the true depth may be
 * greater than what is returned.
 */
export function obstacleDistance(name: PartName, x: number, y: number, z: number): number {
  let least = Infinity;
  for (const p of part(name).primitives) {
    const d = p.distance(x, y, z);
    if (d < least) least = d;
  }
  return least;
}

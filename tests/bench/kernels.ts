import type { Field } from '../../src/core/field.ts';
import { fieldOf } from '../../src/core/field.ts';
import { cellCount, gridOver } from '../../src/core/grid.ts';
import { random } from '../../src/core/random.ts';
import type { Vec3 } from '../../src/core/vec.ts';
import { distanceToMesh } from '../../src/field/distance.ts';
import { flood } from '../../src/field/flood.ts';
import { volume } from '../../src/field/integrate.ts';
import { surface } from '../../src/field/surface.ts';
import { sweep } from '../../src/field/sweep.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { rollBall } from '../../src/space/roll.ts';
import { randomTurn, type Turn } from '../oracle/shapes.ts';
import { benchFrame, benchGrid, LEVELS } from './distance.ts';
import { checksum, median, printTable, short, timed } from './timing.ts';

export interface KernelFigures {
  /** CPU seconds and millions of cells a second of one thread, by kernel. */
  readonly [kernel: string]: { readonly cpu: number; readonly mcells: number };
}

/** The other four kernels on the slack of the benchmark's frame. */
export async function benchKernels(runs: number): Promise<KernelFigures> {
  const grid = benchGrid(2);
  const slack = await distanceToMesh(benchFrame(), grid, { levels: LEVELS }, inlineContext);
  for (let c = 0; c < slack.data.length; c++) slack.data[c] -= LEVELS[0];
  const start = slack.data.indexOf(slack.data.reduce((a, b) => Math.max(a, b)));
  const figures: Record<string, { cpu: number; mcells: number }> = {};
  const note = (name: string, cpu: number): void => {
    figures[name] = { cpu, mcells: cellCount(grid) / 1e6 / cpu };
  };
  note(
    'flood',
    (
      await timed(
        runs,
        () => flood(slack, [start]),
        (f) => checksum(f.reach.data),
      )
    ).cpu,
  );
  note(
    'integrate',
    (
      await timed(
        runs,
        () => volume(slack),
        (v) => v,
      )
    ).cpu,
  );
  note(
    'surface',
    (
      await timed(
        runs,
        () => surface(slack, 0),
        (m) => checksum(m.positions),
      )
    ).cpu,
  );
  note(
    'sweep',
    (
      await timed(
        runs,
        () => sweep(slack, [0.6, 0.48, 0.64], inlineContext),
        (f) => checksum(f.data),
      )
    ).cpu,
  );
  printTable(
    `other kernels, one thread, ${cellCount(grid)} cells`,
    ['', 'cpu s', 'M cells/s'],
    Object.entries(figures).map(([name, f]) => [name, short(f.cpu), short(f.mcells)]),
  );
  return figures;
}

interface Body {
  readonly name: string;
  /** Signed distance to the body's surface, positive inside, mm, in its own frame. */
  readonly inside: (x: number, y: number, z: number) => number;
  readonly half: Vec3;
  /** Radius of the rolled ball, mm; 0: the body as it is. */
  readonly radius: number;
  /** mm3 */
  readonly volume: number;
}

const boxInside =
  ([a, b, c]: Vec3) =>
  (x: number, y: number, z: number): number =>
    Math.min(a - Math.abs(x), b - Math.abs(y), c - Math.abs(z));

/** Opening of a box by a ball: edges and corners lose what the fillets take (Steiner's formula). */
function openedBox([a, b, c]: Vec3, r: number): number {
  const [x, y, z] = [2 * (a - r), 2 * (b - r), 2 * (c - r)];
  return x * y * z + 2 * r * (x * y + y * z + z * x) + Math.PI * r * r * (x + y + z) + (4 / 3) * Math.PI * r ** 3;
}

const HALF: Vec3 = [200, 150, 100];
const BODIES: readonly Body[] = [
  {
    name: 'ball R 120',
    inside: (x, y, z) => 120 - Math.hypot(x, y, z),
    half: [120, 120, 120],
    radius: 0,
    volume: (4 / 3) * Math.PI * 120 ** 3,
  },
  {
    name: 'cylinder R 100 L 400',
    inside: (x, y, z) => Math.min(100 - Math.hypot(x, y), 200 - Math.abs(z)),
    half: [100, 100, 200],
    radius: 0,
    volume: Math.PI * 100 ** 2 * 400,
  },
  ...[0, 10, 25].map((r) => ({
    name: r ? `box 400x300x200 rolled by ${r}` : 'box 400x300x200',
    inside: boxInside(HALF),
    half: HALF,
    radius: r,
    volume: openedBox(HALF, r),
  })),
];

export interface ClosedForms {
  readonly [body: string]: { readonly worstPercent: number; readonly medianPercent: number; readonly order: number };
}

/** Volumes of bodies with a closed form at random places and turns: error at 2 mm, and the order from 8, 4 and 2 mm. */
export async function benchClosedForms(turns: number): Promise<ClosedForms> {
  const out: Record<string, { worstPercent: number; medianPercent: number; order: number }> = {};
  for (const body of BODIES) {
    const rng = random(99);
    const rms: number[] = [];
    let last: number[] = [];
    const poses = Array.from({ length: turns }, () => ({
      turn: randomTurn(rng),
      at: [rng.next() * 9, rng.next() * 9, rng.next() * 9] as Vec3,
    }));
    for (const step of [8, 4, 2]) {
      last = [];
      for (const { turn, at } of poses) last.push(((await volumeAt(body, step, turn, at)) / body.volume - 1) * 100);
      rms.push(Math.sqrt(last.reduce((s, e) => s + e * e, 0) / turns));
    }
    out[body.name] = {
      worstPercent: Math.max(...last.map(Math.abs)),
      medianPercent: median(last.map(Math.abs)),
      order: Math.log2(rms[0] / rms[2]) / 2,
    };
  }
  printTable(
    'closed-form volumes at 2 mm, error in %, and order of convergence from 8 to 2 mm',
    ['', 'median', 'worst', 'order'],
    Object.entries(out).map(([name, f]) => [name, short(f.medianPercent), short(f.worstPercent), f.order.toFixed(2)]),
  );
  return out;
}

async function volumeAt(body: Body, step: number, turn: Turn, at: Vec3): Promise<number> {
  // The turned body's own box, with two cells to spare.
  const reach = (i: 0 | 1 | 2): number => turn[i].reduce((sum, v, k) => sum + Math.abs(v) * body.half[k], 2 * step);
  const r: Vec3 = [reach(0), reach(1), reach(2)];
  const grid = gridOver({ min: [at[0] - r[0], at[1] - r[1], at[2] - r[2]], max: [at[0] + r[0], at[1] + r[1], at[2] + r[2]] }, step);
  const f: Field = fieldOf(grid, (x, y, z) => {
    const [u, v, w] = [x - at[0], y - at[1], z - at[2]];
    const to = (i: number): number => turn[0][i] * u + turn[1][i] * v + turn[2][i] * w;
    return body.inside(to(0), to(1), to(2));
  });
  if (body.radius === 0) return volume(f);
  return volume(await rollBall(f, body.radius, 'anywhere', inlineContext));
}

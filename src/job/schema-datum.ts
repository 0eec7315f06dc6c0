import * as z from 'zod';
import type { Vec3 } from '../core/vec.ts';
import { direction, point, type Report, section } from './schema-parts.ts';
import { checkScanName, type RawScan } from './schema-scans.ts';

/** Fewest points that make a circle. */
const RING = 3;

/** The end of an axle: its centre, or points round a wheel from which the centre is worked out. Comes out as a list of points. */
const end = z
  .union([point(), z.array(point()).refine((p) => p.length === 1 || p.length >= RING)], {
    error: `a point [x, y, z], or at least ${RING} points round the wheel's rim`,
  })
  .transform((p) => (isPoint(p) ? [p] : p));

const isPoint = (p: [number, number, number] | [number, number, number][]): p is [number, number, number] => typeof p[0] === 'number';

const axle = (which: string) =>
  section({
    left: end.describe(`Left end of the ${which} axle, mm: its centre, or at least ${RING} points round the rim of the wheel there.`),
    right: end.describe('Right end, the same way.'),
  });

const axles = section({
  front: axle('front').describe('The front axle.'),
  rear: axle('rear').describe('The rear axle.'),
});

const ground = section({
  left: point().describe('Where a left wheel stands on the ground, mm.'),
  right: point().describe('Where the right wheel of the same axle stands.'),
  front: point().nullish().describe('A third place on the ground, before those two; this or "rear".'),
  rear: point().nullish().describe('A third place on the ground, behind those two.'),
}).transform((g, context) => {
  if (!g.front === !g.rear) context.addIssue({ code: 'custom', message: 'either "front" or "rear"' });
  return { left: g.left, right: g.right, front: g.front ?? null, rear: g.rear ?? null };
});

const symmetry = section({
  scan: z
    .union([z.string(), z.array(z.string()).min(1)], { error: 'the name of a scan, or a list of names' })
    .transform((v) => (Array.isArray(v) ? v : [v]))
    .describe('The scan, or scans, whose best plane of symmetry becomes the middle plane (y = 0).'),
  up: direction().prefault([0, 0, 1]).describe('Upward in the scan; laid into the plane it becomes z.'),
  forward: direction()
    .prefault([1, 0, 0])
    .describe('Forward in the scan, roughly: planes whose normal is within 30 degrees of square to both are looked at.'),
}).transform((s, context) => {
  const cosine = s.up[0] * s.forward[0] + s.up[1] * s.forward[1] + s.up[2] * s.forward[2];
  if (Math.abs(cosine) > 0.7) context.addIssue({ code: 'custom', message: '"forward" about square to "up"' });
  return s;
});

/**
 * The frame that a job's coordinates are in. Left out, they are those of the scans as placed. The points and directions of this section alone are in the scans' frame;
 * everything else in the job, but for `place`, is in the new one.
 */
export const datum = section({
  axles: axles.nullish().describe('From two wheel axles: y along them, x from the rear one to the front one.'),
  ground: ground.nullish().describe('From three places on the ground under the wheels: z square to it, y from right to left.'),
  symmetry: symmetry.nullish().describe('From the best plane of symmetry of a scan.'),
  origin: point()
    .nullish()
    .describe(
      "The point, mm in the scans' frame, that becomes [0, 0, 0]; when left out the middle of the rear axle, the middle between left and right on the ground, or the foot of the scans' zero on the plane of symmetry.",
    ),
}).transform((d, context) => {
  const ways = [d.axles, d.ground, d.symmetry].filter((w) => w !== undefined && w !== null).length;
  if (ways !== 1) context.addIssue({ code: 'custom', message: 'one of "axles", "ground" and "symmetry"' });
  return { axles: d.axles ?? null, ground: d.ground ?? null, symmetry: d.symmetry ?? null, origin: d.origin ?? null };
});

export interface JobAxle {
  readonly left: readonly Vec3[];
  readonly right: readonly Vec3[];
}

/** Exactly one of axles, ground and symmetry is there; mm in the frame in which the scans were placed. */
export interface JobDatum {
  readonly axles: { readonly front: JobAxle; readonly rear: JobAxle } | null;
  readonly ground: { readonly left: Vec3; readonly right: Vec3; readonly front: Vec3 | null; readonly rear: Vec3 | null } | null;
  readonly symmetry: { readonly scan: readonly string[]; readonly up: Vec3; readonly forward: Vec3 } | null;
  readonly origin: Vec3 | null;
}

/** The scans of a plane of symmetry must be there. */
export function checkDatum(d: JobDatum | null | undefined, all: Readonly<Record<string, RawScan>>, report: Report): void {
  for (const name of d?.symmetry?.scan ?? []) checkScanName(name, all, { path: ['datum', 'symmetry', 'scan'], report });
}

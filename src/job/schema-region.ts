import * as z from 'zod';
import { dot, sub, type Vec3 } from '../core/vec.ts';
import { REGION_DEFAULTS } from './defaults.ts';
import { type DeepReadonly, direction, length, point, pointText, type Report, section, turns } from './schema-parts.ts';
import { checkScanName, type RawScan } from './schema-scans.ts';
import { turnRows } from './turn.ts';

const AXES = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] } as const;

const near = section({
  scan: z
    .union([z.string(), z.array(z.string()).min(1)], { error: 'the name of a scan, or a list of names' })
    .transform((v) => (Array.isArray(v) ? v : [v]))
    .describe('The scan (or scans) to stay near to; the inside counts as near.'),
  within: length({ above: 0 }).prefault(REGION_DEFAULTS.within).describe('How near, mm.'),
});

const box = section({
  min: point().describe('Lower corner [x, y, z], mm.'),
  max: point().describe('Upper corner [x, y, z], mm.'),
  turn: turns().prefault([0, 0, 0]).describe("Turns about the box's centre, about x, then y, then z, degrees."),
});

const halfSpace = section({
  at: point().describe('A point on the border, mm.'),
  normal: direction().describe('Direction from the border to the side where the body lies.'),
});

const outline = section({
  axis: z
    .enum(['x', 'y', 'z'])
    .nullish()
    .describe('Axis along which the outline is extruded; points are the other two coordinates: x: [y, z], y: [x, z], z: [x, y].'),
  normal: direction().nullish().describe('Instead of axis, any direction; points are then [horizontal, upward] in the plane across it.'),
  points: z
    .array(z.tuple([length(), length()], { error: 'a point [u, v], mm' }))
    .min(3, { error: 'at least three points' })
    .describe('Corners of the outline [u, v], mm, in order; it closes itself.'),
  from: length().nullish().describe('Where the extrusion begins along the axis, mm; endless when left out.'),
  to: length().nullish().describe('Where it ends, mm.'),
}).transform((o, context) => {
  if (!o.axis === !o.normal) context.addIssue({ code: 'custom', message: 'either "axis" or "normal"' });
  if (o.from != null && o.to != null && o.from >= o.to)
    context.addIssue({ code: 'custom', message: '"from" that is less than "to"', path: ['from'] });
  if (crosses(o.points)) context.addIssue({ code: 'custom', message: 'an outline that does not cross itself', path: ['points'] });
  const normal: Vec3 = o.normal ?? AXES[o.axis ?? 'z'];
  return { normal: [...normal] as [number, number, number], points: o.points, from: o.from ?? null, to: o.to ?? null };
});

/** Whether any two edges of the closed polygon cross. */
function crosses(p: readonly (readonly [number, number])[]): boolean {
  const side = (a: number, b: number, c: number): number =>
    Math.sign((p[b][0] - p[a][0]) * (p[c][1] - p[a][1]) - (p[b][1] - p[a][1]) * (p[c][0] - p[a][0]));
  for (let i = 0; i < p.length; i++)
    for (let j = i + 1; j < p.length; j++) {
      const [a, b, c, d] = [i, (i + 1) % p.length, j, (j + 1) % p.length];
      if (side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0) return true;
    }
  return false;
}

/** Where the body may be: whatever is named holds, all together. */
export const region = section({
  skin: z
    .union([z.literal(false), length({ above: 0 })], { error: 'a length, mm, or false' })
    .prefault(REGION_DEFAULTS.skin)
    .describe('Radius, mm, of a ball rolled from outside over all scans; the body stays where it cannot enter. false leaves the skin out.'),
  near: z
    .union([z.literal(false), near], { error: '{ scan: ..., within: ... }, or false' })
    .nullish()
    .describe(
      `Stay near a scan; the removed part within ${REGION_DEFAULTS.within} mm when left out and there is one. false leaves it out.`,
    ),
  box: box.nullish().describe('Stay inside a box.'),
  half_spaces: z.array(halfSpace).nullish().describe('Stay on one side of each of these planes.'),
  outline: outline.nullish().describe('Stay inside an outline drawn in a plane and extruded.'),
  inside: z.string({ error: 'the name of a scan' }).nullish().describe('Stay inside this scan, which must be a closed mesh.'),
});

/** Discs laid across openings. */
export const barriers = z.array(
  section({
    at: point().describe('Centre of the disc, mm.'),
    normal: direction().describe('Direction across the disc.'),
    radius: length({ above: 0 }).describe('Radius of the disc, mm.'),
  }),
);

export type RawRegion = z.output<typeof region>;

type Given<T> = NonNullable<T> | null;
export type JobRegion = DeepReadonly<{
  skin: number | false;
  near: Exclude<RawRegion['near'], null | undefined>;
  box: Given<RawRegion['box']>;
  half_spaces: NonNullable<RawRegion['half_spaces']>;
  outline: Given<RawRegion['outline']>;
  inside: string | null;
}>;
export type JobBarrier = DeepReadonly<z.output<typeof barriers>[number]>;

/** Left out, `near` means the removed parts when there are any. */
export function completeRegion(raw: RawRegion, scans: Readonly<Record<string, RawScan>>): JobRegion {
  const removed = Object.keys(scans).filter((name) => scans[name].role === 'removed');
  return {
    skin: raw.skin,
    near: raw.near ?? (removed.length ? { scan: removed, within: REGION_DEFAULTS.within } : false),
    box: raw.box ?? null,
    half_spaces: raw.half_spaces ?? [],
    outline: raw.outline ?? null,
    inside: raw.inside ?? null,
  };
}

export function checkRegion(raw: RawRegion, scans: Readonly<Record<string, RawScan>>, report: Report): void {
  if (raw.near) for (const name of raw.near.scan) checkScanName(name, scans, { path: ['region', 'near', 'scan'], report });
  if (raw.inside) checkScanName(raw.inside, scans, { path: ['region', 'inside'], report });
  const { box } = raw;
  if (box?.min.some((v, a) => v >= box.max[a]))
    report(['region', 'box'], {
      code: 'job-box-empty',
      what: "The region's box is empty.",
      got: `min ${pointText(box.min)}, max ${pointText(box.max)}`,
      expected: 'every min less than its max',
    });
  const r = completeRegion(raw, scans);
  if (!r.skin && !r.near && !r.box && !r.half_spaces.length && !r.outline && !r.inside)
    report(['region'], {
      code: 'job-no-region',
      what: 'The region leaves nothing out: the room outside the vehicle is endless.',
      expected: 'a skin, nearness to a scan, a box, planes, an outline or a closed mesh',
    });
}

/** A start point that the region's own box or planes rule out can be told at once. */
export function checkStart(start: Vec3 | null, r: JobRegion, report: Report): void {
  if (!start) return;
  const refuse = (what: string): void =>
    report(['start'], {
      code: 'job-start-outside',
      what: `The start point lies outside ${what}.`,
      got: pointText(start),
      expected: 'a point inside the region',
    });
  if (r.box && !inBox(start, r.box)) refuse("the region's box");
  const plane = r.half_spaces.findIndex((h) => dot(sub(start, h.at), h.normal) < 0);
  if (plane >= 0) refuse(`plane ${plane + 1} of the region's half_spaces`);
}

function inBox(p: Vec3, box: NonNullable<JobRegion['box']>): boolean {
  const centre: Vec3 = [0, 1, 2].map((a) => (box.min[a] + box.max[a]) / 2) as [number, number, number];
  const rows = turnRows(box.turn);
  const d = sub(p, centre);
  // Back into the box's own axes: the transposed rotation.
  const own = [0, 1, 2].map((a) => rows[0][a] * d[0] + rows[1][a] * d[1] + rows[2][a] * d[2]);
  return own.every((v, a) => Math.abs(v) <= (box.max[a] - box.min[a]) / 2);
}

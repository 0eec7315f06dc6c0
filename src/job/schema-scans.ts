import * as z from 'zod';
import { nearestWord } from '../core/fault.ts';
import { LENGTH_UNITS } from '../core/units.ts';
import { type DeepReadonly, length, point, type Report, section } from './schema-parts.ts';
import { motion, place } from './schema-place.ts';

const ROLES = ['obstacle', 'removed', 'mates', 'ignore'] as const;
export type Role = (typeof ROLES)[number];

/** Letters of most scripts, written so that it means the same with and without the `u` flag: schema tools differ in that. */
const NAME_PATTERN = /^[A-Za-z\u00C0-\uD7FF][A-Za-z0-9\u00C0-\uD7FF ._-]*$/;
const NAME = 'a plain name that starts with a letter (then letters, digits, space, dot, dash, underscore)';
const file = z.string({ error: "the scan's file name" }).min(1, { error: "the scan's file name" });

const piece = z.union([z.int().min(1), point()], { error: 'the number of a piece (1 is the largest), or a point on it [x, y, z], mm' });

/** A connected piece of a file: its number as the survey lists it, from 1, or a point on it, mm in the frame of the file. */
export type PieceChoice = DeepReadonly<z.output<typeof piece>>;

const scan = section({
  file: file.describe('File of the scan; looked for beside the job file.'),
  groups: z
    .union([z.string(), z.array(z.string())], { error: 'the name of a group, or a list of names' })
    .transform((v) => (Array.isArray(v) ? v : [v]))
    .nullish()
    .describe('Only these groups, objects or nodes of the file; all of it when left out.'),
  pieces: z
    .union(
      [
        z
          .int()
          .min(1)
          .transform((v) => [v]),
        z.array(piece).min(1),
      ],
      {
        error: 'numbers of pieces such as [1, 3] (1 is the largest), or points on them such as [[10, 20, 30]], mm',
      },
    )
    .nullish()
    .describe(
      'Only these connected pieces of the file (or of its groups): by number as the survey lists them, 1 being the one with the most triangles, or by a point within 10 mm of one (or of its middle), mm in the frame of the file as it stands.',
    ),
  role: z
    .enum(ROLES)
    .prefault('obstacle')
    .describe(
      'obstacle: keep clear of it. removed: what was taken out. mates: may be touched, never crossed. ignore: only there to be named or looked at.',
    ),
  clearance: length({ least: 0 })
    .nullish()
    .describe("Least distance from the body to this scan, mm; the job's clearance when left out, 0 for a mate."),
  units: z.enum(LENGTH_UNITS).nullish().describe("Unit of the file; when left out the one the file carries, else the job's."),
  note: z.string({ error: 'a text' }).nullish().describe('A remark that is shown with the results.'),
  doubt: length({ least: 0 })
    .prefault(0)
    .describe('How far this surface may be off (warp, flexible plastic), mm; added to the clearance and to the error bound.'),
  comes_off: z.boolean({ error: 'true or false' }).prefault(false).describe('Whether this part is taken off while the body goes in.'),
  solid: z
    .enum(['auto', 'solid', 'sheet'])
    .prefault('auto')
    .describe('solid: its inside is full. sheet: only the surface is there. auto: told from the scan itself.'),
  place: place
    .nullish()
    .describe(
      'Where the scan stands, before the datum: a 3x4 or 4x4 matrix by rows, or { move: [..] mm, turn: [..] degrees }; or how it is found: { onto: scan }, { targets: .. }, { from: placings.json }.',
    ),
  motion: motion.nullish().describe('How the part moves: one joint, or two of which the second carries the first.'),
});

/** Name of a scan to what it is; `frame: frame.ply` is short for `frame: { file: frame.ply }`. */
export const scans = z.record(
  z.string().regex(NAME_PATTERN, { error: NAME }),
  z.union([scan, file.transform((f) => scan.parse({ file: f }))], { error: 'a file name, or { file: ..., role: ... }' }),
  { error: 'scans by name' },
);

export type RawScan = z.output<typeof scan>;

/** A scan with every default filled in. `clearance` is 0 for a mate; `units` null means the file's own, else the job's. */
export type JobScan = DeepReadonly<
  Omit<RawScan, 'clearance' | 'groups' | 'pieces' | 'units' | 'note' | 'place' | 'motion'> & {
    clearance: number;
    groups: string[] | null;
    pieces: PieceChoice[] | null;
    units: NonNullable<RawScan['units']> | null;
    note: string | null;
    place: NonNullable<RawScan['place']> | null;
    motion: NonNullable<RawScan['motion']>;
  }
>;

export function completeScan(raw: RawScan, clearance: number): JobScan {
  return {
    file: raw.file,
    groups: raw.groups ?? null,
    pieces: raw.pieces ?? null,
    role: raw.role,
    clearance: raw.role === 'mates' ? 0 : (raw.clearance ?? clearance),
    units: raw.units ?? null,
    note: raw.note ?? null,
    doubt: raw.doubt,
    comes_off: raw.comes_off,
    solid: raw.solid,
    place: raw.place ?? null,
    motion: raw.motion ?? [],
  };
}

/** What one scan cannot tell by itself: that something bounds the room, and that mates have no clearance. */
export function checkScans(all: Readonly<Record<string, RawScan>>, report: Report): void {
  const entries = Object.entries(all);
  if (entries.length === 0)
    report(['scans'], {
      code: 'job-no-scans',
      what: 'The job names no scans.',
      expected: 'at least one scan to keep clear of',
      hint: 'voidgauge new SCAN... writes a job from scan files',
    });
  else if (!entries.some(([, s]) => s.role === 'obstacle' || s.role === 'mates'))
    report(['scans'], {
      code: 'job-no-obstacle',
      what: 'None of the scans is an obstacle, so nothing bounds the room.',
      expected: 'at least one scan with role obstacle or mates',
    });
  for (const [name, s] of entries) checkPlaced(name, s, all, report);
  for (const [name, s] of entries)
    if (s.role === 'mates' && s.clearance)
      report(['scans', name, 'clearance'], {
        code: 'job-mates-clearance',
        what: `Scan "${name}" mates with the body and is given a clearance as well.`,
        got: `${s.clearance} mm`,
        expected: 'no clearance: a mate is touched',
        hint: 'role: obstacle keeps a distance',
      });
}

/** A scan can only be laid onto one that stands already: an other one that is not itself laid onto it. */
function checkPlaced(name: string, s: RawScan, all: Readonly<Record<string, RawScan>>, report: Report): void {
  const onto = ontoOf(s);
  if (onto === null) return;
  const path = ['scans', name, 'place', 'onto'];
  checkScanName(onto, all, { path, report });
  const seen = [name];
  for (let at: string | null = onto; at !== null && Object.hasOwn(all, at); at = ontoOf(all[at])) {
    if (seen.includes(at)) {
      report(path, {
        code: 'job-place-ring',
        what: `Scan "${name}" cannot be placed: its placing hangs on itself.`,
        got: [...seen, at].join(' onto '),
        expected: 'a chain that ends at a scan that stands by itself',
      });
      return;
    }
    seen.push(at);
  }
}

const ontoOf = (s: RawScan): string | null => (s.place && !Array.isArray(s.place) ? s.place.onto : null);

/** Reports a name that is no scan, with the nearest one that is. */
export function checkScanName(
  name: string,
  all: Readonly<Record<string, RawScan>>,
  place: { path: readonly (string | number)[]; report: Report },
): void {
  if (Object.hasOwn(all, name)) return;
  const known = Object.keys(all);
  const near = nearestWord(name, known);
  place.report(place.path, {
    code: 'job-unknown-scan',
    what: `"${name}" is not one of the job's scans.`,
    got: name,
    expected: known.length ? `one of: ${known.join(', ')}` : 'a scan under "scans"',
    hint: near ? `did you mean "${near}"?` : undefined,
  });
}

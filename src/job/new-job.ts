import { stringify } from 'yaml';
import type { LengthUnit } from '../core/units.ts';
import { type Box3, emptyBox, growBox, isEmptyBox, unionBox } from '../core/vec.ts';
import { FLUID_NAMES, JOB_DEFAULTS, JOB_VERSION, PROCESS_NAMES, PROCESSES, REGION_DEFAULTS, TANK_DEFAULTS } from './defaults.ts';
import type { Role } from './schema-scans.ts';

/** What is known of a scan before there is a job. */
export interface NewScan {
  /** A name that a job accepts, see `scanName`. */
  readonly name: string;
  readonly file: string;
  /** Unit of the file, and where that comes from; `carried` when the file says so itself. */
  readonly unit: LengthUnit;
  readonly reason: string;
  readonly carried: boolean;
  /** mm */
  readonly box: Box3;
  readonly role: Role;
  /** Groups in the file, for a comment. */
  readonly groups: readonly string[];
}

/** How many groups of a file are listed. */
const GROUPS_SHOWN = 12;

/** A name for a scan, made from its file's, that a job accepts and that is not in `taken`. */
export function scanName(file: string, taken: readonly string[]): string {
  const base = file.replace(/^.*[\\/]/, '').replace(/(\.(gz|stl|ply|obj|glb|gltf|3mf|pcd|xyz|csv|asc|zip))+$/i, '');
  const plain = base.replace(/[^A-Za-z0-9\u00C0-\uD7FF_-]+/g, '_').replace(/^[^A-Za-z\u00C0-\uD7FF]+/, '') || 'scan';
  if (!taken.includes(plain)) return plain;
  let n = 2;
  while (taken.includes(`${plain}_${n}`)) n++;
  return `${plain}_${n}`;
}

const REMOVED_WORDS = /air.?box|removed|stock|old|taken|original|without.?part/i;

/** A file whose name sounds like the part that was taken out, when it is not the only one; the rest are obstacles. */
export function suggestRole(name: string, count: number): Role {
  return count > 1 && REMOVED_WORDS.test(name) ? 'removed' : 'obstacle';
}

/** A job file with comments, for editing; what it says parses as it stands. */
export function renderNewJob(name: string, scans: readonly NewScan[]): string {
  const open = scans.filter((s) => !s.carried);
  const units = open[0]?.unit ?? JOB_DEFAULTS.units;
  const lines = [
    '# A job for voidgauge: which scans, what room, what goes in. Lengths are mm, or carry a unit: 5 cm, 1.5 in.',
    '# "voidgauge measure" runs it; "voidgauge schema" describes every key.',
    `voidgauge: ${JOB_VERSION}`,
    `name: ${scalar(name)}`,
    '',
    '# Unit of scan files that carry none. A guess; please check:',
    ...[...new Set(open.map((s) => s.reason))].map((reason) => `#   ${oneLine(reason)}`),
    `units: ${units}`,
    '',
    `step: ${JOB_DEFAULTS.step}                # size of a fine cell; half the step takes about eight times as long`,
    `accuracy: ${JOB_DEFAULTS.accuracy}         # how far a scanned surface may be off; goes into the error bounds`,
    `clearance: ${JOB_DEFAULTS.clearance}           # least distance to every obstacle that gives none of its own`,
    '',
    '# Role: obstacle (keep clear of it), removed (what was taken out), mates (touched, never crossed), ignore.',
    '# Further keys: clearance, groups: [..], pieces: [1, 3], note, doubt (how far the surface may be off), comes_off: true, solid, place, motion.',
    'scans:',
    ...scans.flatMap((s) => scanLines(s, units)),
    '',
    '# All coordinates below are in the frame of the scans, or of a datum: x forward, y left, z up; from axles, ground or a plane of symmetry.',
    '# datum: { symmetry: { scan: frame, up: [0, 0, 1], forward: [1, 0, 0] } }',
    '',
    '# The vehicle before the work as a job of its own, when no scan of the removed part alone is there:',
    '# before: { job: before.yaml, place: { onto: frame } }',
    '',
    ...regionLines(scans),
    '',
    '# A disc across each opening that the body must not grow through:',
    '# barriers:',
    '#   - { at: [0, 0, 0], normal: [1, 0, 0], radius: 40 }',
    '',
    '# A point inside the void; left out, it is taken where the removed part was, else in the largest free piece.',
    '# start: [0, 0, 0]',
    '',
    `least_radius: ${JOB_DEFAULTS.least_radius}        # a ball of this radius must roll into every corner`,
    '',
    `# process: ${PROCESS_NAMES.map((p) => `${p} (${PROCESSES[p].wall} mm)`).join(', ')}`,
    '#   gives the usual wall, its tolerance and the least inside radius (common practice).',
    `# fluid: ${FLUID_NAMES.join(', ')}, or { density: 760, expansion: 0.0011 }. "tank: false" measures the room alone.`,
    `tank: { wall: ${PROCESSES[TANK_DEFAULTS.process].wall}, ullage: ${TANK_DEFAULTS.ullage * 100} %, fluid: ${TANK_DEFAULTS.fluid} }`,
    '',
  ];
  return lines.join('\n');
}

function scanLines(s: NewScan, units: LengthUnit): string[] {
  const keys = [`file: ${scalar(s.file)}`];
  if (s.role !== 'obstacle') keys.push(`role: ${s.role}`);
  if (!s.carried && s.unit !== units) keys.push(`units: ${s.unit}`);
  const size = isEmptyBox(s.box) ? 'empty' : `${boxText(s.box)} mm`;
  const lines = [`  # ${size}${s.carried ? `; ${oneLine(s.reason)}` : ''}`];
  if (s.groups.length > 1) {
    const more = s.groups.length > GROUPS_SHOWN ? ` and ${s.groups.length - GROUPS_SHOWN} more` : '';
    lines.push(`  # groups: ${oneLine(s.groups.slice(0, GROUPS_SHOWN).join(', '))}${more}`);
  }
  return [...lines, `  ${scalar(s.name)}: { ${keys.join(', ')} }`];
}

function regionLines(scans: readonly NewScan[]): string[] {
  const removed = scans.filter((s) => s.role === 'removed');
  const about = (removed.length ? removed : scans).reduce((box, s) => unionBox(box, s.box), emptyBox());
  const box = removed.length ? growBox(about, REGION_DEFAULTS.within) : about;
  const corner = (p: readonly number[], round: (v: number) => number): string => `[${p.map((v) => round(v)).join(', ')}]`;
  const near = removed.map((s) => scalar(s.name)).join(', ');
  return [
    '# Where the body may be at all; everything named here holds together.',
    'region:',
    `  skin: ${REGION_DEFAULTS.skin}              # a ball of this radius, rolled over the outside, cannot enter; false leaves it out`,
    near
      ? `  near: { scan: [${near}], within: ${REGION_DEFAULTS.within} }`
      : `  # near: { scan: ${scalar(scans[0]?.name ?? 'airbox')}, within: ${REGION_DEFAULTS.within} }`,
    ...(isEmptyBox(box)
      ? []
      : [
          `  # box: { min: ${corner(box.min, Math.floor)}, max: ${corner(box.max, Math.ceil)} }   # ${near ? 'about the removed part' : 'about all scans'}`,
        ]),
    '  # half_spaces:                     # the body lies on the side that the normal points to',
    '  #   - { at: [0, 0, 0], normal: [0, 0, 1] }',
  ];
}

const boxText = (b: Box3): string => [0, 1, 2].map((a) => `${'xyz'[a]} ${Math.round(b.min[a])} to ${Math.round(b.max[a])}`).join(', ');

/** A text as a YAML value inside `{ }`; quoted when it has to be. */
function scalar(text: string): string {
  const plain = stringify(text, { lineWidth: 0 }).trim();
  return plain === text && !/[,[\]{}#:]/.test(text) ? plain : JSON.stringify(text);
}

/** A comment must not break out of its line. */
const oneLine = (text: string): string => text.replace(/[\p{Cc}\u2028\u2029]+/gu, ' ');

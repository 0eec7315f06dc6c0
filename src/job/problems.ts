import type * as z from 'zod';
import { Fault, nearestWord } from '../core/fault.ts';
import type { Path, Text } from './read-yaml.ts';

/** One thing wrong with a job, and where. */
export interface Problem {
  readonly path: Path;
  /** The fault is the key itself, not its value. */
  readonly atKey?: boolean;
  readonly code: string;
  readonly what: string;
  readonly got?: string;
  readonly expected?: string;
  readonly hint?: string;
}

type Issue = z.core.$ZodIssue;

/** How many further problems a fault lists. */
const LISTED = 5;

/** The first problem in the order of the text as a Fault; the others follow as places in its hint. */
export function faultOf(problems: readonly Problem[], source: Text): Fault {
  const sorted = [...problems].sort((a, b) => source.offset(a.path, a.atKey) - source.offset(b.path, b.atKey));
  const [first, ...rest] = sorted;
  const also = rest.slice(0, LISTED).map((p) => `${source.where(p.path, p.atKey)}: ${p.what}`);
  if (rest.length > LISTED) also.push(`and ${rest.length - LISTED} more`);
  const hint = [first.hint, ...(also.length ? [`${first.hint ? 'then ' : ''}also mend`, ...also] : [])]
    .filter((t) => t !== undefined)
    .join('\n            ');
  return new Fault({
    code: first.code,
    what: first.what,
    got: first.got,
    expected: first.expected,
    hint: hint || undefined,
    where: source.where(first.path, first.atKey),
  });
}

/** zod's issues in the words of a job file. */
export const problemsOf = (error: z.ZodError, source: Text): Problem[] =>
  error.issues.flatMap((issue) => fromIssue(issue, [], source.value));

function fromIssue(issue: Issue, base: Path, root: unknown): Problem[] {
  const path = [...base, ...issue.path.map((p) => (typeof p === 'symbol' ? String(p) : p))];
  const value = valueAt(root, path);
  if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => unknownKey([...path, key], issue.message));
  if (issue.code === 'invalid_key')
    return [
      {
        path,
        atKey: true,
        code: 'job-name',
        what: `${quote(path.at(-1))} cannot be the name of a scan.`,
        expected: issue.issues[0]?.message,
      },
    ];
  if (value === undefined || (value === null && path.length === 0)) return [missing(path, expectedOf(issue))];
  if (issue.code === 'invalid_union') {
    const branch = issue.errors.find((issues) =>
      issues.every((i) => i.path.length > 0 || !['invalid_type', 'invalid_value'].includes(i.code)),
    );
    if (branch?.length) return branch.flatMap((i) => fromIssue(i, path, root));
  }
  return [
    {
      path,
      code: 'job-value',
      what: `${title(path)} cannot be used.`,
      got: show(value),
      expected: expectedOf(issue),
      hint: hintOf(issue, value),
    },
  ];
}

function unknownKey(path: Path, known: string): Problem {
  const key = String(path.at(-1));
  const near = nearestWord(key.replaceAll('-', '_'), known.split(', '));
  const inside = path.length > 1 ? ` in ${title(path.slice(0, -1), false)}` : '';
  return {
    path,
    atKey: true,
    code: 'job-unknown-key',
    what: `There is no key ${quote(key)}${inside}.`,
    got: key,
    expected: `one of: ${known}`,
    hint: near ? `did you mean "${near}"?` : undefined,
  };
}

const missing = (path: Path, expected: string): Problem => ({
  path,
  code: 'job-missing-key',
  what: path.length ? `${title(path)} is missing.` : 'The job file is empty.',
  expected: path.length ? expected : 'a job in YAML',
});

/** "region.box.min" of a path, quoted. */
function title(path: Path, capital = true): string {
  if (path.length === 0) return capital ? 'The job' : 'the job';
  return quote(path.reduce<string>((text, p) => (typeof p === 'number' ? `${text}[${p + 1}]` : text ? `${text}.${p}` : p), ''));
}

const quote = (word: unknown): string => `"${String(word)}"`;

/** The phrase after "expected". Our own schema pieces give it as their message; the library's own kinds are put into words here. */
function expectedOf(issue: Issue): string {
  switch (issue.code) {
    case 'invalid_type':
      return issue.message.startsWith('Invalid input') ? (TYPE_WORDS[issue.expected] ?? issue.expected) : issue.message;
    case 'invalid_value':
      return issue.message.startsWith('Invalid') ? `one of: ${issue.values.map(String).join(', ')}` : issue.message;
    default:
      return issue.message;
  }
}

const TYPE_WORDS: Readonly<Record<string, string>> = {
  object: 'keys with values',
  array: 'a list',
  string: 'a text',
  number: 'a number',
  boolean: 'true or false',
  record: 'keys with values',
};

function hintOf(issue: Issue, value: unknown): string | undefined {
  if (issue.code === 'custom') return typeof issue.params?.['hint'] === 'string' ? issue.params['hint'] : undefined;
  if (typeof value !== 'string') return undefined;
  const words = [issue, ...(issue.code === 'invalid_union' ? issue.errors.flat() : [])].flatMap((i) =>
    i.code === 'invalid_value' ? i.values : [],
  );
  if (words.includes('mm') && value.toLowerCase() in LONG_UNITS) return `write "${LONG_UNITS[value.toLowerCase()]}"`;
  const near = nearestWord(
    value,
    words.filter((w) => typeof w === 'string'),
  );
  if (near) return `did you mean "${near}"?`;
  return /^(yes|no|on|off)$/i.test(value) ? 'write true or false' : undefined;
}

const LONG_UNITS: Readonly<Record<string, string>> = {
  millimetre: 'mm',
  millimetres: 'mm',
  millimeter: 'mm',
  millimeters: 'mm',
  centimetre: 'cm',
  centimetres: 'cm',
  centimeter: 'cm',
  centimeters: 'cm',
  metre: 'm',
  metres: 'm',
  meter: 'm',
  meters: 'm',
  inch: 'in',
  inches: 'in',
  '"': 'in',
  foot: 'ft',
  feet: 'ft',
  micron: 'um',
  microns: 'um',
};

function valueAt(root: unknown, path: Path): unknown {
  let value = root;
  for (const step of path) {
    if (typeof value !== 'object' || value === null || !Object.hasOwn(value, step)) return undefined;
    value = (value as Record<string | number, unknown>)[step];
  }
  return value;
}

/** A value as the user typed it, cut to a line. */
function show(value: unknown): string {
  if (value === null) return 'nothing';
  const text = typeof value === 'string' ? value : typeof value === 'number' ? String(value) : JSON.stringify(value);
  return text.length > 60 ? `${text.slice(0, 57)}...` : text;
}

import type { Note } from '../core/fault.ts';
import { buildCloud, count, FARTHEST, isCoordinate } from './build.ts';
import { PointList } from './grow.ts';
import type { Input } from './input.ts';
import type { ScanFile } from './scan-file.ts';
import { stemOf } from './source.ts';

/** Lines looked at to tell separators and columns apart. */
const SAMPLE = 1000;
/** A row with more columns is no row of a cloud. */
const MOST_COLUMNS = 64;

interface Layout {
  /** Lines before the first row of numbers. */
  readonly headerLines: number;
  /** Number of points that a first line of one whole number promises. */
  readonly promised: number | undefined;
  readonly columns: number;
  /** Columns of x, y, z. */
  readonly at: readonly number[];
  /** Columns of the normals. */
  readonly normals: readonly number[] | undefined;
  /** How the columns were told apart, for the reader. */
  readonly verdict: string;
}

/**
 * Rows of text with one point each: XYZ, ASC, CSV, PTS, TXT. Lines beginning with # or // are comments. Separators are commas,
 * semicolons, tabs or blanks; with semicolons, tabs or blanks between, a comma within a number is a decimal comma. Lines before the first row of
 * numbers are a header; if it names x, y and z those columns are taken, else the first three. Columns 4 to 6 are normals if named
 * so, or if the squares of the three add up to 1 in every row of the first thousand; else they are not used (whole numbers 0 to 255, or 0 to 1:
 * colours). The verdict stands in a note.
 */
export async function readXyz(input: Input): Promise<ScanFile> {
  await input.need(1 << 16);
  await input.more();
  const sample = sampleOf(input);
  const separators = separatorsOf(sample);
  const layout = layoutOf(input, sample, separators);
  for (let i = 0; i < layout.headerLines; i++) {
    if (!(await input.more())) break;
    input.nextLine();
  }
  input.translate(separators.map);
  const points = new PointList();
  const normals = layout.normals ? new PointList() : undefined;
  const row = new Float64Array(MOST_COLUMNS);
  while (await input.more()) {
    while (input.at < input.textEnd) {
      if (!input.lineDone() && !isComment(input)) {
        readRow(input, layout, row);
        points.push(row[layout.at[0]], row[layout.at[1]], row[layout.at[2]]);
        if (layout.normals) normals?.push(row[layout.normals[0]], row[layout.normals[1]], row[layout.normals[2]]);
      }
      input.nextLine();
    }
  }
  return finish(input, layout, points, normals);
}

/** True when the text has a row of at least three numbers among its first lines: a cloud of points. */
export function isXyz(text: string): boolean {
  const lines = text.split(/\r\n|\r|\n/).map((l) => l.trim());
  const { split } = separatorsOf(lines);
  const rows = lines.filter((l) => l !== '' && !/^(#|\/\/)/.test(l)).slice(0, 50);
  return rows.some((l) => isRow(split(l)));
}

const isComment = (input: Input): boolean =>
  input.bytes[input.at] === 35 || (input.bytes[input.at] === 47 && input.bytes[input.at + 1] === 47);

function sampleOf(input: Input): string[] {
  const text = new TextDecoder().decode(input.bytes.subarray(input.at, Math.min(input.textEnd, input.at + (1 << 18))));
  const lines = text.split(/\r\n|\r|\n/);
  // The last line may be cut by the limit above.
  return lines.slice(0, Math.max(1, Math.min(SAMPLE, lines.length - 1))).map((l) => l.trim());
}

interface Separators {
  readonly map: Uint8Array;
  readonly split: (line: string) => string[];
  readonly text: string;
}

function separatorsOf(lines: readonly string[]): Separators {
  const rows = lines.filter((l) => /\d/.test(l) && !/^(#|\/\/)/.test(l));
  const most = (test: RegExp): boolean => rows.filter((l) => test.test(l)).length * 2 > rows.length;
  const map = Uint8Array.from({ length: 256 }, (_, i) => i);
  map[34] = 32;
  let text = 'blanks or tabs';
  if (most(/;/)) {
    map[59] = 32;
    text = 'semicolons';
  }
  if (rows.filter(hasDecimalCommas).length * 2 > rows.length) {
    map[44] = 46;
    text += ', decimal commas';
  } else {
    map[44] = 32;
    if (most(/,/)) text = 'commas';
  }
  const replace = (line: string): string => line.replace(/[";,]/g, (c) => String.fromCharCode(map[c.charCodeAt(0)]));
  return {
    map,
    text,
    split: (line) =>
      replace(line)
        .split(/\s+/)
        .filter((w) => w !== ''),
  };
}

/** Three words or more between semicolons or blanks, none with more than one comma, and that one between digits. */
function hasDecimalCommas(line: string): boolean {
  const words = line.split(/[;\s]+/).filter((w) => w !== '');
  return words.length >= 3 && line.includes(',') && words.every((w) => !w.includes(',') || /^[-+]?\d+,\d+([eE][-+]?\d+)?$/.test(w));
}

const isNumber = (word: string): boolean => /^[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$/.test(word);
const isRow = (words: readonly string[]): boolean => words.filter(isNumber).length >= 3 && words.length <= MOST_COLUMNS;

function layoutOf(input: Input, lines: readonly string[], { split, text }: Separators): Layout {
  const rows = lines.map(split);
  const first = rows.findIndex((r, i) => isRow(r) && !/^(#|\/\/)/.test(lines[i]));
  if (first < 0) throw notRows(input);
  const columns = rows[first].length;
  const before = rows.slice(0, first).filter((r) => r.length > 0);
  const promised = before.length === 1 && before[0].length === 1 && /^\d{1,15}$/.test(before[0][0]) ? Number(before[0][0]) : undefined;
  const names = namesOf(before.at(-1), columns);
  const at = ['x', 'y', 'z'].map((n) => names.indexOf(n));
  const named = at.every((c) => c >= 0);
  if (!named) at.splice(0, 3, 0, 1, 2);
  const data = rows.slice(first).filter((r, i) => r.length === columns && !/^(#|\/\/)/.test(lines[first + i]));
  const guess = named ? namedNormals(names) : guessNormals(data, columns);
  const how = named ? `x, y, z by the header (columns ${at.map((c) => c + 1).join(', ')})` : 'x, y, z in columns 1 to 3';
  return { headerLines: first, promised, columns, at, normals: guess.normals, verdict: `Separated by ${text}; ${how}; ${guess.text}.` };
}

const notRows = (input: Input) =>
  input.fault('xyz-rows', 'The text holds no rows of points.', {
    expected: 'rows of at least three numbers, parted by commas, semicolons, tabs or blanks',
    hint: 'Export the points as PLY, or as x y z in rows.',
    at: null,
  });

/** Column names in lower case without units or brackets, if there is one for each column. */
function namesOf(words: readonly string[] | undefined, columns: number): string[] {
  const clean = (words ?? [])
    .filter((w) => w !== '#' && w !== '//')
    .map((w) =>
      w
        .toLowerCase()
        .replace(/^[#/]+/, '')
        .replace(/[[({_].*$/, (s) => (s.startsWith('_') ? s : '')),
    );
  return clean.length === columns ? clean : [];
}

interface Guess {
  readonly normals: readonly number[] | undefined;
  readonly text: string;
}

function namedNormals(names: readonly string[]): Guess {
  for (const set of [
    ['nx', 'ny', 'nz'],
    ['normal_x', 'normal_y', 'normal_z'],
    ['i', 'j', 'k'],
  ]) {
    const normals = set.map((n) => names.indexOf(n));
    if (normals.every((c) => c >= 0)) return { normals, text: `normals by the header (columns ${normals.map((c) => c + 1).join(', ')})` };
  }
  return { normals: undefined, text: names.length > 3 ? 'the other columns are not used' : 'no other columns' };
}

function guessNormals(data: readonly (readonly string[])[], columns: number): Guess {
  if (columns < 6) return { normals: undefined, text: columns === 3 ? 'no other columns' : 'the other columns are not used' };
  const starts = [3, 4, 6].filter((s) => s + 3 <= columns);
  for (const s of starts) {
    const unit = data.every((r) => {
      const sum = Number(r[s]) ** 2 + Number(r[s + 1]) ** 2 + Number(r[s + 2]) ** 2;
      return Math.abs(sum - 1) < 0.02;
    });
    if (unit) return { normals: [s, s + 1, s + 2], text: `columns ${s + 1} to ${s + 3} are normals (their squares add up to 1)` };
  }
  const within = (most: number, whole: boolean): boolean =>
    data.every((r) => r.slice(3, 6).every((w) => Number(w) >= 0 && Number(w) <= most && (!whole || Number.isInteger(Number(w)))));
  const colours = within(255, true) || within(1, false);
  return { normals: undefined, text: `columns 4 to 6 are taken for ${colours ? 'colours' : 'something else'} and are not used` };
}

function readRow(input: Input, layout: Layout, row: Float64Array): void {
  const { columns, at } = layout;
  for (let k = 0; k < columns; k++) {
    row[k] = input.number();
    if (!Number.isNaN(row[k])) continue;
    const shown = input.peek();
    const word = input.word();
    if (word === '' || at.includes(k)) throw badRow(input, shown, columns);
  }
  if (!input.lineDone()) throw badRow(input, `more than ${columns} columns`, columns);
  for (const k of at)
    if (!isCoordinate(row[k]))
      throw input.fault('scan-not-finite', 'A point is not a place.', {
        got: String(row[k]),
        expected: `three finite numbers within ${FARTHEST}`,
        hint: 'The file is damaged or was written by a faulty export.',
      });
}

const badRow = (input: Input, got: string, columns: number) =>
  input.fault('xyz-row', 'A row does not have the columns of the first row.', {
    got,
    expected: `${columns} columns, numbers for x, y and z`,
    hint: 'Take the row out, or name the columns x, y and z in a header line.',
  });

function finish(input: Input, layout: Layout, points: PointList, normals: PointList | undefined): ScanFile {
  const n = points.length;
  if (n === 0) throw notRows(input);
  if (layout.promised !== undefined && layout.promised !== n / 3)
    throw input.fault('xyz-count', 'The file does not hold as many points as its first line says.', {
      got: `${count(n / 3)} points`,
      expected: `${count(layout.promised)} points`,
      hint: 'The file is cut off, or its first line is wrong: export it again.',
      at: null,
    });
  const name = stemOf(input.name);
  const notes: Note[] = [{ code: 'xyz-columns', text: layout.verdict, where: input.name }];
  const skipped = layout.headerLines - (layout.promised === undefined ? 0 : 1);
  if (skipped > 0)
    notes.push({
      code: 'xyz-header',
      text: `${skipped === 1 ? '1 line before the first row is' : `${count(skipped)} lines before the first row are`} a header.`,
      where: input.name,
    });
  const cloud = buildCloud(points.data.subarray(0, n), normals ? Float32Array.from(normals.data.subarray(0, n)) : undefined);
  return { format: 'XYZ text', unit: null, parts: [{ name, cloud }], notes };
}

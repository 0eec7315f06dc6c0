import type { Note } from '../core/fault.ts';
import { buildCloud, buildMesh, compact, count, FARTHEST, isCoordinate } from './build.ts';
import { IndexList, PointList } from './grow.ts';
import { type Input, quoted } from './input.ts';
import type { ScanFile, ScanPart } from './scan-file.ts';
import { stemOf } from './source.ts';

/** Statements that carry no surface, or that say how one looks. */
const PLAIN = new Set(['vt', 'vn', 'vp', 's', 'mg', 'usemtl', 'mtllib', 'usemap', 'maplib', 'bevel', 'c_interp', 'd_interp', 'lod']);
const SHADOW = new Set(['shadow_obj', 'trace_obj', 'call', 'csh']);
/** Curves and free-form surfaces: geometry that is not read, so it is noted. */
const FREE = new Set('cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con ctech stech bsp bzp cdc cdp res l p'.split(' '));
export const OBJ_WORDS: ReadonlySet<string> = new Set(['v', 'f', 'g', 'o', ...PLAIN, ...SHADOW, ...FREE]);

/** A face with more corners than this is damage, not a face. */
const MOST_CORNERS = 1 << 20;

interface Gathered {
  readonly points: PointList;
  /** Corners by part name, in the order of first use. */
  readonly parts: Map<string, IndexList>;
  object: string;
  group: string;
  current: IndexList | undefined;
  /** Greatest vertex number used so far, and its line: faces may come before their vertices. */
  highest: number;
  highestLine: number;
  colours: boolean;
  readonly unread: Map<string, number>;
}

/**
 * OBJ: `v`, `f` (v, v/vt, v//vn, v/vt/vn; counted from 1, or backwards from -1), `g`, `o`, lines joined by a backslash. Polygons become fans.
 * Every group is a part; with objects too, a part is "object/group"; a new `o` ends the group before it. The same name
 * later goes on with the same part. Texture, normals, smoothing and material are passed over; lines, points and free-form surfaces
 * are noted as not read. A file of vertices alone is a cloud.
 */
export async function readObj(input: Input): Promise<ScanFile> {
  input.joinLines = true;
  const out: Gathered = {
    points: new PointList(3072),
    parts: new Map(),
    object: '',
    group: '',
    current: undefined,
    highest: 0,
    highestLine: 0,
    colours: false,
    unread: new Map(),
  };
  const face: number[] = [];
  while (await input.more()) {
    // All whole lines of the window, without waiting.
    while (input.at < input.textEnd) {
      statement(input, out, face);
      input.nextLine();
    }
  }
  if (out.highest > out.points.length / 3)
    throw badIndex(input, out.highest, out.points.length / 3, out.highestLine, 'The file is cut off, or a part of it was left out.');
  return finish(input, out);
}

function statement(input: Input, out: Gathered, face: number[]): void {
  if (input.lineDone()) return;
  const { bytes, at } = input;
  const first = bytes[at];
  const second = at + 1 < input.textEnd ? bytes[at + 1] : 32;
  if (first === 35) return;
  if (second <= 32 && first === 118) {
    input.at = at + 1;
    vertex(input, out);
  } else if (second <= 32 && first === 102) {
    input.at = at + 1;
    polygon(input, out, face);
  } else other(input, out, input.word());
}

function other(input: Input, out: Gathered, word: string): void {
  if (word === 'g') {
    out.group = input.restOfLine().replace(/\s+/g, ' ');
    out.current = undefined;
  } else if (word === 'o') {
    out.object = input.restOfLine();
    out.group = '';
    out.current = undefined;
  } else if (FREE.has(word) || SHADOW.has(word)) out.unread.set(word, (out.unread.get(word) ?? 0) + 1);
  else if (word === '\\') skipJoin(input);
  else if (!PLAIN.has(word))
    throw input.fault('obj-word', 'The OBJ file has a line that no OBJ file has.', {
      got: quoted(word),
      expected: 'v, f, g, o, vt, vn, usemtl or another OBJ statement',
      hint: 'The file is damaged at this line, or is not an OBJ file.',
    });
  // The values of statements that are not read may run over joined lines.
  while (/\\$/.test(input.restOfLine()) && input.at < input.textEnd) input.nextLine();
}

/** True when the statement has nothing more; crosses a backslash at the end of a line. */
function ended(input: Input): boolean {
  while (input.lineDone() === false && input.bytes[input.at] === 92) if (!skipJoin(input)) return false;
  return input.lineDone() || input.bytes[input.at] === 35;
}

function skipJoin(input: Input): boolean {
  const next = input.bytes[input.at + 1];
  if (input.at + 1 < input.textEnd && next !== 10 && next !== 13) return false;
  input.nextLine();
  return true;
}

function vertex(input: Input, out: Gathered): void {
  const v = [0, 0, 0];
  for (let a = 0; a < 3; a++) {
    v[a] = ended(input) ? Number.NaN : input.number();
    if (!isCoordinate(v[a]))
      throw input.fault('scan-not-finite', 'A vertex is not three numbers.', {
        got: Number.isNaN(v[a]) ? input.peek() : String(v[a]),
        expected: `three finite numbers within ${FARTHEST} after "v"`,
        hint: 'The file is damaged or was written by a faulty export.',
      });
  }
  let extra = 0;
  for (; !ended(input); extra++)
    if (Number.isNaN(input.number()) || extra === 4)
      throw input.fault('obj-vertex', 'A vertex line goes on with something that is not a weight or a colour.', {
        got: input.peek(),
        expected: 'x y z, and at most four numbers more',
      });
  if (extra > 0) out.colours = true;
  out.points.push(v[0], v[1], v[2]);
}

function polygon(input: Input, out: Gathered, face: number[]): void {
  face.length = 0;
  const have = out.points.length / 3;
  const { line } = input;
  while (!ended(input)) face.push(corner(input, have));
  if (face.length < 3 || face.length > MOST_CORNERS)
    throw input.fault('obj-face', 'A face does not have a number of corners that a face can have.', {
      got: `${count(face.length)} corners`,
      expected: `3 to ${count(MOST_CORNERS)}`,
      hint: 'The file is damaged; export it again.',
    });
  for (const v of face)
    if (v >= out.highest && v >= have) {
      out.highest = v + 1;
      out.highestLine = line;
    }
  out.current ??= partOf(out);
  for (let k = 2; k < face.length; k++) out.current.push3(face[0], face[k - 1], face[k]);
}

/** One corner, `v`, `v/vt`, `v//vn` or `v/vt/vn`; the vertex number from 0. */
function corner(input: Input, have: number): number {
  const { bytes, textEnd } = input;
  const from = input.at;
  let p = from;
  let slashes = 0;
  let vertexNumber = 0;
  let n = 0;
  let digits = 0;
  let negative = false;
  while (true) {
    const c = p < textEnd ? bytes[p] : 32;
    if (c >= 48 && c <= 57) {
      n = n * 10 + (c - 48);
      digits++;
    } else if (c === 45 && digits === 0 && !negative) negative = true;
    else if (c === 47 || c <= 32) {
      // An empty number may stand only between two slashes, or for a texture that was left out.
      if ((digits === 0 && (slashes === 0 || negative || (slashes === 2 && c <= 32))) || digits > 10 || (digits > 0 && n === 0)) break;
      if (slashes === 0) vertexNumber = negative ? have - n : n - 1;
      if (c <= 32) {
        if (vertexNumber < 0) throw badIndex(input, -n, have, input.line, 'It counts back beyond the first vertex.');
        if (vertexNumber >= 4294967295) break;
        input.at = p;
        return vertexNumber;
      }
      if (++slashes > 2) break;
      n = 0;
      digits = 0;
      negative = false;
    } else break;
    p++;
  }
  throw input.fault('obj-face', 'A corner of a face cannot be read.', {
    got: input.peek(),
    expected: 'v, v/vt, v//vn or v/vt/vn, counted from 1 or backwards from -1',
    hint: 'The file is damaged at this line.',
  });
}

const badIndex = (input: Input, number: number, have: number, line: number, hint: string) =>
  input.fault('scan-index', 'A face names a vertex that is not there.', {
    got: `vertex ${number}`,
    expected: `1 to ${count(have)}, or -1 to -${count(have)}`,
    hint,
    at: `line ${line}`,
  });

function partOf(out: Gathered): IndexList {
  const { object, group } = out;
  const name = object === '' || object === group ? group : group === '' ? object : `${object}/${group}`;
  let list = out.parts.get(name);
  if (!list) {
    list = new IndexList(384);
    out.parts.set(name, list);
  }
  return list;
}

function finish(input: Input, out: Gathered): ScanFile {
  const notes: Note[] = [];
  const parts: ScanPart[] = [];
  const points = out.points.data.subarray(0, out.points.length);
  const stem = stemOf(input.name);
  const seen = new Int32Array(points.length / 3);
  const local = new Uint32Array(points.length / 3);
  let mark = 0;
  for (const [name, list] of out.parts) {
    const corners = list.data.subarray(0, list.length);
    const own = compact(points, corners, seen, local, ++mark);
    const mesh = buildMesh(own, corners, name || stem, notes);
    if (mesh) parts.push({ name: name || stem, mesh });
  }
  if (out.parts.size === 0 && points.length > 0 && out.unread.size === 0) parts.push({ name: stem, cloud: buildCloud(points) });
  if (out.colours) notes.push({ code: 'obj-extra', text: 'Weights or colours behind the vertices are not used.', where: input.name });
  if (out.unread.size > 0) {
    const list = [...out.unread].map(([word, n]) => `${count(n)} × ${word}`).join(', ');
    notes.push({ code: 'obj-not-read', text: `Lines, points or free-form surfaces are not read: ${list}.`, where: input.name });
  }
  if (parts.length === 0)
    throw input.fault('scan-empty', 'The OBJ file holds no triangle with an area.', {
      got: out.unread.size > 0 ? 'only lines, points or free-form surfaces' : `${count(points.length / 3)} vertices`,
      expected: 'at least one face, or vertices alone',
      hint: 'Was something selected when the file was exported? Free-form surfaces must be exported as polygons.',
      at: null,
    });
  return { format: 'OBJ', unit: null, parts, notes };
}

import type { Note } from '../core/fault.ts';
import { buildCloud, count, FARTHEST, isCoordinate } from './build.ts';
import { PointList } from './grow.ts';
import type { Input } from './input.ts';
import { unpackLzf } from './lzf.ts';
import type { ScanFile } from './scan-file.ts';
import { stemOf } from './source.ts';

interface Field {
  readonly name: string;
  readonly size: number;
  /** I, U or F: whole, whole without sign, float. */
  readonly type: string;
  readonly count: number;
  /** Bytes before it in a record. */
  readonly offset: number;
}

interface Header {
  readonly fields: readonly Field[];
  /** Bytes a point. */
  readonly record: number;
  readonly points: number;
  readonly data: 'ascii' | 'binary' | 'binary_compressed';
  readonly viewpoint: string;
}

/** Where x, y, z and the normals are: fields, undefined where there are none. */
type Columns = readonly (Field | undefined)[];

const NAMES = ['x', 'y', 'z', 'normal_x', 'normal_y', 'normal_z'];
const KEYS = ['VERSION', 'FIELDS', 'COLUMNS', 'SIZE', 'TYPE', 'COUNT', 'WIDTH', 'HEIGHT', 'VIEWPOINT', 'POINTS'];

/** True for the first bytes of a PCD file: comments, then VERSION or FIELDS. */
export const isPcd = (text: string): boolean => /^(\s*#[^\n]*\n)*\s*(VERSION|FIELDS)\s/.test(text);

/**
 * PCD clouds (Point Cloud Library, file format 0.7): ASCII, binary, and LZF-compressed binary. Points that are "nan" are places of a
 * scanner's picture where nothing was seen: left out and counted. The viewpoint is not applied, as the format says.
 */
export async function readPcd(input: Input): Promise<ScanFile> {
  const header = await readHeader(input);
  const columns = columnsOf(input, header);
  const out = { points: new PointList(), normals: columns[3] && columns[4] && columns[5] ? new PointList() : undefined, unseen: 0 };
  if (header.data === 'ascii') await readText(input, header, columns, out);
  else {
    const bytes = await dataOf(input, header);
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    const soa = header.data === 'binary_compressed';
    const at = (f: Field, i: number): number =>
      numberAt(view, soa ? f.offset * header.points + f.size * f.count * i : header.record * i + f.offset, f);
    const v = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < header.points; i++) {
      for (let a = 0; a < 6; a++) v[a] = columns[a] ? at(columns[a]!, i) : 0;
      addPoint(input, v, out, `point ${count(i + 1)}`);
    }
  }
  return finish(input, header, out);
}

interface Gathered {
  readonly points: PointList;
  readonly normals: PointList | undefined;
  unseen: number;
}

function addPoint(input: Input, v: readonly number[], out: Gathered, at: string): void {
  if (Number.isNaN(v[0]) || Number.isNaN(v[1]) || Number.isNaN(v[2])) {
    out.unseen++;
    return;
  }
  if (!(isCoordinate(v[0]) && isCoordinate(v[1]) && isCoordinate(v[2])))
    throw input.fault('scan-not-finite', 'A point is not a place.', {
      got: `${v[0]} ${v[1]} ${v[2]}`,
      expected: `three numbers within ${FARTHEST}, or nan for a place not seen`,
      hint: 'The file is damaged or was written by a faulty export.',
      at,
    });
  out.points.push(v[0], v[1], v[2]);
  out.normals?.push(v[3], v[4], v[5]);
}

async function readHeader(input: Input): Promise<Header> {
  const lines = new Map<string, string[]>();
  while (true) {
    if (!(await input.more())) throw broken(input, 'the end of the file', 'a DATA line');
    const key = input.word();
    const values = input
      .restOfLine()
      .split(/\s+/)
      .filter((w) => w !== '');
    if (key !== '' && !key.startsWith('#') && key !== 'DATA' && !KEYS.includes(key))
      throw broken(input, `"${key.slice(0, 40)}"`, `${KEYS.join(', ')} or DATA`);
    if (values.length > 1000) throw broken(input, `${values.length} values`, 'fewer');
    if (key !== '' && !key.startsWith('#')) lines.set(key === 'COLUMNS' ? 'FIELDS' : key, values);
    if (key === 'DATA') break;
    input.nextLine();
  }
  const data = lines.get('DATA')?.[0];
  if (data !== 'ascii' && data !== 'binary' && data !== 'binary_compressed')
    throw broken(input, `DATA ${data ?? ''}`, 'ascii, binary or binary_compressed');
  const names = lines.get('FIELDS') ?? [];
  const counts = lines.get('COUNT') ?? names.map(() => '1');
  const sizes = lines.get('SIZE') ?? [];
  const types = lines.get('TYPE') ?? [];
  if (names.length === 0 || [sizes, types, counts].some((l) => l.length !== names.length))
    throw broken(
      input,
      `${names.length} fields, ${sizes.length} sizes, ${types.length} types, ${counts.length} counts`,
      'the same number of each',
    );
  let offset = 0;
  const fields = names.map((name, i): Field => {
    const field = { name, size: Number(sizes[i]), type: types[i], count: Number(counts[i]), offset };
    const right =
      /^F[48]$|^[IU][1248]$/.test(`${field.type}${sizes[i]}`) && Number.isInteger(field.count) && field.count > 0 && field.count <= 65536;
    if (!right) throw broken(input, `field ${name.slice(0, 40)}: ${types[i]}${sizes[i]} × ${counts[i]}`, 'F4, F8, I1 to I8 or U1 to U8');
    offset += field.size * field.count;
    return field;
  });
  const whole = (key: string): number => {
    const word = lines.get(key)?.[0] ?? '';
    if (!/^\d{1,15}$/.test(word)) throw broken(input, `${key} ${word.slice(0, 20)}`, 'a whole number');
    return Number(word);
  };
  const size = whole('WIDTH') * whole('HEIGHT');
  const points = lines.has('POINTS') ? whole('POINTS') : size;
  if (points !== size) throw broken(input, `POINTS ${points}, but WIDTH × HEIGHT is ${size}`, 'the same number');
  input.nextLine();
  return { fields, record: offset, points, data, viewpoint: (lines.get('VIEWPOINT') ?? []).join(' ') };
}

const broken = (input: Input, got: string, expected: string) =>
  input.fault('pcd-header', 'The PCD header is not right.', { got, expected, hint: 'The file is damaged, or is not a PCD file.' });

function columnsOf(input: Input, header: Header): Columns {
  const columns = NAMES.map((name) => header.fields.find((f) => f.name === name && f.count === 1));
  if (!columns[0] || !columns[1] || !columns[2])
    throw broken(
      input,
      `fields ${header.fields
        .map((f) => f.name.slice(0, 20))
        .slice(0, 20)
        .join(' ')}`,
      'x, y and z among them',
    );
  return columns;
}

/** The points' bytes, unpacked if they are compressed; exactly as many as the header promises. */
async function dataOf(input: Input, header: Header): Promise<Uint8Array> {
  const promised = header.points * header.record;
  const cut = (got: number, expected: number) =>
    input.fault('pcd-cut', got < expected ? 'The PCD file is cut off.' : 'The PCD file goes on after its last point.', {
      got: `${count(got)} bytes`,
      expected: `${count(expected)} bytes for ${count(header.points)} points`,
      hint: 'Copy or export the file again.',
      at: `byte ${count(input.position)}`,
    });
  if (header.data === 'binary') {
    if (input.remaining !== undefined && input.remaining < promised) throw cut(input.remaining, promised);
    const bytes = await input.rest();
    // The reference writer pads its files to a whole page with zeros.
    if (bytes.length < promised || bytes.subarray(promised).some((b) => b !== 0)) throw cut(bytes.length, promised);
    return bytes.subarray(0, promised);
  }
  if (!(await input.need(8))) throw cut(input.left, 8);
  const packed = input.view.getUint32(input.at, true);
  const unpacked = input.view.getUint32(input.at + 4, true);
  input.at += 8;
  if (unpacked !== promised) throw cut(unpacked, promised);
  if (!(await input.need(packed))) throw cut(input.left, packed);
  const out = unpackLzf(input.bytes.subarray(input.at, input.at + packed), unpacked);
  if (!out)
    throw input.fault('pcd-packed', 'The compressed part of the PCD file is damaged.', {
      expected: `LZF data that unpack to ${count(unpacked)} bytes`,
      hint: 'Copy or export the file again.',
      at: `byte ${count(input.position)}`,
    });
  return out;
}

function numberAt(view: DataView, p: number, { type, size }: Field): number {
  if (type === 'F') return size === 4 ? view.getFloat32(p, true) : view.getFloat64(p, true);
  const signed = type === 'I';
  if (size === 1) return signed ? view.getInt8(p) : view.getUint8(p);
  if (size === 2) return signed ? view.getInt16(p, true) : view.getUint16(p, true);
  if (size === 4) return signed ? view.getInt32(p, true) : view.getUint32(p, true);
  return Number(signed ? view.getBigInt64(p, true) : view.getBigUint64(p, true));
}

async function readText(input: Input, header: Header, columns: Columns, out: Gathered): Promise<void> {
  // Column of each wanted field among the words of a line.
  let words = 0;
  const slot = header.fields.flatMap((f) => Array.from({ length: f.count }, () => columns.indexOf(f)));
  words = slot.length;
  const v = [0, 0, 0, 0, 0, 0];
  let done = 0;
  while (await input.more()) {
    while (input.at < input.textEnd) {
      if (!input.lineDone()) {
        if (done === header.points) throw line(input, 'more data', `an end after ${count(done)} points`);
        for (let k = 0; k < words; k++) {
          const x = input.number();
          const word = Number.isNaN(x) ? input.peek() : '';
          if (Number.isNaN(x) && !/^[-+]?(nan|inf)/i.test(input.word())) throw line(input, word, `${words} numbers`);
          if (slot[k] >= 0) v[slot[k]] = x;
        }
        if (!input.lineDone()) throw line(input, input.peek(), `${words} numbers`);
        addPoint(input, v, out, `line ${input.line}`);
        done++;
      }
      input.nextLine();
    }
  }
  if (done < header.points)
    throw input.fault('pcd-cut', 'The PCD file is cut off.', {
      got: `${count(done)} points`,
      expected: `${count(header.points)} points, as its header says`,
      hint: 'Copy or export the file again.',
    });
}

const line = (input: Input, got: string, expected: string) =>
  input.fault('pcd-line', 'A line of the PCD file is not what its header says.', {
    got,
    expected,
    hint: 'The file is damaged at this line.',
  });

function finish(input: Input, header: Header, out: Gathered): ScanFile {
  const name = stemOf(input.name);
  const notes: Note[] = [];
  const n = out.points.length;
  if (n === 0)
    throw input.fault('scan-empty', 'The PCD file holds no points.', {
      got: `${count(out.unseen)} places where nothing was seen`,
      expected: 'at least one point',
      at: null,
    });
  if (out.unseen > 0)
    notes.push({
      code: 'pcd-unseen',
      text: `${count(out.unseen)} of ${count(header.points)} places of the cloud saw nothing and were left out.`,
      where: name,
    });
  const rest = header.fields.filter((f) => !NAMES.includes(f.name)).map((f) => f.name.slice(0, 40));
  if (rest.length > 0) notes.push({ code: 'pcd-skipped', text: `Not used: ${rest.slice(0, 20).join(', ')}.`, where: input.name });
  if (header.viewpoint !== '' && !/^[-0.]+ [-0.]+ [-0.]+ 1(\.0*)? [-0.]+ [-0.]+ [-0.]+$/.test(header.viewpoint))
    notes.push({
      code: 'pcd-viewpoint',
      text: `The scanner's viewpoint (${header.viewpoint.slice(0, 80)}) is not applied.`,
      where: input.name,
    });
  const normals = out.normals ? Float32Array.from(out.normals.data.subarray(0, n)) : undefined;
  return {
    format: `PCD (${{ ascii: 'ASCII', binary: 'binary', binary_compressed: 'compressed' }[header.data]})`,
    unit: null,
    parts: [{ name, cloud: buildCloud(out.points.data.subarray(0, n), normals) }],
    notes,
  };
}

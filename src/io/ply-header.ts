import type { Input } from './input.ts';

/** Number types of PLY, under both of their names, and their bytes. */
const TYPES = {
  char: 'i1',
  int8: 'i1',
  uchar: 'u1',
  uint8: 'u1',
  short: 'i2',
  int16: 'i2',
  ushort: 'u2',
  uint16: 'u2',
  int: 'i4',
  int32: 'i4',
  uint: 'u4',
  uint32: 'u4',
  float: 'f4',
  float32: 'f4',
  double: 'f8',
  float64: 'f8',
} as const;

export type PlyType = (typeof TYPES)[keyof typeof TYPES];

export const typeBytes = (t: PlyType): number => Number(t[1]);

interface PlyProperty {
  readonly name: string;
  readonly type: PlyType;
  /** Type of the length, for lists. */
  readonly list?: PlyType;
}

export interface PlyElement {
  readonly name: string;
  readonly count: number;
  readonly properties: readonly PlyProperty[];
}

export interface PlyHeader {
  readonly format: 'ascii' | 'little' | 'big';
  readonly elements: readonly PlyElement[];
}

const FORMATS: Readonly<Record<string, PlyHeader['format']>> = {
  ascii: 'ascii',
  binary_little_endian: 'little',
  binary_big_endian: 'big',
};

/** More elements or properties than this are no header of a scan. */
const MOST = 1000;

/** The header, from "ply" to "end_header"; the next unread byte is the first of the data. */
export async function readPlyHeader(input: Input): Promise<PlyHeader> {
  const elements: { name: string; count: number; properties: PlyProperty[] }[] = [];
  let format: PlyHeader['format'] | undefined;
  await input.more();
  input.nextLine();
  while (true) {
    if (!(await input.more())) throw broken(input, 'the end of the file', '"end_header"');
    const key = input.word();
    if (key === 'end_header') break;
    if (key === 'format') format = readFormat(input);
    else if (key === 'element') elements.push(readElement(input));
    else if (key === 'property') {
      const element = elements.at(-1);
      if (!element) throw broken(input, 'a property before any element', 'an element line first');
      element.properties.push(readProperty(input));
      if (element.properties.length > MOST) throw broken(input, `more than ${MOST} properties`, 'fewer');
    } else if (key !== 'comment' && key !== 'obj_info' && key !== '')
      throw broken(input, `"${key.slice(0, 40)}"`, 'format, element, property, comment, obj_info or end_header');
    if (elements.length > MOST) throw broken(input, `more than ${MOST} elements`, 'fewer');
    input.nextLine();
  }
  input.nextLine();
  if (!format) throw broken(input, 'no "format" line', 'format ascii, binary_little_endian or binary_big_endian');
  return { format, elements };
}

function readFormat(input: Input): PlyHeader['format'] {
  const word = input.word();
  const version = input.word();
  if (!Object.hasOwn(FORMATS, word) || version !== '1.0')
    throw broken(
      input,
      `format ${word.slice(0, 40)} ${version.slice(0, 10)}`,
      'ascii, binary_little_endian or binary_big_endian, version 1.0',
    );
  return FORMATS[word];
}

function readElement(input: Input): { name: string; count: number; properties: PlyProperty[] } {
  const name = input.word();
  const word = input.word();
  if (!/^\d{1,15}$/.test(word)) throw broken(input, `element ${name.slice(0, 40)} ${word.slice(0, 20)}`, 'a name and a whole number');
  return { name, count: Number(word), properties: [] };
}

function readProperty(input: Input): PlyProperty {
  const first = input.word();
  if (first !== 'list') return { type: typeOf(input, first), name: input.word() };
  const list = typeOf(input, input.word());
  if (list[0] === 'f') throw broken(input, 'a list whose length is a float', 'a whole-number type');
  return { list, type: typeOf(input, input.word()), name: input.word() };
}

function typeOf(input: Input, word: string): PlyType {
  if (!Object.hasOwn(TYPES, word)) throw broken(input, `type "${word.slice(0, 40)}"`, Object.keys(TYPES).join(', '));
  return TYPES[word as keyof typeof TYPES];
}

const broken = (input: Input, got: string, expected: string) =>
  input.fault('ply-header', 'The PLY header is not right.', { got, expected, hint: 'The file is damaged, or is not a PLY file.' });

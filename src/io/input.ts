import { Fault } from '../core/fault.ts';
import { joinBytes } from './bytes.ts';
import type { ByteSource } from './source.ts';

/** A line longer than this is not one of a scan file. */
const LONGEST_LINE = 1 << 24;
/** glTF, archives and binary PCD are held in memory as a whole, up to this. */
const LARGEST_WHOLE = 2 ** 31;
const NEWLINE = 10;
const RETURN = 13;
const EMPTY = new Uint8Array(0);

/** Powers of ten that float64 holds exactly. */
const POW10 = Float64Array.from({ length: 23 }, (_, i) => Number(`1e${i}`));

export interface Trouble {
  readonly got?: string;
  readonly expected?: string;
  readonly hint?: string;
  /** Place in the file; default the current line. `null`: the file as a whole. */
  readonly at?: string | null;
}

/**
 * A window that slides over a file. Binary readers use `need`, `bytes`, `view` and `at`; line readers use `more`, `number`, `word`
 * and `nextLine`. Bytes are parsed where they lie: no string of the file is ever made, so the longest JavaScript string is no limit.
 * The inner calls are synchronous; only `need` and `more` may wait for the source.
 *
 * Own number parser: at most 15 digits and a power of ten up to 22 give the correctly rounded float64 (both factors exact, one
 * rounding: Clinger 1990); up to 17 digits it is within 4 ulp and is taken when that cannot change the float32; the rest goes to Number().
 */
export class Input {
  readonly name: string;
  /** Bytes of the whole file, if known. */
  readonly size: number | undefined;
  bytes: Uint8Array = EMPTY;
  view: DataView = new DataView(EMPTY.buffer);
  /** Next unread byte, within `bytes`. */
  at = 0;
  /** One past the last byte of the last whole line, within `bytes`. */
  textEnd = 0;
  /** Number of the current line, from 1. */
  line = 1;
  /** When set, a line that ends in a backslash is never parted from the next. */
  joinLines = false;
  #base = 0;
  #ended = false;
  #map: Uint8Array | undefined;
  readonly #chunks: AsyncIterator<Uint8Array>;

  private constructor(name: string, size: number | undefined, chunks: AsyncIterator<Uint8Array>) {
    this.name = name;
    this.size = size;
    this.#chunks = chunks;
  }

  static async open(source: ByteSource): Promise<Input> {
    if (source.chunks) return new Input(source.name, source.size, source.chunks()[Symbol.asyncIterator]());
    const bytes = await source.bytes();
    return new Input(source.name, bytes.length, only(bytes));
  }

  /** Place of the next unread byte in the file, from 0. */
  get position(): number {
    return this.#base + this.at;
  }

  /** Unread bytes in the window. */
  get left(): number {
    return this.bytes.length - this.at;
  }

  /** Unread bytes of the file, if its size is known. */
  get remaining(): number | undefined {
    return this.size === undefined ? (this.#ended ? this.left : undefined) : this.size - this.position;
  }

  get ended(): boolean {
    return this.#ended;
  }

  /** A fault that names this file and the place in it. */
  fault(code: string, what: string, trouble: Trouble = {}): Fault {
    const { at = `line ${this.line}`, ...rest } = trouble;
    return new Fault({ code, what, ...rest, where: at === null ? this.name : `${this.name}, ${at}` });
  }

  /** Adds the next piece of the file to the window, dropping what was read; false at the end. */
  async grow(): Promise<boolean> {
    if (this.#ended) return false;
    const next = await this.#chunks.next();
    if (next.done) {
      this.#ended = true;
      if (this.size !== undefined && this.#base + this.bytes.length !== this.size)
        throw this.fault('scan-short', 'The file is not as long as its folder says.', {
          got: `${this.#base + this.bytes.length} bytes`,
          expected: `${this.size} bytes`,
          hint: 'Let whatever writes the file finish, then try again.',
          at: null,
        });
      return false;
    }
    if (this.#map) next.value = mapped(next.value, this.#map);
    const keep = this.bytes.subarray(this.at);
    this.#base += this.at;
    if (keep.length === 0) this.bytes = next.value;
    else {
      this.bytes = new Uint8Array(keep.length + next.value.length);
      this.bytes.set(keep);
      this.bytes.set(next.value, keep.length);
    }
    this.at = 0;
    this.textEnd = 0;
    this.view = new DataView(this.bytes.buffer, this.bytes.byteOffset, this.bytes.length);
    return true;
  }

  /** From here on every byte `b` reads as `map[b]`: separators become blanks, a decimal comma a point. Works on copies. */
  translate(map: Uint8Array): void {
    this.#map = map;
    this.#base += this.at;
    this.bytes = mapped(this.bytes.subarray(this.at), map);
    this.textEnd = Math.max(0, this.textEnd - this.at);
    this.at = 0;
    this.view = new DataView(this.bytes.buffer, this.bytes.byteOffset, this.bytes.length);
  }

  /** Reads on until `n` bytes are unread in the window; false when the file ends before. */
  async need(n: number): Promise<boolean> {
    while (this.left < n) if (!(await this.grow())) return false;
    return true;
  }

  /** All unread bytes. */
  async rest(): Promise<Uint8Array> {
    const pieces = [this.bytes.subarray(this.at)];
    this.at = this.bytes.length;
    let total = pieces[0].length;
    while (await this.grow()) {
      pieces.push(this.bytes);
      this.at = this.bytes.length;
      total += this.bytes.length;
      if (total > LARGEST_WHOLE)
        throw this.fault('scan-large', 'The file is too large for a format that must be held in memory as a whole.', {
          got: `more than ${LARGEST_WHOLE / 2 ** 30} GB`,
          hint: 'Export the scan as binary PLY or STL, which are read piece by piece.',
          at: null,
        });
    }
    if (pieces.length <= 2 && pieces[0].length === 0) return pieces[1] ?? pieces[0];
    if (pieces.length === 1) return pieces[0];
    return joinBytes(pieces);
  }

  /** Makes sure a whole line lies between `at` and `textEnd`; false at the end of the file. */
  async more(): Promise<boolean> {
    while (this.at >= this.textEnd) {
      const end = this.#ended ? this.bytes.length : this.#lastLineEnd();
      if (end > this.at) {
        this.textEnd = end;
        return true;
      }
      if (this.left > LONGEST_LINE)
        throw this.fault('scan-line', 'A line has no end.', {
          got: `more than ${LONGEST_LINE} bytes without a line end`,
          hint: 'The file is damaged, or is not what its start says.',
        });
      if (!(await this.grow()) && this.left === 0) return false;
    }
    return true;
  }

  #lastLineEnd(): number {
    const { bytes, at } = this;
    for (let i = bytes.length - 1; i >= at; i--) {
      if (bytes[i] !== NEWLINE) continue;
      if (this.joinLines && i > at && (bytes[i - 1] === 92 || (bytes[i - 1] === RETURN && i > at + 1 && bytes[i - 2] === 92))) continue;
      return i + 1;
    }
    // Old files end lines with a lone return; one at the very end may be half of a pair.
    for (let i = bytes.length - 2; i >= at; i--)
      if (bytes[i] === RETURN && !(this.joinLines && i > at && bytes[i - 1] === 92)) return i + 1;
    return at;
  }

  /** Skips blanks within the line; true when the line has nothing more. */
  lineDone(): boolean {
    const { bytes, textEnd } = this;
    let p = this.at;
    while (p < textEnd && (bytes[p] === 32 || bytes[p] === 9)) p++;
    this.at = p;
    return p >= textEnd || bytes[p] === NEWLINE || bytes[p] === RETURN;
  }

  /** Goes to the start of the next line, whatever is left on this one. */
  nextLine(): void {
    const { bytes, textEnd } = this;
    let p = this.at;
    while (p < textEnd && bytes[p] !== NEWLINE && bytes[p] !== RETURN) p++;
    if (p < textEnd) {
      this.line++;
      if (bytes[p] === RETURN && p + 1 < textEnd && bytes[p + 1] === NEWLINE) p++;
      p++;
    }
    this.at = p;
  }

  /** The next word of the line, '' when there is none. */
  word(): string {
    if (this.lineDone()) return '';
    const from = this.at;
    this.at = this.#wordEnd(from);
    return decode(this.bytes, from, this.at);
  }

  /** The rest of the line, without blanks at its ends. Stays on the line. */
  restOfLine(): string {
    if (this.lineDone()) return '';
    const from = this.at;
    let p = from;
    while (p < this.textEnd && this.bytes[p] !== NEWLINE && this.bytes[p] !== RETURN) p++;
    this.at = p;
    return decode(this.bytes, from, p).trim();
  }

  /** The next word without going past it, shortened for a message. */
  peek(): string {
    const { at } = this;
    const word = this.word();
    this.at = at;
    return word === '' ? 'the end of the line' : quoted(word);
  }

  #wordEnd(from: number): number {
    const { bytes, textEnd } = this;
    let p = from;
    while (p < textEnd && bytes[p] > 32) p++;
    return p;
  }

  /** The next word as a number; NaN, and nothing is read, when it is not a plain decimal number. */
  number(): number {
    const { bytes, textEnd } = this;
    let p = this.at;
    while (p < textEnd && (bytes[p] === 32 || bytes[p] === 9)) p++;
    const from = p;
    this.at = from;
    let c = bytes[p];
    const negative = c === 45;
    if (negative || c === 43) c = bytes[++p];
    let mantissa = 0;
    let digits = 0;
    let exponent = 0;
    let seen = false;
    while (p < textEnd && c >= 48 && c <= 57) {
      if (digits < 17) {
        mantissa = mantissa * 10 + (c - 48);
        if (mantissa !== 0) digits++;
      } else exponent++;
      seen = true;
      c = bytes[++p];
    }
    if (c === 46 && p < textEnd) {
      c = bytes[++p];
      while (p < textEnd && c >= 48 && c <= 57) {
        if (digits < 17) {
          mantissa = mantissa * 10 + (c - 48);
          if (mantissa !== 0) digits++;
          exponent--;
        }
        seen = true;
        c = bytes[++p];
      }
    }
    if (!seen) return Number.NaN;
    if ((c === 101 || c === 69) && p < textEnd) {
      c = bytes[++p];
      const down = c === 45;
      if (down || c === 43) c = bytes[++p];
      const start = p;
      let e = 0;
      while (p < textEnd && c >= 48 && c <= 57) {
        if (e < 10000) e = e * 10 + (c - 48);
        c = bytes[++p];
      }
      if (p === start) return Number.NaN;
      exponent += down ? -e : e;
    }
    if (p < textEnd && bytes[p] > 32) return Number.NaN;
    this.at = p;
    if (mantissa === 0) return 0;
    if (exponent >= -22 && exponent <= 22) {
      const v = exponent < 0 ? mantissa / POW10[-exponent] : mantissa * POW10[exponent];
      if (digits <= 15 || Math.fround(v * (1 + 2e-15)) === Math.fround(v * (1 - 2e-15))) return negative ? -v : v;
    }
    return Number(decode(bytes, from, p));
  }
}

const decoder = new TextDecoder();
const decode = (bytes: Uint8Array, from: number, to: number): string => decoder.decode(bytes.subarray(from, to));

/** A word from a file in quotes, cut to a length that a message can bear, control characters shown as dots. */
export function quoted(word: string): string {
  const plain = Array.from(word.slice(0, 40), (c) => (c < ' ' || c === '\x7f' ? '.' : c)).join('');
  return `"${plain}${word.length > 40 ? '…' : ''}"`;
}

function mapped(bytes: Uint8Array, map: Uint8Array): Uint8Array {
  const out = new Uint8Array(bytes.length);
  for (let i = 0; i < out.length; i++) out[i] = map[bytes[i]];
  return out;
}

async function* only(bytes: Uint8Array): AsyncGenerator<Uint8Array> {
  yield bytes;
}

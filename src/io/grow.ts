/**
 * `array` itself when it holds `needed` numbers, else a copy of at least half as much again. Readers grow with what they have
 * really read, never with what a header promises, so a false count cannot make them allocate.
 */
export function grown(array: Float64Array<ArrayBuffer>, needed: number): Float64Array<ArrayBuffer>;
export function grown(array: Float32Array<ArrayBuffer>, needed: number): Float32Array<ArrayBuffer>;
export function grown(array: Uint32Array<ArrayBuffer>, needed: number): Uint32Array<ArrayBuffer>;
export function grown(array: Int32Array<ArrayBuffer>, needed: number): Int32Array<ArrayBuffer>;
export function grown(
  array: Float64Array<ArrayBuffer> | Float32Array<ArrayBuffer> | Uint32Array<ArrayBuffer> | Int32Array<ArrayBuffer>,
  needed: number,
): Float64Array | Float32Array | Uint32Array | Int32Array {
  if (array.length >= needed) return array;
  const size = Math.max(needed, Math.ceil(array.length * 1.6), 96);
  const make = (): typeof array => {
    if (array instanceof Float64Array) return new Float64Array(size);
    if (array instanceof Float32Array) return new Float32Array(size);
    return array instanceof Uint32Array ? new Uint32Array(size) : new Int32Array(size);
  };
  const next = make();
  next.set(array);
  return next;
}

/** A list of whole numbers 0..2^32-1. */
export class IndexList {
  data: Uint32Array<ArrayBuffer>;
  length = 0;

  constructor(capacity = 96) {
    this.data = new Uint32Array(capacity);
  }

  push3(a: number, b: number, c: number): void {
    const n = this.length;
    if (n + 3 > this.data.length) this.data = grown(this.data, n + 3);
    this.data[n] = a;
    this.data[n + 1] = b;
    this.data[n + 2] = c;
    this.length = n + 3;
  }
}

/** A list of points, three float64 each. */
export class PointList {
  data: Float64Array<ArrayBuffer>;
  /** Numbers held: three a point. */
  length = 0;

  constructor(capacity = 96) {
    this.data = new Float64Array(capacity);
  }

  push(x: number, y: number, z: number): void {
    const n = this.length;
    if (n + 3 > this.data.length) this.data = grown(this.data, n + 3);
    this.data[n] = x;
    this.data[n + 1] = y;
    this.data[n + 2] = z;
    this.length = n + 3;
  }
}

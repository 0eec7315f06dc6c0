/**
 * Exact weld: corners with the same bits are one vertex. No tolerance, so nothing moves and nothing that was apart is joined.
 * Open addressing on typed arrays, three (float32) or six (float64) words a key. A Map with string or number keys was not
 * considered further: three's own vertex merge, which uses one, takes seconds for a million triangles.
 */
export class Weld32 {
  /** x, y, z a vertex as float32 bits. */
  words = new Int32Array(3 * 1024);
  count = 0;
  #table = new Int32Array(4096);
  #mask = 4095;

  /** Number of the vertex with these float32 bits. The caller turns minus zero into zero first. */
  add(x: number, y: number, z: number): number {
    const table = this.#table;
    const words = this.words;
    const mask = this.#mask;
    let slot = mix(x, y, z) & mask;
    for (let entry = table[slot]; entry !== 0; entry = table[slot]) {
      const w = 3 * entry - 3;
      if (words[w] === x && words[w + 1] === y && words[w + 2] === z) return entry - 1;
      slot = (slot + 1) & mask;
    }
    return this.#insert(slot, x, y, z);
  }

  #insert(slot: number, x: number, y: number, z: number): number {
    const v = this.count++;
    if (3 * this.count > this.words.length) {
      const wider = new Int32Array(2 * this.words.length);
      wider.set(this.words);
      this.words = wider;
    }
    this.words[3 * v] = x;
    this.words[3 * v + 1] = y;
    this.words[3 * v + 2] = z;
    this.#table[slot] = v + 1;
    if (2 * this.count > this.#table.length) this.#rehash();
    return v;
  }

  #rehash(): void {
    const size = 4 * this.#table.length;
    const table = new Int32Array(size);
    const mask = size - 1;
    const words = this.words;
    for (let v = 0; v < this.count; v++) {
      let slot = mix(words[3 * v], words[3 * v + 1], words[3 * v + 2]) & mask;
      while (table[slot] !== 0) slot = (slot + 1) & mask;
      table[slot] = v + 1;
    }
    this.#table = table;
    this.#mask = mask;
  }

  /** The vertices, three float32 each. */
  positions(): Float32Array<ArrayBuffer> {
    return new Float32Array(this.words.buffer, 0, 3 * this.count);
  }
}

/** The same for float64 corners. */
export class Weld64 {
  #points = new Float64Array(3 * 1024);
  #words = new Int32Array(this.#points.buffer);
  count = 0;
  #table = new Int32Array(4096);
  #mask = 4095;

  /** Number of the vertex at x, y, z (finite). */
  add(x: number, y: number, z: number): number {
    // The candidate is written behind the last vertex, so that its bits can be read as words.
    const at = 3 * this.count;
    this.#points[at] = x + 0;
    this.#points[at + 1] = y + 0;
    this.#points[at + 2] = z + 0;
    const words = this.#words;
    const c = 2 * at;
    const table = this.#table;
    const mask = this.#mask;
    let slot = this.#hash(c) & mask;
    for (let entry = table[slot]; entry !== 0; entry = table[slot]) {
      const w = 6 * entry - 6;
      if (
        words[w] === words[c] &&
        words[w + 1] === words[c + 1] &&
        words[w + 2] === words[c + 2] &&
        words[w + 3] === words[c + 3] &&
        words[w + 4] === words[c + 4] &&
        words[w + 5] === words[c + 5]
      )
        return entry - 1;
      slot = (slot + 1) & mask;
    }
    table[slot] = ++this.count;
    if (3 * this.count + 3 > this.#points.length) this.#widen();
    if (2 * this.count > table.length) this.#rehash();
    return this.count - 1;
  }

  #hash(c: number): number {
    const w = this.#words;
    return mix(
      w[c] ^ Math.imul(w[c + 1], 0x27d4eb2f),
      w[c + 2] ^ Math.imul(w[c + 3], 0x27d4eb2f),
      w[c + 4] ^ Math.imul(w[c + 5], 0x27d4eb2f),
    );
  }

  #widen(): void {
    const wider = new Float64Array(2 * this.#points.length);
    wider.set(this.#points);
    this.#points = wider;
    this.#words = new Int32Array(wider.buffer);
  }

  #rehash(): void {
    const size = 4 * this.#table.length;
    const table = new Int32Array(size);
    const mask = size - 1;
    for (let v = 0; v < this.count; v++) {
      let slot = this.#hash(6 * v) & mask;
      while (table[slot] !== 0) slot = (slot + 1) & mask;
      table[slot] = v + 1;
    }
    this.#table = table;
    this.#mask = mask;
  }

  /** The vertices, three float64 each. */
  positions(): Float64Array<ArrayBuffer> {
    return this.#points.subarray(0, 3 * this.count);
  }
}

function mix(x: number, y: number, z: number): number {
  let h = Math.imul(x, 0x9e3779b1) ^ Math.imul(y, 0x85ebca6b) ^ Math.imul(z, 0xc2b2ae35);
  h = Math.imul(h ^ (h >>> 15), 0x2c1b3c6d);
  h ^= h >>> 13;
  return Math.imul(h, 0x297a2d39) ^ (h >>> 16);
}

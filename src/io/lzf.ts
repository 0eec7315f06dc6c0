/** LZF packs 264 bytes into 3 at best; a promise of more is false. */
const MOST_RATIO = 88;

/**
 * Unpacks LZF (the format of Marc Lehmann's liblzf, used by compressed PCD files): a control byte below 32 brings that many plus one
 * plain bytes; any other is a copy of at least three bytes from up to 8192 bytes back. Undefined when the data are damaged
 * or do not come to exactly `size` bytes.
 */
export function unpackLzf(packed: Uint8Array, size: number): Uint8Array | undefined {
  if (size > MOST_RATIO * packed.length) return undefined;
  const out = new Uint8Array(size);
  let o = 0;
  for (let i = 0; i < packed.length; ) {
    const control = packed[i++];
    if (control < 32) {
      const n = control + 1;
      if (i + n > packed.length || o + n > size) return undefined;
      out.set(packed.subarray(i, i + n), o);
      i += n;
      o += n;
      continue;
    }
    let n = control >> 5;
    if (n === 7) n += packed[i++] ?? Number.NaN;
    const from = o - ((control & 31) << 8) - (packed[i++] ?? Number.NaN) - 1;
    n += 2;
    if (!(from >= 0 && o + n <= size)) return undefined;
    // Byte by byte: the copy may overlap what it makes.
    for (let k = 0; k < n; k++) out[o + k] = out[from + k];
    o += n;
  }
  return o === size ? out : undefined;
}

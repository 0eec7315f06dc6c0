/** A small seeded generator (sfc32): the same seed gives the same numbers on every machine. */
export interface Random {
  /** Uniform in [0, 1). */
  next(): number;
  /** Uniform in [lo, hi). */
  range(lo: number, hi: number): number;
  /** Whole number in [0, n). */
  below(n: number): number;
  /** Normal with mean 0 and deviation 1 (Box-Muller). */
  normal(): number;
  /** A unit vector, uniform on the sphere. */
  direction(): [number, number, number];
}

export function random(seed: number): Random {
  let a = 0x9e3779b9 ^ seed;
  let b = 0x243f6a88;
  let c = 0xb7e15162;
  let counter = 1;
  const next = (): number => {
    const t = (((a + b) | 0) + counter) | 0;
    counter = (counter + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = ((c << 21) | (c >>> 11)) + t;
    c |= 0;
    return (t >>> 0) / 4294967296;
  };
  for (let i = 0; i < 15; i++) next();
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
  return {
    next,
    normal,
    range: (lo, hi) => lo + (hi - lo) * next(),
    below: (n) => Math.floor(next() * n),
    direction: () => {
      const z = 2 * next() - 1;
      const s = Math.sqrt(1 - z * z);
      const t = 2 * Math.PI * next();
      return [s * Math.cos(t), s * Math.sin(t), z];
    },
  };
}

/**
 * One line of a separable distance transform whose seeds may sit anywhere: for every whole position 0..n-1 the seed with the
 * least (i - apex)^2 + weight. After Felzenszwalb & Huttenlocher, Distance Transforms of Sampled Functions, 2012, with apexes
 * at real positions. All lengths in cells.
 */
export class LinePass {
  private readonly apex: Float64Array;
  private readonly weight: Float64Array;
  private readonly seed: Int32Array;
  private readonly from: Float64Array;
  private count = 0;

  constructor(capacity: number) {
    this.apex = new Float64Array(capacity + 1);
    this.weight = new Float64Array(capacity + 1);
    this.seed = new Int32Array(capacity + 1);
    this.from = new Float64Array(capacity + 2);
  }

  clear(): void {
    this.count = 0;
  }

  /** Adds a seed; they come nearly in the order of their apexes, so an insertion sort keeps them so at little cost. */
  add(apex: number, weight: number, seed: number): void {
    let i = this.count++;
    while (i > 0 && this.apex[i - 1] > apex) {
      this.apex[i] = this.apex[i - 1];
      this.weight[i] = this.weight[i - 1];
      this.seed[i] = this.seed[i - 1];
      i--;
    }
    this.apex[i] = apex;
    this.weight[i] = weight;
    this.seed[i] = seed;
  }

  /** Writes the winning seed of each position to out[offset + i * stride], i = 0..n-1; nothing when no seed was added. */
  solve(n: number, out: Int32Array, offset: number, stride: number): void {
    const { apex, weight, seed, from } = this;
    const m = this.count;
    if (m === 0) return;
    let top = 0;
    from[0] = -Infinity;
    for (let q = 1; q < m; q++) {
      const a = apex[q];
      const w = weight[q];
      let start = -Infinity;
      while (top >= 0) {
        const gap = a - apex[top];
        if (gap < 1e-9) {
          if (w >= weight[top]) break;
          top--;
          continue;
        }
        start = (a * a + w - apex[top] * apex[top] - weight[top]) / (2 * gap);
        if (start > from[top]) break;
        top--;
      }
      if (top >= 0 && a - apex[top] < 1e-9) continue;
      top++;
      apex[top] = a;
      weight[top] = w;
      seed[top] = seed[q];
      from[top] = top === 0 ? -Infinity : start;
    }
    from[top + 1] = Infinity;
    let s = 0;
    for (let i = 0; i < n; i++) {
      while (from[s + 1] < i) s++;
      out[offset + i * stride] = seed[s];
    }
  }
}

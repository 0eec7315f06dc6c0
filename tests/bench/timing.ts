/** Wall and CPU seconds (all threads of this process). On a busy machine only CPU seconds and ratios within one run mean anything. */
export interface Seconds {
  readonly wall: number;
  readonly cpu: number;
}

export const median = (values: readonly number[]): number => {
  const s = [...values].sort((a, b) => a - b);
  const n = s.length;
  return n % 2 ? s[(n - 1) / 2] : (s[n / 2 - 1] + s[n / 2]) / 2;
};

/** One warm-up, then `runs` timed ones; medians of both clocks. `check` sees the warm-up's result and every other, outside the timing. */
export async function timed<T>(runs: number, work: () => T | Promise<T>, check: (result: T) => number): Promise<Seconds & { sum: number }> {
  const sum = check(await work());
  const wall: number[] = [];
  const cpu: number[] = [];
  for (let i = 0; i < runs; i++) {
    const c = process.cpuUsage();
    const t = performance.now();
    const result = await work();
    wall.push((performance.now() - t) / 1000);
    const used = process.cpuUsage(c);
    cpu.push((used.user + used.system) / 1e6);
    if (check(result) !== sum) throw new Error('the same work gave a different result');
  }
  return { wall: median(wall), cpu: median(cpu), sum };
}

/** Order-dependent checksum of floats (FNV-1a over their bits). */
export function checksum(data: Float32Array | Float64Array | Uint32Array): number {
  const bits = new Int32Array(data.buffer, data.byteOffset, data.byteLength / 4);
  let h = 0x811c9dc5 | 0;
  for (let i = 0; i < bits.length; i++) h = Math.imul(h ^ bits[i], 0x01000193);
  return h >>> 0;
}

/** A number with three digits that mean something. */
export const short = (v: number): string => (v === 0 ? '0' : Number(v.toPrecision(3)).toString());

export function printTable(title: string, head: readonly string[], rows: readonly (readonly string[])[]): void {
  const width = head.map((h, i) => Math.max(h.length, ...rows.map((r) => r[i].length)));
  const line = (r: readonly string[]): string => r.map((c, i) => (i === 0 ? c.padEnd(width[i]) : c.padStart(width[i]))).join('  ');
  console.log(`\n${title}\n${line(head)}`);
  for (const r of rows) console.log(line(r));
}

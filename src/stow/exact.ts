import type { Highs } from 'highs';
import type { Candidate } from './candidate.ts';

/** Blocks and a bound proved by an integer program over the given positions. */
export interface ExactPacking {
  readonly blocks: Candidate[];
  readonly bound: number;
}

/**
 * The most blocks that go on the given positions: one 0/1 variable a position, at most one block over each cell of the finest raster that all
 * positions share. `known` blocks are already found: only more are of interest. 'absent' when the solver is not installed.
 */
export async function exactPacking(all: readonly Candidate[], known: number, seconds: number): Promise<ExactPacking | 'absent'> {
  let solver: Highs;
  try {
    solver = await load();
  } catch {
    return 'absent';
  }
  const rows = coverRows(all);
  const names = all.map((_, i) => `b${i}`);
  const limit = rows.map((row, r) => ` c${r}: ${row.map((i) => names[i]).join(' + ')} <= 1`);
  const text = `Maximize\n obj: ${names.join(' + ')}\nSubject To\n${limit.join('\n')}\nBinary\n ${names.join('\n ')}\nEnd\n`;
  const found = solver.solve(text, { time_limit: seconds, mip_abs_gap: 0.999 });
  if (found.Status !== 'Optimal') return { blocks: [], bound: Math.floor(relaxed(solver, text) + 1e-6) };
  const blocks = all.filter((_, i) => {
    const column = found.Columns[names[i]];
    return 'Primal' in column && column.Primal > 0.5;
  });
  return { blocks, bound: Math.max(known, blocks.length) };
}

/** Optimum of the program with fractions allowed: a bound, if a weak one. */
function relaxed(solver: Highs, text: string): number {
  const found = solver.solve(text.replace(/\nBinary[\s\S]*\nEnd/, '\nEnd'));
  return found.Status === 'Optimal' ? found.ObjectiveValue : Infinity;
}

/** The solver is optional: it is looked for only when it is wanted. Its types know the CommonJS shape only, its module exports the loader itself. */
async function load(): Promise<Highs> {
  const entry: unknown = (await import('highs')).default;
  if (typeof entry !== 'function') throw new TypeError('the solver exports no loader');
  const solver: Highs = await entry();
  return solver;
}

/** Positions over each cell of the common raster, one row a distinct set. */
function coverRows(all: readonly Candidate[]): number[][] {
  const unit = [0, 1, 2].map((a) => {
    const values = all.flatMap((p) => (a === 0 ? [p.x - all[0].x, p.a] : a === 1 ? [p.y - all[0].y, p.b] : [p.z - all[0].z, p.c]));
    return values.reduce((g, v) => gcd(g, Math.abs(v)), 0);
  });
  const cells = new Map<string, number[]>();
  all.forEach((p, i) => {
    for (let z = p.z; z < p.z + p.c; z += unit[2])
      for (let y = p.y; y < p.y + p.b; y += unit[1])
        for (let x = p.x; x < p.x + p.a; x += unit[0]) {
          const key = `${x},${y},${z}`;
          const list = cells.get(key);
          if (list) list.push(i);
          else cells.set(key, [i]);
        }
  });
  const distinct = new Map<string, number[]>();
  for (const [key, list] of cells) {
    if (list.length < 2) continue;
    // A cell says nothing where a neighbour's row says it too; of equal neighbours the last one speaks.
    const [x, y, z] = key.split(',').map(Number);
    const told = [
      [unit[0], 0, 0],
      [0, unit[1], 0],
      [0, 0, unit[2]],
    ].some(([u, v, w]) => {
      const next = cells.get(`${x + u},${y + v},${z + w}`);
      const before = cells.get(`${x - u},${y - v},${z - w}`);
      return (next && within(list, next)) || (before && before.length > list.length && within(list, before));
    });
    if (!told) distinct.set(list.join(' '), list);
  }
  return [...distinct.values()];
}

/** Whether all of a rising list are in another. */
function within(list: readonly number[], other: readonly number[]): boolean {
  let at = 0;
  for (const i of list) {
    while (at < other.length && other[at] < i) at++;
    if (other[at] !== i) return false;
  }
  return true;
}

const gcd = (a: number, b: number): number => (b === 0 ? a : gcd(b, a % b));

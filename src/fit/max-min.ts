/**
 * The linear program behind the best small move: of all moves x inside a box, the one whose least slack is greatest, where slack i is
 * known to first order as slack[i] + gradient[i] . x; and of moves that do equally well the one that ends nearest to rest, which a small
 * price on each unknown's distance from it brings about.
 *
 * It has few unknowns and up to some ten thousand rows, so its dual is solved: a basis of as many rows as there are variables (least slack, moves,
 * distances), to which the most violated row is brought in until none is (revised simplex; Chvatal, Linear Programming, 1983, chapters 7
 * and 10: recalled). Each turn costs one look at the rows and small systems, which are solved afresh, so nothing drifts.
 */
export interface MaxMin {
  /** Present slacks, one a row. */
  readonly slack: Float64Array;
  /** UNKNOWNS numbers a row: how the slack grows with each unknown. */
  readonly gradient: Float64Array;
  /** Least and greatest value of each unknown. */
  readonly low: readonly number[];
  readonly high: readonly number[];
  /** Where each unknown is to end if it makes no difference, in the same terms as `low` and `high`. */
  readonly rest: readonly number[];
  /** Slack that one mm away from rest must be worth. */
  readonly price: number;
}

export interface MaxMinSolution {
  readonly move: number[];
  /** The least slack after it, to first order; Infinity without rows. */
  readonly least: number;
  /** Rows that hold it back, with their shares (multipliers of the dual, sum 1). */
  readonly held: readonly { readonly row: number; readonly share: number }[];
}

/** Unknowns of a rigid move: three shifts, three turns. */
export const UNKNOWNS = 6;
const SIZE = 1 + 2 * UNKNOWNS;
/** After so many turns the first violated row is taken instead of the worst: slower, but it cannot run in a ring (Bland). */
const PATIENCE = 300;
const MOST_TURNS = 5000;

/**
 * Solves the program. Rows count from 0; beyond them stand, UNKNOWNS each, the upper ends of the box, its lower ends, and how far an unknown
 * lies above and below its rest.
 */
export function maxMin(p: MaxMin): MaxMinSolution {
  const rows = p.slack.length;
  if (rows === 0) return { move: p.rest.map((r, j) => Math.min(Math.max(r, p.low[j]), p.high[j])), least: Infinity, held: [] };
  let first = 0;
  for (let i = 1; i < rows; i++) if (p.slack[i] < p.slack[first]) first = i;
  // The lowest row alone, balanced by the ends of the box that it runs into and the price of going there.
  const up = p.low.map((_, j) => p.gradient[UNKNOWNS * first + j] >= 0);
  const ends = up.map((u, j) => rows + (u === Math.abs(p.gradient[UNKNOWNS * first + j]) >= p.price ? 0 : UNKNOWNS) + j);
  const basis = [first, ...ends, ...up.map((u, j) => rows + (u ? 2 : 3) * UNKNOWNS + j)];
  const goal = Array.from({ length: SIZE }, (_, v) => (v === 0 ? 1 : v > UNKNOWNS ? -p.price : 0));
  const scale = 1 + Math.abs(p.slack[first]);
  for (let turn = 0; ; turn++) {
    const matrix = basis.map((k) => coefficients(p, k));
    const y = solve(
      matrix,
      basis.map((k) => bound(p, k)),
    );
    const across = matrix[0].map((_, c) => matrix.map((row) => row[c]));
    const shares = solve(across, goal);
    const entering = violated(p, y, { tell: 1e-10 * scale, worst: turn < PATIENCE });
    if (entering < 0 || turn === MOST_TURNS) return solution(y, basis, shares, rows);
    const change = solve(across, coefficients(p, entering));
    const leaving = leavingRow(basis, shares, change);
    if (leaving < 0) return solution(y, basis, shares, rows);
    basis[leaving] = entering;
  }
}

function leavingRow(basis: readonly number[], shares: readonly number[], change: readonly number[]): number {
  let leaving = -1;
  let ratio = Infinity;
  for (let b = 0; b < SIZE; b++) {
    if (change[b] <= 1e-11) continue;
    const r = Math.max(0, shares[b]) / change[b];
    if (r < ratio || (r === ratio && basis[b] < basis[leaving])) {
      ratio = r;
      leaving = b;
    }
  }
  return leaving;
}

function solution(y: readonly number[], basis: readonly number[], shares: readonly number[], rows: number): MaxMinSolution {
  const held = basis.flatMap((row, b) => (row < rows && shares[b] > 1e-9 ? [{ row, share: shares[b] }] : []));
  return { move: y.slice(1, 1 + UNKNOWNS), least: y[0], held: held.sort((a, b) => b.share - a.share || a.row - b.row) };
}

/** Row k as a . (least, moves, distances from rest) <= bound. */
function coefficients({ slack, gradient }: MaxMin, k: number): number[] {
  const out = new Array<number>(SIZE).fill(0);
  const end = k - slack.length;
  if (end < 0) {
    out[0] = 1;
    for (let j = 0; j < UNKNOWNS; j++) out[1 + j] = -gradient[UNKNOWNS * k + j];
    return out;
  }
  const [kind, j] = [Math.floor(end / UNKNOWNS), end % UNKNOWNS];
  out[1 + j] = kind % 2 === 0 ? 1 : -1;
  if (kind >= 2) out[1 + UNKNOWNS + j] = -1;
  return out;
}

function bound({ slack, low, high, rest }: MaxMin, k: number): number {
  const end = k - slack.length;
  if (end < 0) return slack[k];
  const [kind, j] = [Math.floor(end / UNKNOWNS), end % UNKNOWNS];
  return [high[j], -low[j], rest[j], -rest[j]][kind];
}

/** The row that y violates most (or the first one), or -1. */
function violated(p: MaxMin, y: readonly number[], { tell, worst }: { tell: number; worst: boolean }): number {
  const { slack, gradient } = p;
  let found = -1;
  let most = tell;
  for (let i = 0; i < slack.length; i++) {
    let v = y[0] - slack[i];
    for (let j = 0; j < UNKNOWNS; j++) v -= gradient[UNKNOWNS * i + j] * y[1 + j];
    if (v <= most) continue;
    if (!worst) return i;
    most = v;
    found = i;
  }
  for (let k = slack.length; k < slack.length + 4 * UNKNOWNS; k++) {
    const v = coefficients(p, k).reduce((sum, a, i) => sum + a * y[i], -bound(p, k));
    if (v <= most) continue;
    if (!worst) return k;
    most = v;
    found = k;
  }
  return found;
}

/** Gaussian elimination with row pivots; a basis is never singular but for rounding, where the least pivot keeps it going. */
function solve(matrix: readonly (readonly number[])[], right: readonly number[]): number[] {
  const m = matrix.map((row, r) => [...row, right[r]]);
  for (let c = 0; c < SIZE; c++) {
    let best = c;
    for (let r = c + 1; r < SIZE; r++) if (Math.abs(m[r][c]) > Math.abs(m[best][c])) best = r;
    [m[c], m[best]] = [m[best], m[c]];
    const pivot = Math.abs(m[c][c]) > 1e-14 ? m[c][c] : 1e-14;
    for (let r = 0; r < SIZE; r++) {
      if (r === c) continue;
      const k = m[r][c] / pivot;
      if (k !== 0) for (let q = c; q <= SIZE; q++) m[r][q] -= k * m[c][q];
    }
    m[c][c] = pivot;
  }
  return m.map((row, r) => row[SIZE] / row[r]);
}

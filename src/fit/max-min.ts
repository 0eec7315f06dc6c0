/**
 * The linear program behind the best small move: of all moves x inside a box, the one whose least slack is greatest, where slack i is
 * known to first order as slack[i] + gradient[i] . x.
 *
 * It has few unknowns and up to some ten thousand rows, so its dual is solved: a basis of UNKNOWNS + 1 rows, to which the most
 * violated row is brought in until none is (revised simplex; Chvatal, Linear Programming, 1983, chapters 7 and 10: recalled). Each turn costs one
 * look at the rows and one small system, which is solved afresh, so nothing drifts.
 */
export interface MaxMin {
  /** Present slacks, one a row. */
  readonly slack: Float64Array;
  /** UNKNOWNS numbers a row: how the slack grows with each unknown. */
  readonly gradient: Float64Array;
  /** Least and greatest value of each unknown. */
  readonly low: readonly number[];
  readonly high: readonly number[];
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
const SIZE = UNKNOWNS + 1;
/** After so many turns the first violated row is taken instead of the worst: slower, but it cannot run in a ring (Bland). */
const PATIENCE = 300;
const MOST_TURNS = 5000;

/** Solves the program. Rows count from 0; beyond them stand the upper and then the lower ends of the box. */
export function maxMin(p: MaxMin): MaxMinSolution {
  const rows = p.slack.length;
  if (rows === 0) return { move: p.low.map((l, j) => Math.min(Math.max(0, l), p.high[j])), least: Infinity, held: [] };
  let first = 0;
  for (let i = 1; i < rows; i++) if (p.slack[i] < p.slack[first]) first = i;
  // The lowest row alone, balanced by the ends of the box that it runs into.
  const basis = [first, ...p.low.map((_, j) => rows + (p.gradient[UNKNOWNS * first + j] >= 0 ? j : UNKNOWNS + j))];
  const scale = 1 + Math.abs(p.slack[first]);
  for (let turn = 0; turn < MOST_TURNS; turn++) {
    const matrix = basis.map((k) => coefficients(p, k));
    const y = solve(
      matrix,
      basis.map((k) => bound(p, k)),
    );
    const entering = violated(p, y, { tell: 1e-10 * scale, worst: turn < PATIENCE });
    const across = matrix[0].map((_, c) => matrix.map((row) => row[c]));
    const shares = solve(across, [1, 0, 0, 0, 0, 0, 0]);
    if (entering < 0 || turn === MOST_TURNS - 1) return solution(y, basis, shares, rows);
    const change = solve(across, coefficients(p, entering));
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
    if (leaving < 0) return solution(y, basis, shares, rows);
    basis[leaving] = entering;
  }
  throw new Error('unreachable');
}

function solution(y: readonly number[], basis: readonly number[], shares: readonly number[], rows: number): MaxMinSolution {
  const held = basis.flatMap((row, b) => (row < rows && shares[b] > 1e-9 ? [{ row, share: shares[b] }] : []));
  return { move: y.slice(1), least: y[0], held: held.sort((a, b) => b.share - a.share || a.row - b.row) };
}

/** Row k as a . (least, x) <= bound. */
function coefficients({ slack, gradient }: MaxMin, k: number): number[] {
  const out = new Array<number>(SIZE).fill(0);
  const end = k - slack.length;
  if (end >= 0) out[1 + (end % UNKNOWNS)] = end < UNKNOWNS ? 1 : -1;
  else {
    out[0] = 1;
    for (let j = 0; j < UNKNOWNS; j++) out[1 + j] = -gradient[UNKNOWNS * k + j];
  }
  return out;
}

function bound({ slack, low, high }: MaxMin, k: number): number {
  const end = k - slack.length;
  return end < 0 ? slack[k] : end < UNKNOWNS ? high[end] : -low[end - UNKNOWNS];
}

/** The row that y violates most (or the first one), or -1. */
function violated({ slack, gradient, low, high }: MaxMin, y: readonly number[], { tell, worst }: { tell: number; worst: boolean }): number {
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
  for (let j = 0; j < UNKNOWNS; j++) {
    const over = [y[1 + j] - high[j], low[j] - y[1 + j]];
    for (let e = 0; e < 2; e++)
      if (over[e] > most) {
        if (!worst) return slack.length + e * UNKNOWNS + j;
        most = over[e];
        found = slack.length + e * UNKNOWNS + j;
      }
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

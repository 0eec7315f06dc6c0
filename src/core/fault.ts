/**
 * The one kind of error a user sees: what is wrong, what was found, what was expected, and what to do.
 * Made only at the edges (job, io, survey, budget); inner code trusts its inputs.
 */
export interface FaultDetail {
  /** Stable short code, such as `stl-cut` or `job-unknown-key`. */
  readonly code: string;
  /** One sentence: what is wrong. */
  readonly what: string;
  readonly got?: string;
  readonly expected?: string;
  /** What the user can do about it. */
  readonly hint?: string;
  /** File, or file:line:column, or the scan's name. */
  readonly where?: string;
  /** 2: bad input. 3: the input is sound but there is no envelope. 1: cancelled or failed outside. */
  readonly exit?: 1 | 2 | 3;
}

export class Fault extends Error {
  readonly detail: FaultDetail;

  constructor(detail: FaultDetail) {
    super(detail.what);
    this.name = 'Fault';
    this.detail = detail;
  }

  get code(): string {
    return this.detail.code;
  }

  get exit(): 1 | 2 | 3 {
    return this.detail.exit ?? 2;
  }

  /** The fault in a few plain lines, for a terminal. */
  toText(): string {
    const { where, what, got, expected, hint } = this.detail;
    const lines = [`${where ? `${where}: ` : ''}${what}`];
    if (got !== undefined) lines.push(`  found     ${got}`);
    if (expected !== undefined) lines.push(`  expected  ${expected}`);
    if (hint !== undefined) lines.push(`  try       ${hint}`);
    return lines.join('\n');
  }
}

/** A doubt or remark that goes with a result and is shown in every output. */
export interface Note {
  readonly code: string;
  readonly text: string;
  readonly where?: string;
}

/** The nearest of `known` to `word` by edit distance, or undefined when none is near. */
export function nearestWord(word: string, known: readonly string[]): string | undefined {
  let best: string | undefined;
  let least = Math.max(2, Math.floor(word.length / 2)) + 1;
  for (const k of known) {
    const d = editDistance(word.toLowerCase(), k.toLowerCase());
    if (d < least) {
      least = d;
      best = k;
    }
  }
  return best;
}

function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const next = [i];
    for (let j = 1; j <= b.length; j++) next[j] = Math.min(row[j] + 1, next[j - 1] + 1, row[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1));
    row = next;
  }
  return row[b.length];
}

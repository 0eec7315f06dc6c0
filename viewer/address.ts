import type { CutState } from './cut.ts';
import type { Eye } from './stage.ts';
import { SHOWS, type Show } from './things.ts';

/** What a link to the page carries: where the eye is, the cut, and what is shown how. */
export interface Address {
  readonly eye?: Eye;
  readonly cut?: CutState;
  readonly shows: ReadonlyMap<string, Show>;
  /** Turned dials as dial-state.ts writes them; empty when none is. */
  readonly dials?: string;
}

const AXES = ['x', 'y', 'z'] as const;
const round = (v: number, digits: number): string => String(Number(v.toFixed(digits)));

/** The part of the address after `#`. Names are percent-coded, numbers rounded to what the eye can tell apart. */
export function writeAddress(a: Address): string {
  const out: string[] = [];
  if (a.eye)
    out.push(`eye=${[round(a.eye.turn, 1), round(a.eye.tilt, 1), round(a.eye.span, 0), ...a.eye.at.map((v) => round(v, 0))].join(',')}`);
  if (a.cut) out.push(`cut=${AXES[a.cut.axis]},${round(a.cut.at, 1)},${a.cut.keep > 0 ? 'above' : 'below'}`);
  for (const show of SHOWS) {
    const names = [...a.shows].filter(([, s]) => s === show).map(([name]) => encodeURIComponent(name));
    if (names.length) out.push(`${show}=${names.join(',')}`);
  }
  if (a.dials) out.push(`dials=${a.dials}`);
  return out.join('&');
}

/** Reads an address back; parts that make no sense are left out. */
export function readAddress(hash: string): Address {
  const parts = new Map(
    hash
      .replace(/^#/, '')
      .split('&')
      .map((p) => [p.slice(0, p.indexOf('=')), p.slice(p.indexOf('=') + 1)] as const),
  );
  const shows = new Map<string, Show>();
  for (const show of SHOWS) for (const name of (parts.get(show) ?? '').split(',')) if (name) shows.set(decode(name), show);
  return { eye: readEye(parts.get('eye')), cut: readCut(parts.get('cut')), shows, dials: parts.get('dials') };
}

function readEye(text: string | undefined): Eye | undefined {
  const n = (text ?? '').split(',').map(Number);
  if (n.length !== 6 || !n.every(Number.isFinite) || n[2] <= 0) return undefined;
  return { turn: n[0], tilt: Math.max(-90, Math.min(90, n[1])), span: n[2], at: [n[3], n[4], n[5]] };
}

function readCut(text: string | undefined): CutState | undefined {
  const [axis, at, keep] = (text ?? '').split(',');
  const index = ['x', 'y', 'z'].indexOf(axis);
  const where = Number(at);
  if (index < 0 || at === '' || !Number.isFinite(where)) return undefined;
  return { axis: index as 0 | 1 | 2, at: where, keep: keep === 'above' ? 1 : -1 };
}

function decode(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

import { Fault } from '../core/fault.ts';
import { distance, type Vec3 } from '../core/vec.ts';
import { fitRigid, moveBy, quantiles, type Rigid, type RigidFit } from './place.ts';

export interface TargetOptions {
  /** How far two distances, or a placed target and its partner, may differ, mm. Default 1. */
  readonly tolerance?: number;
  /** Largest residual, rms, at which the fit is believed, mm. Default 0.5. */
  readonly limit?: number;
  /** Name of the scan, for messages. */
  readonly where?: string;
}

export interface TargetFit extends RigidFit {
  /** [index in moving, index in fixed] of each matched target. */
  readonly pairs: readonly (readonly [number, number])[];
  readonly median: number;
  readonly p95: number;
  /** What is doubtful about it, in words; empty when nothing is. */
  readonly doubts: readonly string[];
}

/** Triangles of targets with a smaller height than this, mm, do not fix a turn well enough to try. */
const LEAST_HEIGHT = 5;

/**
 * Places `moving` onto `fixed`, two unordered lists of sticker centres of which some may be missing or false. Triangles of targets
 * with equal sides (which no motion changes) propose placings; the one under which most targets find a partner is fitted by least
 * squares over all of them. 40 targets a list, a fifth of them missing, take about 0.2 s, 60 about 0.3 s.
 * Throws a Fault for fewer than three partners, a poor fit, or two placings that fit equally well.
 */
export function placeByTargets(moving: readonly Vec3[], fixed: readonly Vec3[], options: TargetOptions = {}): TargetFit {
  const tolerance = options.tolerance ?? 1;
  const { where } = options;
  for (const [list, which] of [
    [moving, 'moved'],
    [fixed, 'fixed'],
  ] as const)
    if (list.length < 3)
      throw new Fault({
        code: 'place-few-targets',
        what: `The ${which} list has too few targets to place a scan.`,
        got: `${list.length}`,
        expected: 'at least 3, better 6, not on one line',
        where,
      });
  const found = proposals(moving, fixed, tolerance);
  const best = found[0];
  if (!best)
    throw new Fault({
      code: 'place-no-match',
      what: 'The two lists of targets do not match: no triangle of one has the sides of a triangle of the other.',
      got: `${moving.length} and ${fixed.length} targets, sides compared to ${tolerance} mm`,
      expected: 'at least three targets, not on one line, measured in both scans, in the same unit',
      hint: scaleHint(moving, fixed) ?? 'check the units of both lists, or allow a larger tolerance',
      where,
    });
  const rival = found.find((f) => differs(f, best));
  if (rival && rival.pairs.length === best.pairs.length)
    throw new Fault({
      code: 'place-ambiguous',
      what: 'The targets fit in two different ways equally well.',
      got: `${best.pairs.length} pairs either way (rms ${best.fit.rms.toFixed(3)} and ${rival.fit.rms.toFixed(3)} mm)`,
      expected: 'targets that are not spaced evenly or mirror-symmetrically',
      hint: 'add a target off the pattern, or leave out those that repeat',
      where,
    });
  const limit = options.limit ?? 0.5;
  if (best.fit.rms > limit)
    throw new Fault({
      code: 'place-poor-fit',
      what: 'The targets match, but they do not fit well enough.',
      got: `rms ${best.fit.rms.toFixed(3)} mm over ${best.pairs.length} pairs, scale off by ${(best.fit.scaleError * 100).toFixed(3)} %`,
      expected: `at most ${limit} mm`,
      where,
    });
  return { ...best.fit, pairs: best.pairs, ...quantiles(best.fit.residuals), doubts: doubtsOf(best, rival) };
}

function doubtsOf(best: Proposal, rival: Proposal | undefined): string[] {
  const doubts: string[] = [];
  const n = best.pairs.length;
  if (n === 3) doubts.push('only three targets match: there is no check on them');
  const across = best.fit.spread[1];
  if (across < 20) doubts.push(`the targets lie almost on a line (spread ${across.toFixed(0)} mm across it): the turn about it is weak`);
  if (rival && rival.pairs.length >= n - 1 && n > 3) doubts.push(`another placing fits ${rival.pairs.length} of the ${n} pairs`);
  // What is left once the scale is taken out tells how far chance alone moves it: rms / (spread sqrt(n)).
  const size = Math.hypot(...best.fit.spread);
  const left = Math.sqrt(Math.max(0, best.fit.rms ** 2 - (best.fit.scaleError * size) ** 2));
  if (Math.abs(best.fit.scaleError) > Math.max((4 * left) / (size * Math.sqrt(n)), 1e-4))
    doubts.push(`one of the scans is ${(Math.abs(best.fit.scaleError) * 100).toFixed(3)} % larger than the other`);
  return doubts;
}

interface Proposal {
  readonly fit: RigidFit;
  readonly pairs: readonly (readonly [number, number])[];
}

/** Placings with the most partners first; of equal ones the closest fit first. */
function proposals(moving: readonly Vec3[], fixed: readonly Vec3[], tolerance: number): Proposal[] {
  const m = distances(moving);
  const f = distances(fixed);
  const nm = moving.length;
  const nf = fixed.length;
  const kept = new Map<string, Proposal>();
  // Triangles that a placing already explains need no placing of their own.
  const explained = (pairs: readonly (readonly [number, number])[]): boolean => {
    for (const k of kept.values()) if (pairs.every(([x, y]) => k.pairs.some(([p, q]) => p === x && q === y))) return true;
    return false;
  };
  // Sides of the fixed triangles in order of length, so that the moved side's partners are a run.
  const sides: { a: number; b: number; d: number }[] = [];
  for (let a = 0; a < nf; a++) for (let b = a + 1; b < nf; b++) sides.push({ a, b, d: f[a * nf + b] });
  sides.sort((p, q) => p.d - q.d);
  const lengths = sides.map((s) => s.d);
  for (let i = 0; i < nm; i++)
    for (let j = i + 1; j < nm; j++) {
      const side = m[i * nm + j];
      for (let s = firstAtLeast(lengths, side - tolerance); s < sides.length && lengths[s] <= side + tolerance; s++)
        for (const [a, b] of [
          [sides[s].a, sides[s].b],
          [sides[s].b, sides[s].a],
        ])
          for (let k = j + 1; k < nm; k++) {
            if (height(side, m[i * nm + k], m[j * nm + k]) < LEAST_HEIGHT) continue;
            for (let c = 0; c < nf; c++) {
              if (c === a || c === b) continue;
              if (Math.abs(m[i * nm + k] - f[a * nf + c]) > tolerance || Math.abs(m[j * nm + k] - f[b * nf + c]) > tolerance) continue;
              if (
                explained([
                  [i, a],
                  [j, b],
                  [k, c],
                ])
              )
                continue;
              const seed = fitRigid([moving[i], moving[j], moving[k]], [fixed[a], fixed[b], fixed[c]]);
              if (seed.rms > tolerance) continue;
              keep(kept, settle(moving, fixed, seed.placing, tolerance));
            }
          }
    }
  return [...kept.values()].sort((p, q) => q.pairs.length - p.pairs.length || p.fit.rms - q.fit.rms);
}

function keep(kept: Map<string, Proposal>, p: Proposal | null): void {
  if (!p) return;
  const key = p.pairs.map((q) => q.join(':')).join(' ');
  if (!kept.has(key)) kept.set(key, p);
}

/** Pairs every moved target with the nearest fixed one within the tolerance, each used once, and fits again until nothing changes. */
function settle(moving: readonly Vec3[], fixed: readonly Vec3[], start: Rigid, tolerance: number): Proposal | null {
  let placing = start;
  let last = '';
  for (let round = 0; round < 8; round++) {
    const pairs = partners(moving, fixed, placing, tolerance);
    if (pairs.length < 3) return null;
    const fit = fitRigid(
      pairs.map(([i]) => moving[i]),
      pairs.map(([, j]) => fixed[j]),
    );
    const key = pairs.map((q) => q.join(':')).join(' ');
    if (key === last) return { fit, pairs };
    last = key;
    placing = fit.placing;
  }
  return null;
}

function partners(moving: readonly Vec3[], fixed: readonly Vec3[], placing: Rigid, tolerance: number): [number, number][] {
  const close: { i: number; j: number; d: number }[] = [];
  moving.forEach((p, i) => {
    const q = moveBy(placing, p);
    fixed.forEach((r, j) => {
      const d = distance(q, r);
      if (d <= tolerance) close.push({ i, j, d });
    });
  });
  close.sort((a, b) => a.d - b.d);
  const usedI = new Set<number>();
  const usedJ = new Set<number>();
  const pairs: [number, number][] = [];
  for (const { i, j } of close) {
    if (usedI.has(i) || usedJ.has(j)) continue;
    usedI.add(i);
    usedJ.add(j);
    pairs.push([i, j]);
  }
  return pairs.sort((a, b) => a[0] - b[0]);
}

/** Whether two placings pair some target differently, rather than one lacking pairs of the other. */
function differs(a: Proposal, b: Proposal): boolean {
  const partner = new Map(b.pairs);
  const shared = a.pairs.filter(([i, j]) => partner.get(i) === j).length;
  return shared < Math.min(3, a.pairs.length);
}

function distances(points: readonly Vec3[]): Float64Array {
  const n = points.length;
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) out[i * n + j] = distance(points[i], points[j]);
  return out;
}

/** Least height of a triangle with the sides a, b, c (Heron). */
function height(a: number, b: number, c: number): number {
  const s = (a + b + c) / 2;
  const area = Math.sqrt(Math.max(0, s * (s - a) * (s - b) * (s - c)));
  return (2 * area) / Math.max(a, b, c);
}

function firstAtLeast(sorted: readonly number[], value: number): number {
  let lo = 0;
  let hi = sorted.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (sorted[mid] < value) lo = mid + 1;
    else hi = mid;
  }
  return lo;
}

/** When the lists look like the same thing in two units, says so. */
function scaleHint(moving: readonly Vec3[], fixed: readonly Vec3[]): string | undefined {
  const largest = (p: readonly Vec3[]): number => Math.max(...distances(p));
  const k = largest(moving) / largest(fixed);
  const known: [number, string][] = [
    [25.4, 'inches against mm'],
    [10, 'cm against mm'],
    [1000, 'metres against mm'],
  ];
  for (const [factor, name] of known)
    if (Math.abs(Math.log(k / factor)) < 0.2 || Math.abs(Math.log(k * factor)) < 0.2)
      return `the lists look like ${name}: give both in the same unit`;
  return undefined;
}

import { type Field, sampleField } from '../core/field.ts';
import { add, cross, distance, frameOf, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import type { Tube } from './tubes.ts';

/** A stretch of a tube along or through a body, and the bore it needs there. */
export interface Bore {
  /** Index of the tube in the list. */
  readonly tube: number;
  /** Tube and clearance on both sides, mm. */
  readonly diameter: number;
  readonly from: Vec3;
  readonly to: Vec3;
  /** Along the centre line, mm. */
  readonly length: number;
  /** Whether the body goes all the way round; otherwise the bore is a slot, open over `openAngle` degrees (mean along it). */
  readonly enclosed: boolean;
  readonly openAngle: number;
  /**
   * What it takes from the body, mm3: the bore's cross-section over its length, of which an open slot counts the share of the
   * circumference that the body borders.
   */
  readonly cost: number;
  /** Thinnest wall, mm, between the bore and the body's next face or next bore, and where; Infinity for an open slot's open side. */
  readonly web: number;
  readonly webAt: Vec3;
}

/** Directions round the axis in which the body is looked for. */
const ROUND = 72;
/** Less of the circumference than this and the tube only passes by, degrees. */
const LEAST_TOUCH = 30;
/** Open over less than this, degrees, counts as enclosed: about what one cell hides. */
const CLOSED = 10;

/**
 * The bores that tubes need in a body (positive inside, mm, already clear of the tubes by `clearance`). Around each place of a
 * centre line the body is looked for just outside the bore.
 */
export function boresIn(body: Field, tubes: readonly Tube[], clearance: number): Bore[] {
  return tubes.flatMap((t, index) => boresOf(body, t, clearance).map((b) => ({ tube: index, ...b })));
}

interface Slice {
  readonly at: Vec3;
  readonly piece: number;
  /** Directions, of ROUND, in which the body borders the bore. */
  readonly beside: number;
  readonly web: number;
}

function boresOf(body: Field, tube: Tube, clearance: number): Omit<Bore, 'tube'>[] {
  const radius = tube.diameter / 2 + clearance;
  const out: Omit<Bore, 'tube'>[] = [];
  let run: Slice[] = [];
  const finish = (): void => {
    if (run.length > 0) out.push(boreOf(run, radius));
    run = [];
  };
  for (let i = 1; i < tube.axis.length; i++) {
    const [a, b] = [tube.axis[i - 1], tube.axis[i]];
    const long = distance(a, b);
    if (long === 0) continue;
    const n = Math.max(1, Math.ceil((2 * long) / body.grid.step));
    for (let k = 0; k < n; k++) {
      const slice = sliceAt(body, add(a, scale(sub(b, a), (k + 0.5) / n)), normalize(sub(b, a)), { radius, piece: long / n });
      if (slice.beside * (360 / ROUND) >= LEAST_TOUCH) {
        // A tube that is enclosed for a while and then runs in a slot needs two different bores.
        if (run.length > 0 && isClosed(run[0]) !== isClosed(slice)) finish();
        run.push(slice);
      } else finish();
    }
  }
  finish();
  return joined(out);
}

const isClosed = (s: Slice): boolean => (ROUND - s.beside) * (360 / ROUND) <= CLOSED;

function boreOf(run: readonly Slice[], radius: number): Omit<Bore, 'tube'> {
  let length = 0;
  let covered = 0;
  let web = Infinity;
  let webAt = run[0].at;
  for (const s of run) {
    length += s.piece;
    covered += (s.piece * s.beside) / ROUND;
    if (s.web < web) {
      web = s.web;
      webAt = s.at;
    }
  }
  const openAngle = 360 * (1 - covered / length);
  return {
    diameter: 2 * radius,
    from: run[0].at,
    to: run[run.length - 1].at,
    length,
    enclosed: isClosed(run[0]),
    openAngle: isClosed(run[0]) ? 0 : openAngle,
    cost: Math.PI * radius * radius * (isClosed(run[0]) ? length : covered),
    web,
    webAt,
  };
}

/** Leaves out stretches shorter than a quarter of their diameter: the ends of a bore, where the body's face is slanted. */
const joined = (bores: readonly Omit<Bore, 'tube'>[]): Omit<Bore, 'tube'>[] => bores.filter((b) => b.length >= b.diameter / 4);

/** One look round the axis: in how many directions the body begins at the bore, and how thick it is at least. */
function sliceAt(body: Field, at: Vec3, axis: Vec3, { radius, piece }: { radius: number; piece: number }): Slice {
  const { step } = body.grid;
  const [u] = frameOf(axis);
  const v = cross(axis, u);
  let beside = 0;
  let web = Infinity;
  for (let r = 0; r < ROUND; r++) {
    const t = (2 * Math.PI * r) / ROUND;
    const out = add(scale(u, Math.cos(t)), scale(v, Math.sin(t)));
    const thick = thicknessAlong(body, at, out, radius + 1.5 * step);
    if (thick <= 0) continue;
    beside++;
    web = Math.min(web, thick + 1.5 * step);
  }
  return { at, piece, beside, web };
}

/** How far the body reaches along a ray from `from` mm on, 0 when it is not there. The field changes by at most 1 mm per mm. */
function thicknessAlong(body: Field, at: Vec3, d: Vec3, from: number): number {
  const { grid } = body;
  const most = grid.step * (grid.nx + grid.ny + grid.nz);
  let t = from;
  while (t < from + most) {
    const p = add(at, scale(d, t));
    const v = inGrid(body, p) ? sampleField(body, p) : -1;
    if (v <= 0) break;
    t += Math.max(v, grid.step / 8);
  }
  return t - from;
}

function inGrid({ grid }: Field, p: Vec3): boolean {
  const n = [grid.nx, grid.ny, grid.nz];
  return p.every((v, a) => v >= grid.origin[a] - grid.step / 2 && v <= grid.origin[a] + grid.step * (n[a] - 0.5));
}

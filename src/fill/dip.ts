import { Fault } from '../core/fault.ts';
import { type Field, sampleField } from '../core/field.ts';
import { MM3_PER_LITRE, RADIANS_PER_DEGREE } from '../core/units.ts';
import { add, cross, distance, dot, length, normalize, scale, sub, type Vec3 } from '../core/vec.ts';
import { type Attitude, apparentUp, UPRIGHT } from './level.ts';
import { centreOf, levelOf, type Profile, profileOf, volumeBelow } from './profile.ts';

/** One line of a dip chart: height of the level over the cavity's lowest point, in mm and in percent, what lies below it, and its centre. */
export interface DipRow {
  readonly percent: number;
  readonly height_mm: number;
  readonly volume_l: number;
  readonly mass_kg: number;
  readonly centre_mm: Vec3;
}

export interface DipChart {
  readonly name?: string;
  readonly pitch_deg: number;
  readonly lean_deg: number;
  readonly rows: readonly DipRow[];
}

/** Bins a percent: rows stand on bin edges, so they are exact; readings between them are interpolated. */
const FINE = 4;

/**
 * Litres, mass and centre against height at an attitude, in 1 % steps of the height. `density` kg/m3; `total` mm3 is the cavity's volume
 * where it is known. All parts of the cavity are taken to share one level.
 */
export const dipChart = (cavity: Field, attitude: Attitude, fluid: { density: number; total?: number }): DipChart => ({
  ...(attitude.name ? { name: attitude.name } : {}),
  pitch_deg: attitude.pitch,
  lean_deg: attitude.lean,
  rows: dipRows(dipProfile(cavity, attitude, fluid.total), fluid.density),
});

/** The profile that a chart at an attitude is read from. */
export const dipProfile = (cavity: Field, attitude: Attitude, total?: number): Profile =>
  profileOf(cavity, apparentUp(attitude), 100 * FINE, total);

/** The lines of a chart, from its profile. */
export function dipRows(p: Profile, density: number): DipRow[] {
  return Array.from({ length: 101 }, (_, i): DipRow => {
    const v = p.below[i * FINE];
    return {
      percent: i,
      height_mm: p.levels[i * FINE] - p.levels[0],
      volume_l: v / MM3_PER_LITRE,
      mass_kg: (v * density) / 1e9,
      centre_mm: centreOf(p, v),
    };
  });
}

/** The chart as CSV text with a heading line. */
export function dipCsv(rows: readonly DipRow[]): string {
  const lines = rows.map((r) =>
    [r.percent, r.height_mm.toFixed(2), r.volume_l.toFixed(4), r.mass_kg.toFixed(4), ...r.centre_mm.map((x) => x.toFixed(2))].join(','),
  );
  return `${['percent', 'height_mm', 'volume_l', 'mass_kg', 'x_mm', 'y_mm', 'z_mm'].join(',')}\n${lines.join('\n')}\n`;
}

/** Charts at several attitudes as one CSV text: the attitude's name and angles in front of each line. */
export function dipChartsCsv(charts: readonly DipChart[]): string {
  const [head] = dipCsv([]).split('\n');
  const quoted = (text: string): string => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const lines = charts.flatMap((c) =>
    dipCsv(c.rows)
      .trimEnd()
      .split('\n')
      .slice(1)
      .map((line) => `${quoted(c.name ?? '')},${c.pitch_deg},${c.lean_deg},${line}`),
  );
  return `${[`attitude,pitch_deg,lean_deg,${head}`, ...lines].join('\n')}\n`;
}

/** A float on an arm. */
export interface Sender {
  /** Where the arm turns, mm. */
  readonly pivot: Vec3;
  /** From the pivot to the float when the arm lies level, any length: only its direction counts. */
  readonly along: Vec3;
  /** From the pivot to the float's waterline, mm. */
  readonly arm: number;
  /** Swing, degrees above level; 5-degree steps when `step` is left out. */
  readonly from: number;
  readonly to: number;
  readonly step?: number;
  /** The float must keep so far from the cavity's border, mm. */
  readonly floatRadius?: number;
}

export interface SenderRow {
  readonly angle_deg: number;
  readonly height_mm: number;
  readonly volume_l: number;
  /** False where the float would touch the wall or leave the cavity. */
  readonly clear: boolean;
}

/** Litres against the angle of a sender's arm that swings upright in the vehicle, read at an attitude. Fault `sender-arm`. */
export function senderTable(cavity: Field, sender: Sender, attitude: Attitude = UPRIGHT, total?: number): SenderRow[] {
  const side = cross(sender.along, [0, 0, 1]);
  const step = sender.step ?? 5;
  if (!(length(side) > 1e-9 * length(sender.along)) || !(sender.arm > 0) || !(sender.to > sender.from) || !(step > 0))
    throw new Fault({
      code: 'sender-arm',
      what: "The sender's arm cannot swing.",
      got: `along ${sender.along.join(', ')}, arm ${sender.arm} mm, from ${sender.from} to ${sender.to} degrees in steps of ${step}`,
      expected: 'a direction that is not straight up, a positive length, and an end above the start',
    });
  const level = normalize(sub(sender.along, [0, 0, sender.along[2]]));
  const p = dipProfile(cavity, attitude, total);
  const count = Math.floor((sender.to - sender.from) / step + 1e-9);
  return Array.from({ length: count + 1 }, (_, i): SenderRow => {
    const angle = sender.from + i * step;
    const a = angle * RADIANS_PER_DEGREE;
    const float = add(sender.pivot, scale(add(scale(level, Math.cos(a)), [0, 0, Math.sin(a)]), sender.arm));
    const height = dot(p.up, float);
    return {
      angle_deg: angle,
      height_mm: height - p.levels[0],
      volume_l: volumeBelow(p, height) / MM3_PER_LITRE,
      clear: sampleField(cavity, float) >= (sender.floatRadius ?? 0),
    };
  });
}

export function senderCsv(rows: readonly SenderRow[]): string {
  const lines = rows.map((r) => [r.angle_deg, r.height_mm.toFixed(2), r.volume_l.toFixed(4), r.clear ? 'yes' : 'no'].join(','));
  return `angle_deg,height_mm,volume_l,clear\n${lines.join('\n')}\n`;
}

/** Where the fluid's centre goes when the vehicle tips with `fill` mm3 in the tank: the free surface's effect. */
export interface CentreShift {
  readonly pitch_deg: number;
  readonly lean_deg: number;
  readonly centre_mm: Vec3;
  /** From the upright centre, mm. */
  readonly shift_mm: number;
  readonly height_mm: number;
}

/** Centres of `fill` mm3 at each attitude, against upright, whose profile also says how much the cavity holds. */
export function centreShifts(cavity: Field, attitudes: readonly Attitude[], fill: number, upright: Profile): CentreShift[] {
  const total = upright.below[upright.below.length - 1];
  const middle = centreOf(upright, fill);
  return attitudes.map((a) => {
    const stands = distance(apparentUp(a), upright.up) === 0;
    const p = stands ? upright : dipProfile(cavity, a, total);
    const centre = centreOf(p, fill);
    return {
      pitch_deg: a.pitch,
      lean_deg: a.lean,
      centre_mm: centre,
      shift_mm: distance(centre, middle),
      height_mm: levelOf(p, fill) - p.levels[0],
    };
  });
}

import type { QuickResult } from './quick.ts';
import type { Bounded, ResultFile, TankVolume } from './result.ts';

/** One figure of the sheet, ready to print. */
export interface Figure {
  readonly key: string;
  readonly label: string;
  readonly value: string;
  readonly unit: string;
  /** The bounds in words, or what the figure means. */
  readonly bounds: string;
  /** Large on the sheet, a line of its own, or two to a line. */
  readonly rank: 'main' | 'line' | 'small';
  /** Of the dials before, while the newer one is being reckoned. */
  readonly stale?: boolean;
}

const TANK: readonly [TankVolume, string, string][] = [
  ['rated_l', 'Rated volume', 'what may be filled'],
  ['usable_l', 'Usable volume', 'rated less what cannot reach the pickup'],
  ['brim_l', 'Brim volume', 'filled to the mouth'],
  ['ullage_l', 'Ullage', 'room left for expansion'],
  ['outer_l', 'Outer volume', 'the body as a solid'],
  ['wall_l', 'Wall', 'material'],
];

/** Every figure that the result holds, the main ones first. Prints no digit that the bounds do not carry. */
export function figuresOf(r: ResultFile): Figure[] {
  const out: Figure[] = [];
  const volume = (key: string, label: string, v: Bounded | undefined, rank: Figure['rank']): void => {
    if (v) out.push({ key, label, ...bounded(v), unit: 'l', rank });
  };
  const plain = (key: string, label: string, v: number | undefined, how: { unit: string; digits: number; says?: string }): void => {
    if (v !== undefined) out.push({ key, label, value: v.toFixed(how.digits), unit: how.unit, bounds: how.says ?? '', rank: 'small' });
  };
  volume('envelope', 'Envelope', r.envelope?.volume_l, 'main');
  volume('reclaimed', 'Reclaimed', r.reclaimed?.volume_l, 'main');
  for (const [key, label] of TANK) volume(key, label, r.tank?.[key], key === 'rated_l' ? 'main' : 'line');
  const ball = r.envelope?.largest_ball;
  plain('ball', 'Largest ball', ball && ball.radius_mm * 2, { unit: 'mm', digits: 0, says: 'across' });
  plain('pieces', 'Pieces', r.envelope?.pieces, { unit: '', digits: 0 });
  plain('holes', 'Through-holes', r.envelope?.through_holes, { unit: '', digits: 0 });
  plain('inside', 'Inside area', r.tank?.inside_area_dm2, { unit: 'dm²', digits: 1 });
  plain('dry', 'Mass, dry', r.tank?.dry_mass_kg, { unit: 'kg', digits: 1 });
  plain('full', 'Mass, full', r.tank?.full_mass_kg, { unit: 'kg', digits: 1 });
  return out;
}

/** The figures that turned dials give. */
export function quickFigures(r: QuickResult): Figure[] {
  const { tank } = r;
  const out = figuresOf({ job: { name: '' }, envelope: r.envelope_l && { volume_l: r.envelope_l }, tank });
  // Only at the attitude that is dialled; the fine run's is that of the worst one.
  const usable = out.findIndex((f) => f.key === 'usable_l');
  if (usable >= 0) out[usable] = { ...out[usable], label: 'Usable as it is' };
  const held = (key: string, label: string, litres: number | undefined): Figure[] =>
    litres === undefined ? [] : [{ key, label, value: litres.toFixed(2), unit: 'l', bounds: '', rank: 'small' }];
  return [...out, ...held('trapped', 'Trapped air', tank?.trapped_l), ...held('stranded', 'Stranded fuel', tank?.stranded_l)];
}

/** Value and bounds with as many decimals as half the width between the bounds allows; bounds are rounded outwards. */
export function bounded(v: Bounded): { value: string; bounds: string } {
  const half = Math.max(v.high - v.value, v.value - v.low);
  const digits = half > 0 ? Math.min(3, Math.max(0, Math.ceil(-Math.log10(half) - 1e-9))) : 3;
  const unit = 10 ** digits;
  // The small slack keeps 13.3 from becoming 13.2 by its binary form.
  const low = Math.floor(v.low * unit + 1e-6) / unit;
  const high = Math.ceil(v.high * unit - 1e-6) / unit;
  return { value: v.value.toFixed(digits), bounds: `${low.toFixed(digits)} to ${high.toFixed(digits)}` };
}

/** What the figures mean, for someone who was not there. */
export const MEANINGS: Readonly<Record<string, string>> = {
  envelope: 'The room that a ball of the least radius reaches from the start without coming nearer to any neighbour than its clearance.',
  reclaimed: 'The part of the envelope that was not free with the removed part in place.',
  rated_l: 'What may be filled: brim volume less ullage.',
  usable_l: 'Rated volume less what cannot reach the pickup at the worst attitude.',
  brim_l: 'The inside filled to the mouth.',
  ullage_l: 'Room that stays empty for expansion.',
  outer_l: 'The body as a solid.',
  wall_l: 'Material of the wall.',
  ball: 'Diameter of the largest ball that fits.',
  pieces: 'How many parts the envelope has.',
  holes: 'Passages right through it, as where a tube runs.',
  inside: 'Surface of the inside.',
  dry: 'Wall alone.',
  full: 'Wall and the rated volume of the fluid at 15 °C.',
};

/** True when the result speaks of litres that fuel might fill. */
export const hasFuel = (r: ResultFile): boolean => r.tank !== undefined;

/** Printed wherever litres of a tank are shown. */
export const CAUTION =
  'Estimate only. Not a certified capacity, and not a strength, leak, fire or road-legality check. Qualified people design, test and fit under local rules. A fuel tank that looks empty can explode: hot work only when gas-free, by specialists.';

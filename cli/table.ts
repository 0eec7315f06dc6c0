import type { Note } from '../src/core/fault.ts';
import type { Bounded, Result, TankResult } from '../src/report/result.ts';
import { at, boundedText, count, decimals, labelled, num, row, sized, WIDTH, wrap } from './lines.ts';
import { moreRows } from './rows.ts';
import { datumRows } from './rows-datum.ts';
import { placingRows } from './rows-placings.ts';
import { tankPlaceRows } from './rows-tank.ts';

/** Notes of one kind that are printed. */
const NOTES = 3;
/** Necks that are printed; the result file has them all. */
const NECKS = 5;

/**
 * The result as a plain table, at most 80 columns wide. A figure has as many digits as its bounds allow: the last one printed is not
 * finer than half the width between them. Bounds are rounded outwards.
 */
export function resultTable(result: Result): string {
  const { envelope: e, grid, reclaimed, tank } = result;
  const lines = [
    ...wrap(result.job.name, ''),
    ...wrap(
      `cells of ${num(grid.step_mm)} mm, ${grid.dims.join(' x ')}; change at twice the step ${grid.change_at_double_step_l >= 0 ? '+' : ''}${sized(grid.change_at_double_step_l)} l`,
      '',
    ),
    '',
    row('', 'litres', 'from', 'to'),
    volumeRow('Envelope', e.volume_l),
    ...(reclaimed ? [volumeRow('Reclaimed', reclaimed.volume_l)] : []),
  ];
  if (tank)
    lines.push(
      volumeRow(`Tank, outside`, tank.outer_l),
      volumeRow(`  wall${result.job.tank ? ` of ${num(result.job.tank.wall)} mm` : ''}`, tank.wall_l),
      volumeRow('  filled to the brim', tank.brim_l),
      volumeRow('  ullage', tank.ullage_l),
      volumeRow(`  rated volume, ${tank.fluid.name}`, tank.rated_l),
      volumeRow('  vapour space above it', tank.vapour_l),
      volumeRow('  stranded at the worst attitude', tank.stranded_l),
      volumeRow('  usable volume', tank.usable_l),
    );
  lines.push(
    '',
    ...labelled(
      'Envelope',
      `${sized(e.area_dm2)} dm2 of surface, ${boxText(e.box_mm)}, ${count(e.pieces, 'piece')}, ${count(e.through_holes, 'through-hole')}`,
    ),
    ...labelled('Ball', `the largest is ${sized(2 * e.largest_ball.radius_mm)} mm across, at ${at(e.largest_ball.centre_mm)}`),
    ...labelled('Start', `${at(e.start_mm)}: ${e.start_from}`),
  );
  if (tank) lines.push(...tankRows(tank), ...tankPlaceRows(tank));
  lines.push(...moreRows(result), ...radiusRows(result), ...neckRows(result));
  lines.push(...datumRows(result.datum));
  lines.push(...placingRows(result.placings ?? []), ...noteRows(result.notes));
  lines.push('', ...result.cautions.flatMap((c) => wrap(c, '! ')));
  return `${lines.join('\n')}\n`;
}

const volumeRow = (name: string, v: Bounded): string => {
  const [value, low, high] = boundedText(v);
  return row(name, value, low, high);
};

function tankRows(tank: TankResult): string[] {
  const { ullage_covers_k: covers, attitudes } = tank;
  const digits = decimals(tank.usable_l);
  const warm = covers === null ? '' : `, ullage for ${Math.floor(covers)} K of warming from 15 C`;
  const lines = labelled(
    'Tank',
    `${sized(tank.inside_area_dm2)} dm2 inside, ${sized(tank.wetted_area_dm2)} dm2 of it wetted, ${massText(tank)}${warm}`,
  );
  if (attitudes.length > 0) lines.push('', row('Attitude', 'trapped', 'stranded', 'usable'));
  for (const a of attitudes) {
    const name = `${a.name ? `${a.name}: ` : ''}nose up ${num(a.pitch_deg)}, lean ${num(a.lean_deg)}`;
    lines.push(row(`  ${name}`, ...[a.trapped_l, a.stranded_l, a.usable_l].map((v) => v.toFixed(digits))));
  }
  return lines;
}

/** Masses are as uncertain as the litres that they come from. */
function massText({ wall_l, rated_l, dry_mass_kg, full_mass_kg }: TankResult): string {
  const per = (mass: number, litres: Bounded): number => (litres.value > 0 ? mass / litres.value : 0);
  const scaled = (b: Bounded, k: number, plus: number): Bounded => ({
    value: b.value * k + plus,
    low: b.low * k + plus,
    high: b.high * k + plus,
  });
  const dry = scaled(wall_l, per(dry_mass_kg, wall_l), 0);
  const fluid = scaled(rated_l, per(full_mass_kg - dry_mass_kg, rated_l), 0);
  const full = { value: full_mass_kg, low: dry.low + fluid.low, high: dry.high + fluid.high };
  return `${boundedText(dry)[0]} kg dry, ${boundedText(full)[0]} kg with the rated volume`;
}

/** Doubts and remarks; of many of one kind the first few, and how many more the result file has. */
function noteRows(notes: readonly Note[]): string[] {
  const seen = new Map<string, number>();
  const lines: string[] = [];
  for (const note of notes) {
    const n = (seen.get(note.code) ?? 0) + 1;
    seen.set(note.code, n);
    if (n <= NOTES) lines.push(...wrap(note.text, '  - '));
    const all = notes.filter((other) => other.code === note.code).length;
    if (n === NOTES + 1) lines.push(...wrap(`${all - NOTES} more like the ${NOTES} before are in the result file.`, '  - '));
  }
  return lines.length ? ['', 'Notes', ...lines] : [];
}

function radiusRows({ envelope }: Result): string[] {
  const points = envelope.by_radius;
  if (points.length === 0) return [];
  const digits = decimals(envelope.volume_l);
  const cells = points.map((p) => [num(p.radius_mm), p.volume_l.toFixed(digits)]);
  const width = Math.max(...cells.flat().map((c) => c.length)) + 2;
  const fit = Math.floor((WIDTH - 14) / width);
  const lines = ['', 'Volume that a ball of each radius reaches (at twice the step)'];
  for (let i = 0; i < cells.length; i += fit) {
    const part = cells.slice(i, i + fit);
    lines.push(
      `  radius, mm  ${part.map((c) => c[0].padStart(width)).join('')}`,
      `  litres      ${part.map((c) => c[1].padStart(width)).join('')}`,
    );
  }
  return lines;
}

function neckRows({ envelope }: Result): string[] {
  if (envelope.necks.length === 0) return [];
  const shown = envelope.necks.slice(0, NECKS);
  const more = envelope.necks.length - shown.length;
  return [
    '',
    `Necks (narrow places, and the room behind them)${more > 0 ? `; ${more} more in result.json` : ''}`,
    ...shown.flatMap((n) => {
      const between = n.between.length > 1 ? `between ${n.between.slice(0, -1).join(', ')} and ${n.between.at(-1)}` : `at ${n.between[0]}`;
      return wrap(
        `${sized(n.diameter_mm)} mm wide at ${at(n.at_mm)}, ${between}: ${n.behind_l.toFixed(decimals(envelope.volume_l))} l behind, ${n.passed ? 'in the envelope' : 'left out'}`,
        '  - ',
      );
    }),
  ];
}

const boxText = (b: { min: readonly number[]; max: readonly number[] }): string =>
  `${b.min.map((v, a) => Math.round(b.max[a] - v)).join(' x ')} mm`;

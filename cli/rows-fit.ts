import type { Note } from '../src/core/fault.ts';
import type { FollowedWay, Stand, TrialResult, TurnedWay } from '../src/fit/trial.ts';
import type { BodyAbout } from './body.ts';
import { at, count, num, row, sized, wrap } from './lines.ts';
import { directionText } from './rows.ts';

interface Fit {
  readonly mesh: BodyAbout;
  readonly vehicles: readonly (TrialResult & { readonly job: string; readonly notes: readonly Note[] })[];
  readonly cautions: readonly string[];
}

/** Patches of one obstacle, and obstacles well clear, that are named; --json has them all. */
const PATCHES = 3;
const CLEAR = 5;
/** Places of a path that are listed. */
const POSES = 20;

/** A trial fit as a plain table, at most 80 columns wide. */
export function fitTable({ mesh, vehicles, cautions }: Fit): string {
  const lines = wrap(
    `${mesh.file}: ${mesh.format}, taken as ${mesh.unit}, ${mesh.faces} faces, ${vehicles[0].body.volume_l.toFixed(2)} l`,
    '',
  );
  if (vehicles.length > 1) lines.push('', ...sisterRows(vehicles));
  for (const v of vehicles) {
    lines.push('', ...wrap(v.job, ''), ...standRows(v.as_placed), ...movedRows(v), ...wayRows(v));
    if (v.notes.length > 0) lines.push('', 'Notes', ...v.notes.flatMap((n) => wrap(n.text, '  - ')));
  }
  lines.push('', ...cautions.flatMap((c) => wrap(c, '! ')));
  return `${lines.join('\n')}\n`;
}

const mm = (v: number): string => v.toFixed(2);
/** A bound that holds as printed. */
const down = (v: number): string => mm(Math.floor(v * 100 + 1e-9) / 100);

function sisterRows(vehicles: Fit['vehicles']): string[] {
  return [
    row('Least slack, mm', 'as placed', 'moved', 'goes in'),
    ...vehicles.map((v) =>
      row(`  ${v.job}`, down(v.as_placed.least_slack_mm), v.moved ? down(v.moved.least_slack_mm) : '-', yesNo(v.way.works)),
    ),
  ];
}

const yesNo = (v: boolean | null): string => (v === null ? '-' : v ? 'yes' : 'not found');

function standRows(s: Stand): string[] {
  const lines = [row('  closest to', 'is, mm', 'asked, mm', 'slack, mm')];
  const order = [...s.obstacles].sort((a, b) => (a.slack_mm ?? Infinity) - (b.slack_mm ?? Infinity));
  const wrong = order.filter((o) => !o.pass);
  const clear = order.filter((o) => o.pass);
  for (const o of [...wrong, ...clear.slice(0, CLEAR)]) {
    if (o.slack_mm === null || o.at_least_mm === null) {
      lines.push(row(`  ${o.name}`, 'nothing', num(o.asked_mm)));
      continue;
    }
    lines.push(row(`  ${o.name}`, o.relation === 'apart' ? down(o.at_least_mm) : 'crosses', num(o.asked_mm), down(o.slack_mm)));
    if (!o.pass && o.inside) lines.push(...wrap(`reaches ${sized(o.inside.depth_mm)} mm into the body at ${at(o.inside.at_mm)}`, '      '));
    else if (!o.pass && o.relation !== 'apart') lines.push(...wrap(o.relation, '      '));
    for (const p of o.patches.slice(0, PATCHES))
      lines.push(...wrap(`lacks up to ${sized(p.depth_mm)} mm over ${sized(p.area_mm2 / 100)} cm2 at ${at(p.at_mm)}`, '      '));
    if (o.patches.length > PATCHES) lines.push(`      and ${count(o.patches.length - PATCHES, 'more place')}`);
  }
  if (clear.length > CLEAR) lines.push(`  and ${clear.length - CLEAR} more, all with more room`);
  if (s.pass) return [...lines, '  It keeps every clearance that the job asks.'];
  const inside = s.interference_l > 0 ? `, and ${sized(s.interference_l)} l of it inside the scanned parts themselves` : '';
  return [...lines, ...wrap(`It comes too near: ${sized(s.too_near_l)} l of the body lie inside the clearances${inside}.`, '  ')];
}

function movedRows({ moved, as_placed: before }: TrialResult): string[] {
  if (!moved) return ['  No small move inside the limits gives it more room.'];
  const { shift_mm, turn_deg, held_by } = moved.move;
  const three = (v: readonly number[], digits: number): string => `[${v.map((x) => x.toFixed(digits)).join(', ')}]`;
  const held = [...new Set(held_by.map((h) => h.obstacle))].slice(0, 4).join(', ');
  const end = moved.move.settled ? '' : '; more rounds might find a little more';
  return wrap(
    `Shifted by ${three(shift_mm, 2)} mm and turned by ${three(turn_deg, 2)} degrees about its middle, its least slack is ${down(moved.least_slack_mm)} mm instead of ${down(before.least_slack_mm)}: ${moved.pass ? 'it then keeps every clearance' : 'still too near'} (held by ${held})${end}.`,
    '  ',
  );
}

function wayRows({ way }: TrialResult): string[] {
  const off = way.off.length > 0 ? `with ${way.off.join(', ')} off` : 'with nothing taken off';
  if (way.works === null) return wrap('Ways in were not looked for: the body crosses a part where it sits.', '  ');
  const lines = way.tried.flatMap((f) => wayLine(f, f.works ? 'Slides out along' : 'Does not slide out along'));
  for (const p of way.put_on) lines.push(...wayLine(p, p.works ? `${p.part} goes on along` : `${p.part} does not go on along`));
  const kept = `${num(way.clearance_mm)} mm kept while it slides`;
  const head = wrap(`Way in, ${off}, ${kept}: ${way.works ? 'found' : 'none found'}`, '  ');
  if (way.turned) return [...head, ...lines, ...turnedRows(way.turned)];
  const straight = way.works
    ? []
    : wrap(
        'Only straight ways were tried: a body that turns or takes a corner may still go in (fit: turn_in in the job). None found is not impossible.',
        '  ',
      );
  return [...head, ...lines, ...straight];
}

const place = (name: string, shift: string, turn: string): string => `    ${name.padEnd(8)}${shift.padStart(30)}${turn.padStart(30)}`;

/** A path by shifts and turns as a table of poses; where none was found, what that means. */
function turnedRows(t: TurnedWay): string[] {
  if (!t.works)
    return wrap(
      `No way with turns was found in ${num(t.seconds)} s (${t.moves_tried} moves tried), which does not mean that there is none.`,
      '    ',
    );
  const where = t.obstacle ? `, there nearest to ${t.obstacle}${t.at_mm ? ` at ${at(t.at_mm)}` : ''}` : '';
  const told = wrap(
    `Comes out with shifts and turns, ${down(t.least_slack_mm)} mm to spare at the tightest moment (proved for the whole path: ${down(t.at_least_mm)})${where}.`,
    '    ',
  );
  const list = (v: readonly number[], digits: number): string => v.map((x) => x.toFixed(digits)).join(', ');
  const poses = t.path.slice(0, POSES).map((p, i) => place(`${i}`, list(p.shift_mm, 1), list(p.turn_deg, 1)));
  const rest = t.path.length > POSES ? [`    and ${count(t.path.length - POSES, 'more place')} (--json has all)`] : [];
  return [...told, place('place', 'shift, mm', 'turn, degrees'), ...poses, ...rest];
}

function wayLine(f: FollowedWay, words: string): string[] {
  const met = f.obstacle ? ` ${f.works ? 'nearest to' : 'stopped by'} ${f.obstacle}${f.at_mm ? ` at ${at(f.at_mm)}` : ''}` : '';
  const rest = f.works
    ? `${down(f.least_slack_mm)} mm to spare (proved: ${down(f.at_least_mm)}),`
    : `stopped after ${Math.floor(f.travel_mm)} mm,`;
  return wrap(`${words} ${directionText(f.direction)}: ${rest}${met || ' nothing near'}`, '    ');
}

import type { ItemResult } from '../src/stow/items.ts';
import type { StowageResult } from '../src/stow/result.ts';
import { at, num, row, sized, wrap } from './lines.ts';

/** Lines of the table on stowage. `direction` tells a direction in words. */
export function stowageRows(s: StowageResult, direction: (d: readonly number[]) => string): string[] {
  const lines = ['', `Stowage${s.lining_mm > 0 ? `, inside a lining of ${num(s.lining_mm)} mm` : ''}`];
  lines.push(...wrap(openingText(s, direction), '  '), ...largestRows(s));
  if (s.blocks_l !== undefined) {
    const on = s.blocks_bound_on_mm ? `, ${num(s.blocks_bound_on_mm)} mm apart` : '';
    const bound = s.blocks_bound_l === s.blocks_l ? `(no more can${on})` : `(at most ${s.blocks_bound_l}${on})`;
    lines.push(row('  blocks of 200 x 100 x 50 mm', `${s.blocks_l}`, bound));
  }
  for (const i of s.items ?? []) lines.push(row(`  ${i.name}`, `${i.fits} of ${i.asked}`, why(i)));
  for (const i of s.luggage ?? []) if (i.fits > 0) lines.push(row(`  ${i.name}`, `${i.fits} of ${i.asked}`));
  return lines;
}

function openingText({ opening: o, room_l, reached_l }: StowageResult, direction: (d: readonly number[]) => string): string {
  if (o.by === 'point') return `put in through the opening at ${at(o.at_mm)}, items by straight moves from there`;
  if (o.by === 'not asked') return 'no opening was named and no way in asked for: how things get there was not looked at';
  if (o.by === 'no way') return 'nothing slides out any way that was tried: nothing can be put in';
  const off = o.off.length > 0 ? ` with ${o.off.join(', ')} off` : '';
  return `put in by the way ${direction(o.direction)}${off}, ${num(o.clearance_mm)} mm kept while it slides: ${sized(reached_l)} of ${sized(room_l)} l are reached`;
}

function largestRows({ largest }: StowageResult): string[] {
  if (!largest) return [];
  const sides = (v: readonly number[]): string => v.map((x) => Math.floor(x)).join(' x ');
  const { ball, cylinder, box, box_turned: turned } = largest;
  const tall =
    cylinder && `${Math.floor(2 * cylinder.radius_mm)} across, ${Math.floor(cylinder.height_mm)} high, ${sized(cylinder.volume_l)} l`;
  const lines = [
    row('  largest ball', ball ? `${sized(2 * ball.radius_mm)} mm across` : 'none'),
    row('  largest upright cylinder', tall ?? 'none'),
    row('  largest box along the axes', box ? `${sides(box.size_mm)} mm, ${sized(box.volume_l)} l` : 'none'),
  ];
  if (turned && (!box || turned.volume_l > 1.01 * box.volume_l))
    lines.push(row('  largest box, turned', `${sides(turned.size_mm)} mm, ${sized(turned.volume_l)} l`));
  return lines;
}

/** Why not all of an item are in. */
function why({ fits, asked, stands, reached }: ItemResult): string {
  if (fits === asked) return '';
  if (!stands) return '(too large for the room)';
  if (!reached) return '(room for it, but out of reach)';
  return fits === 0 ? '(not beside the others)' : '(no more beside the others)';
}

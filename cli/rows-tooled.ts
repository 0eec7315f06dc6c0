import type { PullFigures } from '../src/make/pull.ts';
import type { Spot } from '../src/make/samples.ts';
import type { MouldReport, Tooled } from '../src/pipeline/tooling.ts';
import { at, count, num, row, sized, wrap } from './lines.ts';
import { directionText } from './rows.ts';

/** Lines of the table on parts to print and on what a plug or a mould takes. */
export const tooledLines = ({ print, mould }: Tooled): string[] => [
  ...(print ? printLines(print) : []),
  ...(mould ? mouldLines(mould) : []),
];

function printLines(p: NonNullable<Tooled['print']>): string[] {
  const alone = p.parts.length === 1;
  const pegs = alone ? '' : `${count(p.pegs, 'peg')} of ${num(p.peg_mm.diameter)} mm with ${num(p.peg_mm.gap)} mm all round; `;
  return [
    '',
    ...wrap(
      `Stand-in to print: ${count(p.parts.length, 'part')}, ${pegs}${alone ? 'closed' : 'each is closed, none overlap'}, ${p.parts_l.toFixed(3)} l in all`,
      '',
    ),
    ...p.parts.map((q) => row(`  ${q.name}`, `${q.volume_l.toFixed(2)} l`, `${q.size_mm.map((v) => Math.round(v)).join(' x ')}`)),
    ...(alone ? [] : wrap(`Put together: ${p.order}.`, '  ')),
  ];
}

const percent = (v: number): string => `${v.toFixed(v < 10 ? 1 : 0)} %`;

/** The largest places of a share. */
const where = (list: readonly Spot[]): string =>
  list
    .slice(0, 2)
    .map((s) => `${sized(s.area_cm2)} cm2 at ${at(s.at_mm)}`)
    .join(', ');

function mouldLines(m: MouldReport): string[] {
  const { shrinkage: s, foam, cutter, thickness: t } = m;
  const blockText = (b: MouldReport['least_block']): string =>
    `${b.size_mm.map((v) => Math.ceil(v)).join(' x ')} mm, ${sized(b.volume_l)} l${b.fits === null ? '' : b.fits ? ', fits the machine' : ', TOO LARGE for the machine'}`;
  const lines = [
    '',
    ...wrap(`Plug or mould: ${m.process.name}, figures from ${m.process.source}`, ''),
    ...wrap(`least block, stock included: ${blockText(m.least_block)}`, '  '),
    ...wrap(`block along the pull: ${blockText(m.pull_block)}`, '  '),
    ...wrap(
      `foam of ${foam.sheet_mm.map(num).join(' x ')} mm: ${count(foam.layers.length, 'layer')}, ${count(foam.pieces, 'piece')}, ${count(foam.sheets, 'sheet')}`,
      '  ',
    ),
    ...wrap(
      `shrinks by ${num(s.percent)} %: mould of ${s.mould_mm.map((v) => v.toFixed(1)).join(' x ')} mm; the usual range leaves ${s.doubt_mm.toFixed(1)} mm of doubt over the longest`,
      '  ',
    ),
    ...pullLines(m.pull, m.draft_deg, m.pull_given ? 'drawn' : 'drawn along the best way found,'),
    ...(m.pull_given ? pullLines(m.best_pull, m.draft_deg, 'the best way found is') : []),
  ];
  const usual = m.process.inside_radius_mm;
  for (const [name, c, more] of [
    ['plug', cutter.plug, ''],
    ['mould', cutter.mould, usual === null ? '' : ` (usual for the part: at least ${num(usual)})`],
  ] as const)
    lines.push(
      ...wrap(
        `${name}: least inside radius ${c.least_radius_mm.toFixed(1)} mm${more}; a ball cutter of ${num(cutter.radius_mm)} mm leaves ${percent(c.unreached_percent)} of the surface${c.unreached.length > 0 ? `: ${where(c.unreached)}` : ''}`,
        '  ',
      ),
    );
  lines.push(
    ...wrap(
      `thinnest place ${t.least_mm.toFixed(1)} mm${t.at_mm ? ` at ${at(t.at_mm)}` : ''}; ${percent(t.thin_percent)} is thinner than ${num(t.asked_mm)} mm${t.thin.length > 0 ? `: ${where(t.thin)}` : ''}`,
      '  ',
    ),
  );
  const money = (v: number): string => `${v.toFixed(2)}${m.currency ? ` ${m.currency}` : ''}`;
  for (const c of m.costs) lines.push(row(`  ${c.what}, ${sized(c.count)}`, money(c.sum), `at ${money(c.price)}, your price`));
  return lines;
}

function pullLines(p: PullFigures, draft: number, lead: string): string[] {
  return wrap(
    `${lead} ${directionText(p.direction)}: ${percent(p.two_part_percent)} of the surface is undercut for two parts, ${percent(p.one_part_percent)} for one${p.undercuts.length > 0 ? `: ${where(p.undercuts)}` : ''}; ${percent(p.low_draft_percent)} has less draft than ${num(draft)} deg`,
    '  ',
  );
}

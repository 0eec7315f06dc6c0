import type { NearLoop, Survey } from '../src/pipeline/survey.ts';
import type { LoopSurvey, PieceSurvey, ScanSurvey } from '../src/scan/survey.ts';
import { at, count, num, sized, WIDTH, wrap } from './lines.ts';

/** Of each kind that is listed by place; the JSON has more. */
const LISTED = 3;
const RESCAN = 10;
const PIECES = 4;
/** From this share of its area on a scan is said to be there twice, percent. */
const DOUBLE = 0.5;

/** The survey as plain text, at most 80 columns wide: what to scan again first, then scan by scan. */
export function surveyTable({ scans, unit, envelope, notes }: Survey): string {
  const lines: string[] = [];
  if (envelope) {
    lines.push(`Envelope of ${sized(envelope.volume_l)} l: what bounds it, by share of its surface`);
    for (const b of envelope.bounded_by)
      lines.push(`  ${cut(b.name, 50).padEnd(52)}${b.percent.toFixed(b.percent < 10 ? 1 : 0).padStart(6)} %`);
    lines.push('', ...rescanLines(envelope.rescan));
    lines.push(
      ...wrap(
        envelope.rescan.length > 0
          ? `${sized(envelope.border_in_doubt_percent)} % of the envelope's surface lies within reach of these; ${litres(envelope.in_doubt_l)} l would go if every one were closed flat.`
          : 'Nothing of its surface hangs on a hole.',
        '',
      ),
      ...envelope.undecided_inside.flatMap((u) =>
        wrap(`${litres(u.volume_l)} l of it may lie inside ${u.name}: its scan is too open there to tell.`, ''),
      ),
      '',
    );
  }
  lines.push(
    ...wrap(`Unit: ${unit.used}${unit.used === unit.likely ? '' : `, though ${unit.likely} is likelier`}; ${unit.reason}.`, ''),
    '',
  );
  lines.push(...overview(scans), ...scans.flatMap(scanLines));
  if (notes.length > 0) lines.push('', 'Notes', ...notes.flatMap((n) => wrap(n.text, '  - ')));
  return `${lines.join('\n')}\n`;
}

const litres = (l: number): string => (l < 0.001 ? 'less than 0.001' : l < 0.1 ? l.toFixed(3) : l.toFixed(2));
const cut = (name: string, most: number): string => (name.length > most ? `${name.slice(0, most - 3)}...` : name);

function rescanLines(loops: readonly NearLoop[]): string[] {
  if (loops.length === 0) return ['Rescan here: no opening comes near the envelope.'];
  const more = loops.length - RESCAN;
  return [
    `Rescan here (openings near the envelope, largest first)${more > 0 ? `; ${more} more with --json` : ''}`,
    ...loops
      .slice(0, RESCAN)
      .flatMap((l) =>
        wrap(
          `${l.scan}: ${mm(l.width_mm)} wide, ${mm(l.across_mm)} across, at ${at(l.at_mm)}, ${mm(l.from_envelope_mm ?? 0)} from the envelope`,
          '  - ',
        ),
      ),
  ];
}

const mm = (v: number): string => `${v < 10 ? v.toFixed(1) : Math.round(v)} mm`;

const NAME = 20;
const grouped = (n: number): string => n.toLocaleString('en').replace(/,/g, ' ');

/** One line a scan. */
function overview(scans: readonly ScanSurvey[]): string[] {
  const head = ['triangles', 'dm2', 'pieces', 'specks', 'borders', 'spacing', 'noise'];
  const widths = [10, 8, 8, 8, 9, 9, 8];
  const line = (name: string, cells: readonly string[]): string =>
    `${cut(name, NAME - 1).padEnd(NAME)}${cells.map((c, i) => c.padStart(widths[i])).join('')}`.slice(0, WIDTH);
  return [
    line('Scan', head),
    ...scans.map((s) =>
      line(s.scan, [
        s.triangles > 0 ? grouped(s.triangles) : `${grouped(s.points)}*`,
        s.triangles > 0 ? (s.area_dm2 < 0.01 ? '< 0.01' : sized(s.area_dm2)) : '-',
        String(s.pieces),
        String(s.specks),
        s.triangles > 0 ? String(s.loops) : '-',
        s.spacing_mm.toFixed(2),
        s.noise_mm === null ? '-' : s.noise_mm.toFixed(3),
      ]),
    ),
    ...(scans.some((s) => s.triangles === 0) ? ['* points'] : []),
    'Spacing and noise in mm; noise is roughness about a smooth surface, never warp.',
  ];
}

/** What a scan has that its line does not tell; nothing when all is well. */
function scanLines(s: ScanSurvey): string[] {
  const found: string[] = [];
  found.push(`${s.size_mm.map((v) => Math.round(v)).join(' x ')} mm from ${at(s.box_mm.min)}`);
  if (s.pieces > 1) {
    const more = s.pieces - PIECES;
    const pieces = s.largest_pieces.slice(0, PIECES).map(pieceText).join('; ');
    found.push(`pieces: ${pieces}${more > 0 ? `; ${more} smaller` : ''}`);
  }
  if (s.closed) found.push(`closed, ${sized(s.volume_l ?? 0)} l`);
  if (s.inside_out) found.push('inside out: its faces point inwards');
  if (s.largest_loops.length > 0) found.push(`longest borders: ${s.largest_loops.slice(0, LISTED).map(loopText).join('; ')}`);
  const [speck] = s.largest_specks;
  if (speck) found.push(`${count(s.specks, 'speck')} left out, the largest ${mm(speck.across_mm)} across at ${at(speck.at_mm)}`);
  if (s.flipped.length > 0) {
    const [f] = s.flipped;
    found.push(
      `${count(s.flipped.length, 'patch').replace('patchs', 'patches')} the wrong way round, the largest ${sized(f.area_dm2)} dm2 at ${at(f.at_mm)}`,
    );
  }
  if (s.double_sheets.area_percent >= DOUBLE)
    found.push(
      `${sized(s.double_sheets.area_percent)} % of it is there twice, ${num(Number(s.double_sheets.apart_mm.toFixed(2)))} mm apart`,
    );
  if (s.duplicate_triangles > 0) found.push(`${count(s.duplicate_triangles, 'triangle')} there twice`);
  if (s.crowded_edges > 0) found.push(`${count(s.crowded_edges, 'edge')} where more than two triangles meet`);
  if (s.degenerate_triangles > 0) found.push(`${count(s.degenerate_triangles, 'triangle')} without an area`);
  return ['', cut(s.scan, WIDTH), ...found.flatMap((t) => wrap(t, '  - '))];
}

const pieceText = ({ piece, triangles, points, size_mm, at_mm, on_mm }: PieceSurvey): string =>
  `${piece}. ${grouped(triangles || points)} ${triangles > 0 ? 'triangles' : 'points'}, ${size_mm.map((v) => Math.round(v)).join(' x ')} mm, middle ${at(at_mm)}, on it ${at(on_mm)}`;

const loopText = (l: LoopSurvey): string => `${mm(l.length_mm)} at ${at(l.at_mm)}`;

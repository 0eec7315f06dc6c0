import type { CoarseHeader } from '../src/report/coarse.ts';
import type { Dials } from './quick.ts';
import type { ResultFile } from './result.ts';

/** One dial: what it turns, over what range. */
export interface Dial {
  readonly key: keyof Omit<Dials, 'clearances'>;
  readonly label: string;
  readonly unit: string;
  readonly min: number;
  readonly max: number;
  readonly step: number;
  /** What one unit on the dial is in Dials: percent against share. */
  readonly per: number;
}

/** The dials that this result can have; those of the tank only where there is one. */
export function dialsFor(r: ResultFile, header: CoarseHeader): Dial[] {
  const cell = header.grid.step;
  const dial = (key: Dial['key'], label: string, unit: string, range: readonly [number, number, number], per = 1): Dial => ({
    key,
    label,
    unit,
    min: range[0],
    max: range[1],
    step: range[2],
    per,
  });
  const least = Math.min(...header.obstacles.map((o) => o.clearance), 20);
  const room = [
    dial('clearance', 'Clearances, more by', 'mm', [header.obstacles.some((o) => o.clearance > 0) ? -least : -10, 30, 0.5]),
    dial('radius', 'Least radius', 'mm', [cell / 2, 60, 0.5]),
  ];
  if (!r.tank) return room;
  return [
    ...room,
    dial('wall', 'Wall', 'mm', [1, 15, 0.5]),
    dial('ullage', 'Ullage', '%', [0, 20, 0.5], 0.01),
    dial('pitch', 'Pitch, nose up', '°', [-45, 45, 1]),
    dial('lean', 'Lean, to the right', '°', [-45, 45, 1]),
    dial('fill', 'Filled, of rated', '%', [0, 100, 1], 0.01),
  ];
}

/** Where the dials stand in the fine run. */
export function firstDials(r: ResultFile): Dials {
  const tank = r.job.tank || undefined;
  return {
    clearance: 0,
    clearances: {},
    radius: r.envelope?.least_radius_mm ?? r.job.least_radius ?? 8,
    wall: tank?.wall ?? 4,
    ullage: (r.tank?.ullage_percent ?? 5) / 100,
    pitch: 0,
    lean: 0,
    fill: 1,
  };
}

/** What of these dials belongs into the job file, as its lines. */
export function jobLines(d: Dials, first: Dials, header: CoarseHeader): string[] {
  const out: string[] = [];
  if (d.radius !== first.radius) out.push(`least_radius: ${d.radius}`);
  const tank = [
    d.wall !== first.wall ? `wall: ${d.wall}` : '',
    d.ullage !== first.ullage ? `ullage: ${Number((d.ullage * 100).toFixed(2))} %` : '',
  ];
  if (tank.some(Boolean)) out.push(`tank: { ${tank.filter(Boolean).join(', ')} }`);
  const changed = header.obstacles.filter((o) => d.clearance !== 0 || d.clearances[o.name] !== undefined);
  if (changed.length > 0) out.push('scans:');
  for (const o of changed) out.push(`  ${o.name}: { clearance: ${(d.clearances[o.name] ?? o.clearance) + d.clearance} }`);
  return out;
}

export const sameDials = (a: Dials, b: Dials): boolean => writeDials(a, b) === '';

/** What differs from `first`, for the address: "clearance:2,wall:5,of frame:6". */
export function writeDials(d: Dials, first: Dials): string {
  const out: string[] = [];
  for (const key of ['clearance', 'radius', 'wall', 'ullage', 'pitch', 'lean', 'fill'] as const)
    if (d[key] !== first[key]) out.push(`${key}:${Number(d[key].toFixed(4))}`);
  for (const [name, mm] of Object.entries(d.clearances)) out.push(`of ${name}:${mm}`);
  return out.map(encodeURIComponent).join(',');
}

/** Reads it back; what makes no sense is left at `first`. */
export function readDials(text: string, first: Dials): Dials {
  const clearances: Record<string, number> = {};
  const plain: Record<string, number> = {};
  for (const part of text.split(',').map(decodeURIComponent)) {
    const at = part.lastIndexOf(':');
    const value = Number(part.slice(at + 1));
    if (at < 1 || !Number.isFinite(value)) continue;
    const name = part.slice(0, at);
    if (name.startsWith('of ')) clearances[name.slice(3)] = value;
    else plain[name] = value;
  }
  const of = (key: Dial['key']): number => plain[key] ?? first[key];
  return {
    clearance: of('clearance'),
    clearances,
    radius: of('radius'),
    wall: of('wall'),
    ullage: of('ullage'),
    pitch: of('pitch'),
    lean: of('lean'),
    fill: of('fill'),
  };
}

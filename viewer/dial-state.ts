import type { JobChanges } from '../src/job/changes.ts';
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

/** What of these dials the job itself can ask for: the fine run takes it in place of the job's own. Undefined when there is nothing of it. */
export function changesOf(d: Dials, first: Dials, header: CoarseHeader): JobChanges | undefined {
  const changed = header.obstacles.filter((o) => !o.mates && (d.clearance !== 0 || d.clearances[o.name] !== undefined));
  const tidy = (v: number): number => Number(v.toFixed(4));
  const out = {
    ...(d.radius !== first.radius ? { least_radius: d.radius } : {}),
    ...(d.wall !== first.wall ? { wall: d.wall } : {}),
    ...(d.ullage !== first.ullage ? { ullage: tidy(d.ullage) } : {}),
    ...(changed.length > 0
      ? { clearances: Object.fromEntries(changed.map((o) => [o.name, tidy((d.clearances[o.name] ?? o.clearance) + d.clearance)])) }
      : {}),
  };
  return Object.keys(out).length > 0 ? out : undefined;
}

/** The same as lines of a job file. */
export function jobLines({ least_radius, wall, ullage, clearances = {} }: JobChanges): string[] {
  const out: string[] = [];
  if (least_radius !== undefined) out.push(`least_radius: ${least_radius}`);
  const tank = [
    wall !== undefined ? `wall: ${wall}` : '',
    ullage !== undefined ? `ullage: ${Number((Number(ullage) * 100).toFixed(2))} %` : '',
  ];
  if (tank.some(Boolean)) out.push(`tank: { ${tank.filter(Boolean).join(', ')} }`);
  const names = Object.entries(clearances);
  if (names.length > 0) out.push('scans:');
  for (const [name, mm] of names) out.push(`  ${name}: { clearance: ${mm} }`);
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

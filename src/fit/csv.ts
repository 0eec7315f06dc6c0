import type { RouteResult } from './result.ts';
import type { PathPose } from './trial.ts';

const line = (cells: readonly (string | number)[]): string => `${cells.join(',')}\n`;
/** A text as one cell (RFC 4180). */
const quoted = (s: string): string => (/[",\r\n]/.test(s) ? `"${s.replaceAll('"', '""')}"` : s);
const mm = (v: number): string => v.toFixed(2);

/** Centre lines of all hoses: one row a point, in order, with the length so far; mm. */
export function routesCsv(routes: readonly RouteResult[]): string {
  let out = line(['hose', 'point', 'x_mm', 'y_mm', 'z_mm', 'along_mm']);
  for (const r of routes) {
    let along = 0;
    r.line.forEach((p, i) => {
      if (i > 0) along += Math.hypot(...p.map((v, a) => v - r.line[i - 1][a]));
      out += line([quoted(r.name), i + 1, ...p.map(mm), mm(along)]);
    });
  }
  return out;
}

/**
 * A path by shifts and turns from the seat to the open, one row a pose: shift of the body's middle, mm, and rotation vector about it, degrees. From row to
 * row the shift runs in a line and the turn about one axis, both at even speed; it goes in by the rows from last to first.
 */
export function pathCsv(path: readonly PathPose[]): string {
  let out = line(['pose', 'shift_x_mm', 'shift_y_mm', 'shift_z_mm', 'turn_x_deg', 'turn_y_deg', 'turn_z_deg']);
  path.forEach((p, i) => {
    out += line([i + 1, ...p.shift_mm.map((v) => v.toFixed(3)), ...p.turn_deg.map((v) => v.toFixed(4))]);
  });
  return out;
}

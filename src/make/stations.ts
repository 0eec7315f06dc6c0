import type { Field } from '../core/field.ts';
import { cross, dot, normalize, type Vec3 } from '../core/vec.ts';
import type { SectionPlane } from '../field/outlines.ts';

/** Where along the unit vector `direction` the set { f >= 0 } begins and ends, mm: exact for a distance met head on, at most half a cell too far else. */
export function extentAlong(field: Field, direction: Vec3): [number, number] {
  const { grid, data } = field;
  const { nx, ny } = grid;
  let [low, high] = [Infinity, -Infinity];
  for (let c = 0; c < data.length; c++) {
    if (!(data[c] >= 0)) continue;
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / (nx * ny));
    const at = dot(grid.origin, direction) + grid.step * (i * direction[0] + j * direction[1] + k * direction[2]);
    // A distance field goes on for its own value beyond a cell.
    const reach = Math.min(data[c], grid.step);
    low = Math.min(low, at - reach);
    high = Math.max(high, at + reach);
  }
  return [low, high];
}

/** Stations every `every` mm, at whole multiples, strictly between `low` and `high`. */
export function stationsEvery(every: number, [low, high]: readonly [number, number]): number[] {
  const out: number[] = [];
  for (let i = Math.floor(low / every) + 1; i * every < high; i++) out.push(i * every);
  return out;
}

/**
 * The plane at distance `station` along the unit vector `axis`, seen against the axis. Up in the drawing is +z as far as it goes (for
 * stations along z, +y is up), so stations along x show y to the right and stations along y show -x; coordinates are those of the vehicle
 * measured along the plane's u and v.
 */
export function stationPlane(axis: Vec3, station: number): SectionPlane {
  const up: Vec3 = Math.abs(axis[2]) < 0.9 ? [0, 0, 1] : [0, 1, 0];
  const u = normalize(cross(up, axis));
  return { origin: [axis[0] * station, axis[1] * station, axis[2] * station], u, v: cross(axis, u) };
}

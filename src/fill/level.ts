import { Fault } from '../core/fault.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellAt } from '../core/grid.ts';
import { RADIANS_PER_DEGREE } from '../core/units.ts';
import { add, length, normalize, scale, type Vec3 } from '../core/vec.ts';

/**
 * How the vehicle stands: pitch (nose up +) and lean (to the right +), degrees. `acceleration` of the vehicle along its own forward,
 * left and up, in g: braking at 0.6 g is [-0.6, 0, 0]; it tilts the apparent vertical. Axes: x forward, y left, z up.
 */
export interface Attitude {
  readonly pitch: number;
  readonly lean: number;
  readonly acceleration?: Vec3;
  readonly name?: string;
}

export const UPRIGHT: Attitude = { pitch: 0, lean: 0 };

/** Unit vector against the apparent gravity, in the vehicle's axes. Fault `attitude-weightless` when nothing is felt. */
export function apparentUp(a: Attitude): Vec3 {
  const p = a.pitch * RADIANS_PER_DEGREE;
  const l = a.lean * RADIANS_PER_DEGREE;
  // The vehicle is leaned about its forward axis, then pitched: this is the world's up seen from inside it.
  const up: Vec3 = [Math.sin(p), Math.sin(l) * Math.cos(p), Math.cos(l) * Math.cos(p)];
  const [ax, ay, az] = a.acceleration ?? [0, 0, 0];
  const felt: Vec3 = [up[0] + ax, up[1] + ay, up[2] + az];
  const n = length(felt);
  if (!(n > 1e-3))
    throw new Fault({
      code: 'attitude-weightless',
      what: 'At this attitude and acceleration nothing is pressed down, so there is no level.',
      got: `pitch ${a.pitch}, lean ${a.lean}, acceleration ${[ax, ay, az].join(', ')} g`,
    });
  return scale(felt, 1 / n);
}

/** Height of the cavity's highest point in each cell along `up`, mm; -Infinity outside. */
export function heights(cavity: Field, up: Vec3): Field {
  const { grid, data: f } = cavity;
  const { step, origin } = grid;
  const out = new Float32Array(f.length);
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++) {
      const row = up[1] * (origin[1] + j * step) + up[2] * (origin[2] + k * step);
      for (let i = 0; i < grid.nx; i++, c++) out[c] = f[c] > 0 ? row + up[0] * (origin[0] + i * step) + Math.min(f[c], step) : -Infinity;
    }
  return { grid, data: out };
}

/** The cavity's cell nearest to `p`. */
export function outletCell(cavity: Field, p: Vec3, within: number): number {
  const { grid, data } = cavity;
  const own = cellAt(grid, p);
  if (own >= 0 && data[own] > 0) return own;
  let best = -1;
  let least = (within + grid.step) ** 2;
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        if (!(data[c] > 0)) continue;
        const d =
          (grid.origin[0] + i * grid.step - p[0]) ** 2 +
          (grid.origin[1] + j * grid.step - p[1]) ** 2 +
          (grid.origin[2] + k * grid.step - p[2]) ** 2;
        if (d < least) {
          least = d;
          best = c;
        }
      }
  if (best < 0)
    throw new Fault({
      code: 'outlet-outside',
      what: 'A filler, vent or pickup is not at the cavity.',
      got: p.map((x) => x.toFixed(1)).join(', '),
      expected: `a point within ${within} mm of it`,
    });
  return best;
}

/**
 * Where an outlet that was given at `p` meets the cavity, mm. A point on the cavity's border is taken as it is (between the cells an edge reads
 * up to half a cell short); one farther outside, on the body's skin say, goes straight in by its distance.
 */
export function outletPoint(cavity: Field, p: Vec3): Vec3 {
  const h = cavity.grid.step;
  const depth = sampleField(cavity, p);
  if (depth >= -0.6 * h) return p;
  const rate = (d: Vec3): number => sampleField(cavity, add(p, scale(d, h / 2))) - sampleField(cavity, add(p, scale(d, -h / 2)));
  return add(p, scale(normalize([rate([1, 0, 0]), rate([0, 1, 0]), rate([0, 0, 1])]), -depth));
}

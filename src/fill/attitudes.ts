import type { Field } from '../core/field.ts';
import { cellCentre, cellCount } from '../core/grid.ts';
import { dot, type Vec3 } from '../core/vec.ts';
import { flood } from '../field/flood.ts';
import { volumeByLabel } from '../field/integrate.ts';
import { heights, outletCell, outletPoint } from './level.ts';

/** What cannot leave the cavity along one direction: a connected bubble of air above, or a pool below. */
export interface Pocket {
  /** mm3. */
  readonly volume: number;
  /** Its farthest point along the direction, mm, and how far that lies beyond its lip, mm. */
  readonly at: Vec3;
  readonly depth: number;
}

export interface HeldBack {
  /** mm3, all pockets together. */
  readonly volume: number;
  /** Largest first. */
  readonly pockets: readonly Pocket[];
  /** Positive in the pockets, mm; cut at each pocket's lip between the cells. Nothing but its positive part and its zero means anything. */
  readonly field: Field;
}

export interface HeldLimits {
  /** How far an outlet may stand off the cavity, mm; default 20. */
  readonly within?: number;
  /** Pockets whose lip is at this height along `up` or beyond are left out, mm. */
  readonly lipBelow?: number;
}

/** Pockets that are less than this many cells deep are the grid's own unevenness. */
const LEAST_DEPTH = 0.3;

/**
 * What stays behind in `cavity` (positive inside, a distance near its border) when it can only move along `up` (unit) towards the
 * outlets, never against it. Air with up and the vents; fuel with down and the pickups.
 *
 * A point is held back when every path to an outlet must first go back below the point's own height: a maximin flood of the height.
 * A cell counts as high as the cavity reaches in it, so ceilings between the cells are met at their own height, and the volumes are cut
 * at the lip's height within the cells. Quasi-static, air not compressed. Exact on the cells' heights; the volume is second order
 * in the cell for pockets with clean lips. Fault `outlet-outside` when an outlet is farther than `within` mm from the cavity.
 */
export function heldBack(cavity: Field, up: Vec3, outlets: readonly Vec3[], limits: HeldLimits = {}): HeldBack {
  const { within = 20, lipBelow = Infinity } = limits;
  const { grid } = cavity;
  const top = heights(cavity, up);
  const sources: number[] = [];
  for (const p of outlets) {
    const cell = outletCell(cavity, p, within);
    // The outlet is where the point is, not where its cell ends.
    top.data[cell] = dot(up, outletPoint(cavity, p));
    sources.push(cell);
  }
  const reach = flood(top, sources).reach.data;
  const { found, cut, labels } = collect({ cavity, up, top: top.data, reach, lipBelow });
  const field: Field = { grid, data: cut };
  const volumes = found.length === 0 ? new Float64Array(0) : volumeByLabel(field, labels, found.length);
  const pockets = found
    .map((p, i): Pocket => ({ volume: volumes[i], at: cellCentre(grid, p.at), depth: p.peak - p.lip }))
    .sort((a, b) => b.volume - a.volume);
  return { volume: volumes.reduce((sum, v) => sum + v, 0), pockets, field };
}

interface Found {
  readonly lip: number;
  readonly peak: number;
  readonly at: number;
}

interface Collecting {
  readonly cavity: Field;
  readonly up: Vec3;
  readonly top: Float32Array;
  readonly reach: Float32Array;
  readonly lipBelow: number;
}

/** Groups the cells that lie above their reach, drops the shallow groups, and cuts the rest at their lips. */
function collect({ cavity, up, top, reach, lipBelow }: Collecting): { found: Found[]; cut: Float32Array; labels: Int32Array } {
  const { grid } = cavity;
  const n = cellCount(grid);
  const cut = new Float32Array(n).fill(-grid.step);
  const labels = new Int32Array(n).fill(-1);
  const seen = new Uint8Array(n);
  const found: Found[] = [];
  const held = (c: number): boolean => top[c] > reach[c];
  for (let s = 0; s < n; s++) {
    if (seen[s] || !held(s)) continue;
    // Within a group the reach is one number, the height of its lip; where no path leads at all it is infinitely low.
    const members = gather(grid, s, held, seen);
    const lip = reach[s];
    let at = s;
    for (const c of members) if (top[c] > top[at]) at = c;
    if (top[at] - lip < LEAST_DEPTH * grid.step || lip >= lipBelow) continue;
    for (const c of members) labels[c] = found.length;
    for (const c of members) cutRound({ cavity, up, cut, labels, held }, c, lip);
    found.push({ lip, peak: top[at], at });
  }
  return { found, cut, labels };
}

/** All cells that hang together with `start` through faces and are held. */
function gather(grid: Field['grid'], start: number, held: (c: number) => boolean, seen: Uint8Array): number[] {
  const { nx, ny, nz } = grid;
  const slice = nx * ny;
  const members = [start];
  seen[start] = 1;
  const visit = (d: number): void => {
    if (seen[d] || !held(d)) return;
    seen[d] = 1;
    members.push(d);
  };
  for (let m = 0; m < members.length; m++) {
    const c = members[m];
    const i = c % nx;
    const j = Math.floor(c / nx) % ny;
    const k = Math.floor(c / slice);
    if (i > 0) visit(c - 1);
    if (i + 1 < nx) visit(c + 1);
    if (j > 0) visit(c - nx);
    if (j + 1 < ny) visit(c + nx);
    if (k > 0) visit(c - slice);
    if (k + 1 < nz) visit(c + slice);
  }
  return members;
}

interface Cutting {
  readonly cavity: Field;
  readonly up: Vec3;
  readonly cut: Float32Array;
  readonly labels: Int32Array;
  readonly held: (c: number) => boolean;
}

/**
 * Writes min(cavity, height - lip) into a pocket's cell and, at the pocket's edge, two cells round it, so that the integral sees the
 * plane of the lip and its slope between cells.
 */
function cutRound({ cavity, up, cut, labels, held }: Cutting, c: number, lip: number): void {
  const { grid, data: f } = cavity;
  const { nx, ny, nz, step, origin } = grid;
  const ci = c % nx;
  const cj = Math.floor(c / nx) % ny;
  const ck = Math.floor(c / (nx * ny));
  const edge =
    ci === 0 ||
    cj === 0 ||
    ck === 0 ||
    ci + 1 === nx ||
    cj + 1 === ny ||
    ck + 1 === nz ||
    labels[c - 1] !== labels[c] ||
    labels[c + 1] !== labels[c] ||
    labels[c - nx] !== labels[c] ||
    labels[c + nx] !== labels[c] ||
    labels[c - nx * ny] !== labels[c] ||
    labels[c + nx * ny] !== labels[c];
  const ring = edge ? 2 : 0;
  for (let k = Math.max(0, ck - ring); k <= Math.min(nz - 1, ck + ring); k++)
    for (let j = Math.max(0, cj - ring); j <= Math.min(ny - 1, cj + ring); j++)
      for (let i = Math.max(0, ci - ring); i <= Math.min(nx - 1, ci + ring); i++) {
        const d = i + nx * (j + ny * k);
        const above = up[0] * (origin[0] + i * step) + up[1] * (origin[1] + j * step) + up[2] * (origin[2] + k * step) - lip;
        // A neighbour above the lip that is not of this pocket belongs to another part behind a thin wall.
        if (f[d] > 0 && above > 0 && !held(d)) continue;
        const v = Math.min(f[d], above);
        if (v > cut[d] || cut[d] === -step) cut[d] = v;
      }
}

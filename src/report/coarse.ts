import type { Context } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import type { Vec3 } from '../core/vec.ts';
import { distanceToMesh } from '../field/distance.ts';
import type { Scan } from '../scan/scan.ts';
import { moves, sweptDistance } from '../space/moving.ts';
import { standOff } from '../space/slack.ts';

/**
 * The coarse distance fields that the dials work from: coarse.json and coarse.bin in a result folder.
 *
 * coarse.json is the header below. coarse.bin is the gzip of the fields one after the other, in the header's order. A field is one
 * int16 a cell, x fastest, in units of `quantum` mm, each stored as its difference (modulo 2^16) from what the seven cells before it would make it
 * if the field were a sum of functions of two axes each (Ibarria et al., Out-of-core compression and decompression of large
 * n-dimensional scalar fields, Computer Graphics Forum 22, 2003); differences of either sign as 0, -1, 1, -2 ... become 0, 1, 2, 3 ...; first the low byte of every
 * cell, then the high one. Differences along x alone, both bytes together (the first way) packed to 1.4 times as much.
 *
 * The fields: the region first (signed distance to its border, positive inside, barriers already taken into account), then
 * one an obstacle (distance to its surface, or, for a small file, a single "every obstacle" whose values are the slack and
 * whose `off` is 0). Values beyond +-32767 quanta are held there; cells well outside the region may hold anything.
 */
export interface CoarseHeader {
  readonly version: 2;
  readonly grid: Grid;
  /** mm a unit; 1/32 is fine. */
  readonly quantum: number;
  /** A point of the envelope, mm: the start that the fine run took. */
  readonly start_mm: Vec3;
  readonly obstacles: readonly CoarseObstacle[];
}

export interface CoarseObstacle {
  readonly name: string;
  /** Clearance of the fine run, mm; the dial starts here. */
  readonly clearance: number;
  /** What is taken off the distance besides the clearance (doubt, radius of a cloud's points), mm. */
  readonly off: number;
  /** The body may touch it: it has no clearance to dial. */
  readonly mates?: true;
}

export interface Coarse {
  readonly header: CoarseHeader;
  /** Region, then obstacles, mm. */
  readonly fields: readonly Float32Array[];
}

const LIMIT = 32767;

/** The bytes of coarse.bin before gzip. */
export function packCoarse(fields: readonly Float32Array[], grid: Grid, quantum: number): Uint8Array {
  const cells = cellCount(grid);
  const out = new Uint8Array(2 * cells * fields.length);
  const q = new Int16Array(cells);
  fields.forEach((f, n) => {
    for (let c = 0; c < cells; c++) q[c] = Math.max(-LIMIT, Math.min(LIMIT, Math.round(f[c] / quantum)));
    for (const axis of axes(grid)) difference(q, axis);
    const low = 2 * n * cells;
    for (let c = 0; c < cells; c++) {
      const folded = (q[c] << 1) ^ (q[c] >> 15);
      out[low + c] = folded;
      out[low + cells + c] = folded >> 8;
    }
  });
  return out;
}

/** Reads the header and the unzipped bytes. Throws an Error with a sentence when they do not belong together. */
export function readCoarse(header: CoarseHeader, bytes: ArrayBuffer): Coarse {
  const { grid, quantum } = header;
  const cells = cellCount(grid);
  const count = header.obstacles.length + 1;
  if (header.version !== 2) throw new Error(`coarse.json is of version ${String(header.version)}, which this page does not know.`);
  if (bytes.byteLength !== 2 * cells * count)
    throw new Error(`coarse.bin holds ${bytes.byteLength} bytes; its header asks for ${2 * cells * count}.`);
  const packed = new Uint8Array(bytes);
  const q = new Int16Array(cells);
  const fields = Array.from({ length: count }, (_, n) => {
    const low = 2 * n * cells;
    for (let c = 0; c < cells; c++) {
      const folded = packed[low + c] | (packed[low + cells + c] << 8);
      q[c] = (folded >> 1) ^ -(folded & 1);
    }
    for (const axis of axes(grid)) sum(q, axis);
    const f = new Float32Array(cells);
    for (let c = 0; c < cells; c++) f[c] = q[c] * quantum;
    return f;
  });
  return { header, fields };
}

/** By axis: how far apart neighbours stand, and the length of a stretch of cells of which the first `stride` have none before them. */
const axes = ({ nx, ny, nz }: Grid): { stride: number; length: number }[] => [
  { stride: 1, length: nx },
  { stride: nx, length: nx * ny },
  { stride: nx * ny, length: nx * ny * nz },
];

/** Each value less the one before it along an axis, in place, modulo 2^16. */
function difference(q: Int16Array, { stride, length }: { stride: number; length: number }): void {
  for (let from = 0; from < q.length; from += length) for (let c = from + length - 1; c >= from + stride; c--) q[c] -= q[c - stride];
}

/** The inverse. */
function sum(q: Int16Array, { stride, length }: { stride: number; length: number }): void {
  for (let from = 0; from < q.length; from += length) for (let c = from + stride; c < from + length; c++) q[c] += q[c - stride];
}

/** mm a unit: values are held to half of it. */
const QUANTUM = 1 / 32;

export interface CoarseInput {
  /** The region's depth, barriers taken into account, on the coarse grid. */
  readonly region: Field;
  readonly obstacles: readonly Scan[];
  readonly start: Vec3;
}

/** How much a clearance may be raised by a dial, mm. */
const DIALLED = 100;

/** Works out the coarse fields, one an obstacle: header, and bytes before gzip. */
export async function coarseFields(
  { region, obstacles, start }: CoarseInput,
  context: Context,
): Promise<{ header: CoarseHeader; bytes: Uint8Array }> {
  const { grid } = region;
  const deepest = region.data.reduce((most, v) => Math.max(most, v), 0);
  const distances = obstacles.map(async (s) => {
    // A moving part comes near from far outside the grid; what lies beyond the region's depth and any clearance never matters.
    const far = deepest + standOff(s) + DIALLED;
    const still = { pad: standOff(s) + grid.step };
    return (moves(s) ? await sweptDistance(s, grid, far, context) : await distanceToMesh(s.mesh, grid, still, context)).data;
  });
  const fields = [region.data, ...(await Promise.all(distances))];
  const header: CoarseHeader = {
    version: 2,
    grid,
    quantum: QUANTUM,
    start_mm: start,
    obstacles: obstacles.map((s) => ({
      name: s.name,
      clearance: s.settings.clearance,
      off: s.settings.doubt + s.radius,
      ...(s.settings.role === 'mates' ? { mates: true } : {}),
    })),
  };
  return { header, bytes: packCoarse(fields, grid, QUANTUM) };
}

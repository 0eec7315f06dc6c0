import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { fieldOf } from '../../src/core/field.ts';
import type { Grid } from '../../src/core/grid.ts';
import { type CoarseHeader, packCoarse } from '../../src/report/coarse.ts';
import { ellipsoid, RESULT, sceneGlb } from './folder.ts';

/**
 * A result folder whose dials have closed forms: the region is a box under a flat lid that stands 40 mm over it and asks for
 * 40 mm, so that every mm of clearance more takes a mm off the box's height.
 */
export const BOX = {
  size: [400, 300, 200],
  centre: [30.7, -11.3, 700.9],
  lid: 40,
  radius: 10,
  wall: 4,
  ullage: 0.05,
  accuracy: 0.25,
} as const;
const STEP = 4;

/**
 * Volume in litres of a box opened by a ball, then with its surface drawn in by `inset` less than the ball's radius: a smaller box
 * dilated by radius less inset. Steiner's formula.
 */
export function roundedBox(size: readonly number[], radius: number, inset = 0): number {
  const [a, b, c] = size.map((v) => v - 2 * radius);
  const r = radius - inset;
  return (a * b * c + 2 * (a * b + b * c + c * a) * r + Math.PI * (a + b + c) * r * r + (4 / 3) * Math.PI * r ** 3) / 1e6;
}

/** Its header and its bytes, packed. */
export function boxCoarse(): { header: CoarseHeader; fields: Float32Array[] } {
  const [cx, cy, cz] = BOX.centre;
  const [a, b, c] = BOX.size.map((v) => v / 2);
  const n = BOX.size.map((v) => Math.ceil(v / STEP) + 4);
  // Faces at no round place between the cells.
  const grid: Grid = {
    origin: [cx - (n[0] * STEP) / 2 + 1.3, cy - (n[1] * STEP) / 2 + 0.7, cz - (n[2] * STEP) / 2 + 2.2],
    step: STEP,
    nx: n[0],
    ny: n[1],
    nz: n[2],
  };
  const region = fieldOf(grid, (x, y, z) => Math.min(a - Math.abs(x - cx), b - Math.abs(y - cy), c - Math.abs(z - cz)));
  const lid = fieldOf(grid, (_x, _y, z) => cz + c + BOX.lid - z);
  const header: CoarseHeader = {
    version: 2,
    grid,
    quantum: 1 / 32,
    start_mm: [cx, cy, cz],
    obstacles: [{ name: 'lid', clearance: BOX.lid, off: 0 }],
  };
  return { header, fields: [region.data, lid.data] };
}

export async function writeBoxFolder(dir: string): Promise<void> {
  const { header, fields } = boxCoarse();
  const job = { name: 'Box under a lid', least_radius: BOX.radius, accuracy: BOX.accuracy, tank: { wall: BOX.wall } };
  const things = {
    envelope: { shape: ellipsoid(BOX.centre, [150, 110, 80]), extras: { kind: 'envelope' } },
    'a block': { shape: ellipsoid(BOX.centre, [40, 40, 40], 8), extras: { kind: 'item' } },
  };
  await writeFile(join(dir, 'result.json'), JSON.stringify({ ...RESULT, tank: { ...RESULT.tank, ullage_percent: 100 * BOX.ullage }, job }));
  await writeFile(join(dir, 'scene.glb'), await sceneGlb(things));
  await writeFile(join(dir, 'coarse.json'), JSON.stringify(header));
  await writeFile(join(dir, 'coarse.bin'), gzipSync(packCoarse(fields, header.grid, header.quantum)));
}

import type { Cloud } from '../core/cloud.ts';
import type { Mesh } from '../core/mesh.ts';
import { boxOfPositions } from '../core/mesh.ts';

/** A cloud as triangles whose three corners fall together, so that the distance kernel takes it as it is. */
export function cloudAsMesh(cloud: Cloud): Mesh {
  const n = cloud.positions.length / 3;
  const indices = new Uint32Array(n * 3);
  for (let i = 0; i < indices.length; i++) indices[i] = Math.floor(i / 3);
  return { origin: cloud.origin, positions: cloud.positions, indices };
}

const SAMPLES = 2000;

/** Median distance from a point to its nearest neighbour, mm, from up to 2000 points spread over the cloud; 0 for a single point. */
export function medianSpacing(cloud: Cloud): number {
  const p = cloud.positions;
  const n = p.length / 3;
  if (n < 2) return 0;
  const box = boxOfPositions([0, 0, 0], p);
  const size = [0, 1, 2].map((a) => Math.max(box.max[a] - box.min[a], 1e-6));
  // Cells that hold about two points of a surface: the area of the box shared out among the points.
  const area = 2 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0]);
  const cell = Math.max(Math.sqrt((2 * area) / n), Math.max(...size) / 1000);
  const key = (x: number, y: number, z: number): number =>
    Math.floor((x - box.min[0]) / cell) + 2048 * (Math.floor((y - box.min[1]) / cell) + 2048 * Math.floor((z - box.min[2]) / cell));
  const cells = new Map<number, number[]>();
  for (let i = 0; i < n; i++) {
    const k = key(p[i * 3], p[i * 3 + 1], p[i * 3 + 2]);
    const list = cells.get(k);
    if (list) list.push(i);
    else cells.set(k, [i]);
  }
  const found: number[] = [];
  const stride = Math.max(1, Math.floor(n / SAMPLES));
  for (let i = 0; i < n; i += stride) {
    let best = Infinity;
    for (let dz = -1; dz <= 1; dz++)
      for (let dy = -1; dy <= 1; dy++)
        for (let dx = -1; dx <= 1; dx++)
          for (const j of cells.get(key(p[i * 3] + dx * cell, p[i * 3 + 1] + dy * cell, p[i * 3 + 2] + dz * cell)) ?? [])
            if (j !== i)
              best = Math.min(best, (p[i * 3] - p[j * 3]) ** 2 + (p[i * 3 + 1] - p[j * 3 + 1]) ** 2 + (p[i * 3 + 2] - p[j * 3 + 2]) ** 2);
    found.push(Math.sqrt(best));
  }
  const near = found.filter(Number.isFinite).sort((a, b) => a - b);
  return near.length > 0 ? near[Math.floor(near.length / 2)] : cell;
}

import type { Mesh } from '../core/mesh.ts';
import { type HoleResult, holesTask, sortHoles } from '../scan/holes.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** Places on the envelope's surface that borders are held against. */
const PLACES = 4000;

/** Open borders of the obstacles, those near the envelope first: where to scan again, for the page to draw. Clouds have none. */
export async function findHoles({ obstacles }: Space, envelope: Mesh, run: Run): Promise<HoleResult[]> {
  const every = Math.max(1, Math.ceil(envelope.positions.length / 3 / PLACES));
  const places = new Float64Array(Math.ceil(envelope.positions.length / 3 / every) * 3);
  for (let i = 0; i < places.length; i++) places[i] = envelope.origin[i % 3] + envelope.positions[Math.floor(i / 3) * every * 3 + (i % 3)];
  const meshes = obstacles.filter((s) => s.points === 0).map((s) => ({ scan: s.name, mesh: s.mesh, places }));
  return sortHoles((await run.context.pool.map(holesTask, meshes)).flat());
}

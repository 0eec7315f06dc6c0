import { type Mesh as Mesh3, Raycaster, Vector2 } from 'three';
import type { CutState } from './cut.ts';
import { inside } from './section.ts';
import type { Stage } from './stage.ts';
import type { Thing } from './things.ts';

export interface Hit {
  readonly thing: Thing;
  /** mm */
  readonly at: readonly [number, number, number];
  /** On the face of the cut. */
  readonly onCut: boolean;
}

/** What lies under a place of the drawing, CSS pixels from its corner: the first thing that is not cut away. */
export function pick(
  stage: Stage,
  candidates: readonly { thing: Thing; mesh: Mesh3 }[],
  cut: CutState | undefined,
  place: { x: number; y: number },
): Hit | undefined {
  const { width, height } = stage.size;
  const ray = new Raycaster();
  stage.camera.updateMatrixWorld();
  ray.setFromCamera(new Vector2((place.x / width) * 2 - 1, 1 - (place.y / height) * 2), stage.camera);
  let best: { distance: number; hit: Hit } | undefined;
  const take = (distance: number, hit: Hit): void => {
    if (distance >= 0 && (!best || distance < best.distance)) best = { distance, hit };
  };
  const kept = (p: readonly number[]): boolean => !cut || (p[cut.axis] - cut.at) * cut.keep >= -1e-6;
  for (const { thing, mesh } of candidates)
    for (const i of ray.intersectObject(mesh, false)) {
      const at = i.point.toArray();
      if (!kept(at)) continue;
      take(i.distance, { thing, at, onCut: false });
      break;
    }
  if (cut) {
    const { origin, direction } = ray.ray;
    const along = direction.getComponent(cut.axis);
    const t = (cut.at - origin.getComponent(cut.axis)) / along;
    if (along * cut.keep > 1e-9 && t >= 0) {
      const at = ray.ray.at(t, origin.clone()).toArray();
      // Later things are drawn over earlier ones on the cut face.
      const filled = candidates.filter((c) => c.thing.closed && inside(c.thing.mesh, at)).at(-1);
      if (filled) take(t - 1e-6, { thing: filled.thing, at, onCut: true });
    }
  }
  return best?.hit;
}

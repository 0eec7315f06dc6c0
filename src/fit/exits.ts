import { dot, normalize, sub, type Vec3 } from '../core/vec.ts';

/** A place of a scan's surface that lies inside the body. */
export interface Deep {
  /** mm below the body's surface. */
  readonly depth: number;
  readonly at: Vec3;
  /** Nearest point on the body's surface. */
  readonly onBody: Vec3;
}

export interface Exit {
  readonly at: Vec3;
  /** How far the body has to go along `normal` until the place is outside, mm. */
  readonly depth: number;
  /** Unit vector along which the body gets clear. */
  readonly normal: Vec3;
}

/**
 * The way out for places inside the body: one for all that hang together (no farther apart than about `spacing` mm), out through the face
 * nearest to the deepest of them. Each by its own nearest face would pull a body that is crossed near an edge both ways, and it would
 * not move at all.
 */
export function exitsOf(deep: readonly Deep[], spacing: number): Exit[] {
  const cells = new Map<string, number[]>();
  const cellOf = (p: Vec3): Vec3 => [Math.floor(p[0] / spacing), Math.floor(p[1] / spacing), Math.floor(p[2] / spacing)];
  deep.forEach((d, i) => {
    const key = cellOf(d.at).join();
    const held = cells.get(key);
    if (held) held.push(i);
    else cells.set(key, [i]);
  });
  const out: Exit[] = [];
  for (const key of [...cells.keys()]) {
    const first = cells.get(key);
    if (!first) continue;
    const group = gather(cells, key);
    const deepest = group.reduce((a, b) => (deep[b].depth > deep[a].depth ? b : a));
    const { at, onBody, depth } = deep[deepest];
    if (depth < 1e-9) continue;
    const normal = normalize(sub(at, onBody));
    for (const i of group) {
      const far = dot(sub(deep[i].at, onBody), normal);
      if (far > 0) out.push({ at: deep[i].at, depth: far, normal });
    }
  }
  return out;
}

/** Takes out the cell and all that hang together with it, by any of the 26 neighbours. */
function gather(cells: Map<string, number[]>, from: string): number[] {
  const group: number[] = [];
  const todo = [from];
  while (todo.length > 0) {
    const key = todo.pop()!;
    const held = cells.get(key);
    if (!held) continue;
    cells.delete(key);
    for (const i of held) group.push(i);
    const [x, y, z] = key.split(',').map(Number);
    for (let k = -1; k <= 1; k++) for (let j = -1; j <= 1; j++) for (let i = -1; i <= 1; i++) todo.push([x + i, y + j, z + k].join());
  }
  return group;
}

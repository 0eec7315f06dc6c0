import type { Vec3 } from '../core/vec.ts';

/** A box along the axes, mm. */
interface Stood {
  readonly at_mm: Vec3;
  readonly size_mm: Vec3;
}

/**
 * In what order boxes are put in one after the other against the unit vector `along`, so that each slides past those already there: the turn of
 * each, from 1. Null when they lie round each other in a circle, so that none can be the last: three long sticks can.
 */
export function loadingOrder(boxes: readonly Stood[], along: Vec3): number[] | null {
  const turns = boxes.map(() => 0);
  // Taken out again: whatever nothing else stands in front of goes, and so on.
  for (let turn = boxes.length; turn > 0; turn--) {
    const free = boxes.findIndex((p, i) => turns[i] === 0 && boxes.every((q, k) => k === i || turns[k] > 0 || !inFront(q, p, along)));
    if (free < 0) return null;
    turns[free] = turn;
  }
  return turns;
}

/** Whether `p`, sliding out along d, meets `q`: along each axis they overlap for some stretch of the way, and these stretches have some in common. */
function inFront(q: Stood, p: Stood, d: Vec3): boolean {
  let from = 0;
  let to = Infinity;
  for (let a = 0; a < 3; a++) {
    const low = q.at_mm[a] - p.at_mm[a] - p.size_mm[a];
    const high = q.at_mm[a] + q.size_mm[a] - p.at_mm[a];
    if (Math.abs(d[a]) < 1e-9) {
      if (low > -TOUCH || high < TOUCH) return false;
      continue;
    }
    const ends = [low / d[a], high / d[a]];
    from = Math.max(from, Math.min(...ends));
    to = Math.min(to, Math.max(...ends));
  }
  return to - from > TOUCH;
}

/** Boxes that touch do not hinder each other, mm. */
const TOUCH = 1e-6;

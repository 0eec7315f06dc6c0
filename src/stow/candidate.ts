/** A block that may be placed: raster position and extent in pitches. */
export interface Candidate {
  readonly x: number;
  readonly y: number;
  readonly z: number;
  readonly a: number;
  readonly b: number;
  readonly c: number;
}

export const overlap = (p: Candidate, q: Candidate): boolean =>
  p.x < q.x + q.a && q.x < p.x + p.a && p.y < q.y + q.b && q.y < p.y + p.b && p.z < q.z + q.c && q.z < p.z + p.c;

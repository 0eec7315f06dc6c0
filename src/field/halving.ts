/** Number of the longest edge when it is over `longest`, else -1. */
export function longestEdge(c: Float64Array, longest: number): number {
  let most = longest * longest;
  let edge = -1;
  for (let i = 0; i < 3; i++) {
    const j = (i + 1) % 3;
    const d = (c[3 * i] - c[3 * j]) ** 2 + (c[3 * i + 1] - c[3 * j + 1]) ** 2 + (c[3 * i + 2] - c[3 * j + 2]) ** 2;
    if (d > most) {
      most = d;
      edge = i;
    }
  }
  return edge;
}

/** The two halves of a triangle (nine numbers), cut from the middle of edge i to the corner across. */
export function halvesOf(c: Float64Array, i: number): [Float64Array, Float64Array] {
  const j = (i + 1) % 3;
  const first = c.slice();
  const second = c.slice();
  for (let a = 0; a < 3; a++) {
    const middle = (c[3 * i + a] + c[3 * j + a]) / 2;
    first[3 * j + a] = middle;
    second[3 * i + a] = middle;
  }
  return [first, second];
}

/** A box-shaped room of 220 x 160 x 120 mm with walls of 10 mm; corners off any lattice. Boxes as [x0, y0, z0, x1, y1, z1], mm. */
export const [X0, Y0, Z0, X1, Y1, Z1] = [-110.3, -80.7, 400.9, 109.7, 79.3, 520.9];

/** All of its walls but the lid. */
export const WALLS = [
  [X0 - 10, Y0 - 10, Z0 - 10, X1 + 10, Y1 + 10, Z0],
  [X0 - 10, Y0 - 10, Z0, X0, Y1 + 10, Z1],
  [X1, Y0 - 10, Z0, X1 + 10, Y1 + 10, Z1],
  [X0, Y0 - 10, Z0, X1, Y0, Z1],
  [X0, Y1, Z0, X1, Y1 + 10, Z1],
];
export const LID = [X0 - 10, Y0 - 10, Z1, X1 + 10, Y1 + 10, Z1 + 10];

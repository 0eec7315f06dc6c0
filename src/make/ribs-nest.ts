import { Fault } from '../core/fault.ts';
import { type Figure, type Flat, figureArea, figureBox, mapFigure, type Point2 } from './flat.ts';

/** The user's sheet, mm. */
export interface SheetOptions {
  readonly width: number;
  readonly height: number;
  /** Kept free along the sheet's edge. */
  readonly margin: number;
  /** Kept free between parts. */
  readonly gap: number;
}

export const SHEET_DEFAULTS = { width: 600, height: 400, margin: 5, gap: 3 } as const;

/** Where a part lies: turned by quarter turns counter-clockwise about its zero, then moved. */
export interface Placing {
  readonly name: string;
  /** From 0. */
  readonly sheet: number;
  readonly quarters: 0 | 1 | 2 | 3;
  readonly move: Point2;
}

export const turned = ([a, b]: Point2, quarters: number): Point2 =>
  quarters === 0 ? [a, b] : quarters === 1 ? [-b, a] : quarters === 2 ? [-a, -b] : [b, -a];

/** A point of a part where it lies on its sheet. */
export const placePoint = (p: Point2, placing: Placing): Point2 => {
  const [a, b] = turned(p, placing.quarters);
  return [a + placing.move[0], b + placing.move[1]];
};

/** Cell of the lattice on which parts are laid, mm. */
const CELL = 2;

/** A part on the lattice: cells that it or the gap round it may touch, as pairs from its lower left cell. */
interface Shape {
  readonly quarters: 0 | 1 | 2 | 3;
  readonly cells: Int32Array;
  readonly nx: number;
  readonly ny: number;
  /** Moves the turned part so that its lower left cell is cell (0, 0). */
  readonly toZero: Point2;
}

/**
 * Lays parts on as few sheets as a plain rule finds: largest first, each turned by the quarter turn and laid at the place lowest on the first
 * sheet with room, by its true shape and not its box, so that small parts go into the hollows of large ones. Half the gap is
 * added round each part and cells are taken whole, so parts are at least the gap apart. Fault `ribs-sheet` for a part larger than the sheet.
 */
export function nest(parts: readonly { readonly name: string; readonly cut: Figure }[], sheet: SheetOptions, flat: Flat): Placing[] {
  const nx = Math.floor((sheet.width - 2 * sheet.margin + sheet.gap) / CELL);
  const ny = Math.floor((sheet.height - 2 * sheet.margin + sheet.gap) / CELL);
  const sheets: Uint8Array[] = [];
  const order = [...parts].sort((p, q) => figureArea(q.cut) - figureArea(p.cut) || (p.name < q.name ? -1 : 1));
  return order.map(({ name, cut }) => {
    const wide = flat.grow(cut, sheet.gap / 2);
    const shapes = ([0, 1, 2, 3] as const).map((q) => shapeOf(wide, q));
    const fits = shapes.filter((s) => s.nx <= nx && s.ny <= ny);
    if (fits.length === 0) throw tooLarge(name, cut, sheet);
    for (let n = 0; ; n++) {
      if (n === sheets.length) sheets.push(new Uint8Array(nx * ny));
      const best = bestPlace(sheets[n], nx, ny, fits);
      if (!best) continue;
      const { shape, i, j } = best;
      for (let c = 0; c < shape.cells.length; c += 2) sheets[n][i + shape.cells[c] + nx * (j + shape.cells[c + 1])] = 1;
      const from = sheet.margin - sheet.gap / 2;
      return {
        name,
        sheet: n,
        quarters: shape.quarters,
        move: [shape.toZero[0] + from + i * CELL, shape.toZero[1] + from + j * CELL],
      };
    }
  });
}

/** The lowest place of all turns; of two as low, the one farther left. */
function bestPlace(used: Uint8Array, nx: number, ny: number, shapes: readonly Shape[]): { shape: Shape; i: number; j: number } | undefined {
  let best: { shape: Shape; i: number; j: number } | undefined;
  let least = Infinity;
  for (const shape of shapes)
    for (let j = 0; j + shape.ny <= ny; j++) {
      // What counts is how high the part reaches.
      const top = (j + shape.ny) * nx;
      if (top >= least) break;
      for (let i = 0; i + shape.nx <= nx && top + i < least; i++) {
        if (!isFree(used, nx, shape.cells, i + nx * j)) continue;
        best = { shape, i, j };
        least = top + i;
      }
    }
  return best;
}

function isFree(used: Uint8Array, nx: number, cells: Int32Array, at: number): boolean {
  for (let c = 0; c < cells.length; c += 2) if (used[at + cells[c] + nx * cells[c + 1]]) return false;
  return true;
}

function shapeOf(figure: Figure, quarters: 0 | 1 | 2 | 3): Shape {
  const own = mapFigure(figure, (p) => turned(p, quarters));
  const [a0, b0, a1, b1] = figureBox(own);
  const nx = Math.max(1, Math.ceil((a1 - a0) / CELL));
  const ny = Math.max(1, Math.ceil((b1 - b0) / CELL));
  const cells: number[] = [];
  const hit = new Uint8Array(nx * ny);
  const mark = (i: number, j: number): void => {
    if (i >= 0 && j >= 0 && i < nx && j < ny) hit[i + nx * j] = 1;
  };
  // Edges mark every cell that they go near; rows of cell middles fill the rest.
  for (const ring of own)
    ring.forEach((p, n) => {
      const q = ring[(n + 1) % ring.length];
      const steps = Math.max(1, Math.ceil(Math.hypot(q[0] - p[0], q[1] - p[1]) / (CELL / 4)));
      for (let s = 0; s <= steps; s++) {
        const x = (p[0] + ((q[0] - p[0]) * s) / steps - a0) / CELL;
        const y = (p[1] + ((q[1] - p[1]) * s) / steps - b0) / CELL;
        for (const dx of [-0.13, 0.13]) for (const dy of [-0.13, 0.13]) mark(Math.floor(x + dx), Math.floor(y + dy));
      }
    });
  for (let j = 0; j < ny; j++) {
    const at: number[] = [];
    const y = b0 + (j + 0.5) * CELL;
    for (const ring of own)
      ring.forEach((p, n) => {
        const q = ring[(n + 1) % ring.length];
        if (p[1] > y !== q[1] > y) at.push(p[0] + ((y - p[1]) / (q[1] - p[1])) * (q[0] - p[0]));
      });
    at.sort((p, q) => p - q);
    for (let n = 0; n + 1 < at.length; n += 2)
      for (let i = Math.ceil((at[n] - a0) / CELL - 0.5); i <= Math.floor((at[n + 1] - a0) / CELL - 0.5); i++) mark(i, j);
  }
  for (let c = 0; c < hit.length; c++) if (hit[c]) cells.push(c % nx, Math.floor(c / nx));
  return { quarters, cells: Int32Array.from(cells), nx, ny, toZero: [-a0, -b0] };
}

function tooLarge(name: string, cut: Figure, sheet: SheetOptions): Fault {
  const [a0, b0, a1, b1] = figureBox(cut);
  return new Fault({
    code: 'ribs-sheet',
    what: `Rib ${name} is larger than the sheet.`,
    got: `${Math.ceil(a1 - a0)} x ${Math.ceil(b1 - b0)} mm`,
    expected: `at most ${sheet.width - 2 * sheet.margin} x ${sheet.height - 2 * sheet.margin} mm (sheet less its margin)`,
    hint: 'Give the size of a larger sheet (make: { ribs: { sheet: [width, height] } }).',
  });
}

import type { ManifoldToplevel } from 'manifold-3d';
import { type Mesh, meshBox, meshVolume } from '../core/mesh.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { boxSize, type Vec3 } from '../core/vec.ts';
import { Flat } from './flat.ts';
import { type FoamFigures, foamFigures } from './foam.ts';
import { boxAlong, hullOf, leastBox, type TurnedBox, volumeOf } from './least-box.ts';
import type { Process } from './processes.ts';
import { bestPull, type PullFigures, pullFigures } from './pull.ts';
import { AskedSurface } from './samples.ts';
import { type CutterFigures, cutterFigures, type ThinFigures, thinFigures } from './touching.ts';

/** What is asked before a plug or a mould is paid for; lengths mm, angles degrees. */
export interface MouldOptions {
  readonly process: Process;
  /** Percent; the middle of the process's range when null. */
  readonly shrinkage: number | null;
  /** Unit vector; the best found when null. */
  readonly pull: Vec3 | null;
  readonly draft: number | null;
  /** Radius of the ball cutter. */
  readonly cutter: number;
  readonly thickness: number;
  readonly stock: number;
  /** The machine's travel, z upright. */
  readonly machine: Vec3 | null;
  readonly foam: Vec3;
  readonly saw: number;
}

/** A block with its stock. Plain JSON. */
export interface Block {
  readonly box: TurnedBox;
  /** With the stock on every side. */
  readonly size_mm: Vec3;
  readonly volume_l: number;
  /** Whether the machine's travel spans it, in any way that it can be laid down; null when no machine was named. */
  readonly fits: boolean | null;
}

/** Plain JSON. */
export interface MouldFigures {
  readonly process: Process;
  readonly shrinkage: {
    readonly percent: number;
    /** Mould over part, lengths. */
    readonly scale: number;
    readonly mould_volume_l: number;
    /** Along the vehicle's axes: the part, and the mould that gives it. */
    readonly part_mm: Vec3;
    readonly mould_mm: Vec3;
    /** How far apart the ends of the usual range leave the longest of those, mm. */
    readonly doubt_mm: number;
  };
  readonly least_block: Block;
  /** The block with a side along the direction of pull, the pile of foam along it. */
  readonly pull_block: Block;
  readonly foam: FoamFigures & { readonly sheet_mm: Vec3 };
  readonly pull: PullFigures;
  /** Whether the direction was given or found. */
  readonly pull_given: boolean;
  readonly best_pull: PullFigures;
  readonly draft_deg: number;
  readonly cutter: { readonly radius_mm: number; readonly plug: CutterFigures; readonly mould: CutterFigures };
  readonly thickness: ThinFigures & { readonly asked_mm: number };
}

/** Draft asked of a process that has none that is usual, degrees: none. */
const NO_DRAFT = 0;

/** The figures of a closed mesh, faces outwards. */
export function mouldFigures(mesh: Mesh, options: MouldOptions, lib: ManifoldToplevel): MouldFigures {
  const { process, stock } = options;
  const surface = new AskedSurface(mesh);
  const draft = options.draft ?? process.draft_deg ?? NO_DRAFT;
  const best = pullFigures(surface, bestPull(surface), draft);
  const pull = options.pull ? pullFigures(surface, options.pull, draft) : best;
  const blocks = blocksOf(mesh, pull.direction, options, lib);
  const foam = foamFigures(mesh, blocks.pull_block.box, { sheet: options.foam, stock, saw: options.saw }, new Flat(lib));
  return {
    process,
    shrinkage: shrinkageOf(mesh, process, options.shrinkage),
    ...blocks,
    foam: { sheet_mm: options.foam, ...foam },
    pull,
    pull_given: options.pull !== null,
    best_pull: best,
    draft_deg: draft,
    cutter: {
      radius_mm: options.cutter,
      plug: cutterFigures(surface, 1, options.cutter),
      mould: cutterFigures(surface, -1, options.cutter),
    },
    thickness: { asked_mm: options.thickness, ...thinFigures(surface, options.thickness) },
  };
}

/** The least block of any orientation, and the least with a side along the direction of pull. */
export function blocksOf(
  mesh: Mesh,
  pull: Vec3,
  { stock, machine }: Pick<MouldOptions, 'stock' | 'machine'>,
  lib: ManifoldToplevel,
): Pick<MouldFigures, 'least_block' | 'pull_block'> {
  const hull = hullOf(mesh, lib);
  return {
    least_block: blockOf(leastBox(hull), stock, (size) => fitsAnyWay(size, machine)),
    pull_block: blockOf(boxAlong(hull, pull), stock, (size) => fitsUpright(size, machine)),
  };
}

/** A part that shrinks by a share s of its lengths comes from a mould 1 / (1 - s) as large. */
export const mouldScale = (percent: number): number => 1 / (1 - percent / 100);

export function shrinkageOf(mesh: Mesh, { shrinkage_percent: [low, high] }: Process, asked: number | null): MouldFigures['shrinkage'] {
  const percent = asked ?? (low + high) / 2;
  const scale = mouldScale(percent);
  const part = boxSize(meshBox(mesh));
  return {
    percent,
    scale,
    mould_volume_l: (meshVolume(mesh) * scale ** 3) / MM3_PER_LITRE,
    part_mm: part,
    mould_mm: [part[0] * scale, part[1] * scale, part[2] * scale],
    doubt_mm: Math.max(...part) * (mouldScale(high) - mouldScale(low)),
  };
}

/** The mesh as large as its mould, about the vehicle's zero. */
export function scaledForMould(mesh: Mesh, percent: number): Mesh {
  const k = mouldScale(percent);
  const [x, y, z] = mesh.origin;
  return { origin: [k * x, k * y, k * z], positions: mesh.positions.map((v) => v * k), indices: mesh.indices };
}

function blockOf(box: TurnedBox, stock: number, fits: (size: Vec3) => boolean | null): Block {
  const [a, b, c] = box.size_mm;
  const size: Vec3 = [a + 2 * stock, b + 2 * stock, c + 2 * stock];
  return { box, size_mm: size, volume_l: volumeOf({ ...box, size_mm: size }) / MM3_PER_LITRE, fits: fits(size) };
}

const ascending = (v: readonly number[]): number[] => [...v].sort((p, q) => p - q);

/** Laid down on any of its sides. */
function fitsAnyWay(size: Vec3, machine: Vec3 | null): boolean | null {
  if (!machine) return null;
  const travel = ascending(machine);
  return ascending(size).every((s, i) => s <= travel[i]);
}

/** Its last side upright, turned by a quarter or not. */
function fitsUpright([a, b, c]: Vec3, machine: Vec3 | null): boolean | null {
  if (!machine) return null;
  const travel = ascending(machine.slice(0, 2));
  return c <= machine[2] && ascending([a, b]).every((s, i) => s <= travel[i]);
}

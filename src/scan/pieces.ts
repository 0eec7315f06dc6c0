import type { Cloud } from '../core/cloud.ts';
import { Fault, type Note } from '../core/fault.ts';
import type { Mesh } from '../core/mesh.ts';
import { distance, type Vec3 } from '../core/vec.ts';
import type { PieceChoice } from '../job/schema-scans.ts';
import { bySize, type Patch, type Pieces, patchesOf, pointPatches } from './patches.ts';
import { SurfaceTree } from './place-tree.ts';
import type { Spacing } from './smooth.ts';
import { connectedPieces, keepFaces, keptPoints } from './specks.ts';

/** A point that names a piece lies no farther from it than this, mm. */
const NEAR = 10;
/** Pieces that a fault or note lists. */
const LISTED = 8;

/** Points as they were measured, without specks, and their pieces. */
export interface PiecedCloud {
  readonly cloud: Cloud;
  readonly pieces: Pieces;
  readonly spacing: Spacing;
}

/** Faces and clouds of one scan without their specks, mm in the frame of the file. */
export interface Whole {
  readonly faces: Mesh;
  readonly clouds: readonly PiecedCloud[];
}

/** What a job took of a file's pieces: all of them in the order of their ranks, and which. */
export interface PiecesTaken {
  readonly all: readonly Patch[];
  readonly taken: readonly boolean[];
}

/** A piece and where it comes from: the faces (-1) or the cloud of this number. */
interface Ranked {
  readonly patch: Patch;
  readonly from: number;
}

/**
 * Leaves only the connected pieces that a job names: by rank as the survey lists them (1 has the most triangles; points come after
 * faces), by a point on or near one, or by its middle. Throws a Fault with what there is when a piece is not there.
 */
export function pickPieces(scan: string, choices: readonly PieceChoice[], whole: Whole): Whole & { readonly chosen: PiecesTaken } {
  const found = connectedPieces(whole.faces);
  const ranked: Ranked[] = [
    ...bySize(patchesOf(whole.faces, found)).map((patch) => ({ patch, from: -1 })),
    ...whole.clouds.flatMap((c, from) => bySize(pointPatches(c.cloud, c.pieces)).map((patch) => ({ patch, from }))),
  ];
  const taken = ranked.map(() => false);
  const at = placeFinder(whole, found, ranked);
  for (const choice of choices) {
    const rank = typeof choice === 'number' ? choice - 1 : at(choice);
    if (rank < 0 || rank >= ranked.length) throw unknown(scan, choice, ranked);
    taken[rank] = true;
  }
  const maskOf = (from: number, count: number): Uint8Array => {
    const mask = new Uint8Array(count);
    ranked.forEach((r, i) => {
      if (r.from === from && taken[i]) mask[r.patch.number] = 1;
    });
    return mask;
  };
  const faces = maskOf(-1, found.count);
  return {
    faces: keepFaces(whole.faces, (t) => faces[found.piece[t]] === 1),
    clouds: whole.clouds.flatMap((c, from) => {
      const mask = maskOf(from, c.pieces.count);
      const kept = keptPoints(c, (v) => mask[c.pieces.piece[v]] === 1);
      return kept.cloud.positions.length > 0 ? [{ ...kept, spacing: c.spacing }] : [];
    }),
    chosen: { all: ranked.map((r) => r.patch), taken },
  };
}

/** Rank, from 0, of the piece nearest to a point; -1 when none is within NEAR. */
function placeFinder({ faces, clouds }: Whole, found: Pieces, ranked: readonly Ranked[]): (p: Vec3) => number {
  const rankOf = (number: number, from: number): number => ranked.findIndex((r) => r.from === from && r.patch.number === number);
  const tree = faces.indices.length > 0 ? new SurfaceTree(faces) : null;
  return (p) => {
    const hit = tree?.face(p, NEAR);
    let least = hit?.distance ?? NEAR;
    let best = hit ? rankOf(found.piece[hit.face], -1) : -1;
    clouds.forEach(({ cloud: { positions, origin }, pieces }, c) => {
      let nearest = -1;
      for (let v = 0; v < pieces.piece.length; v++) {
        const [x, y, z] = [0, 1, 2].map((a) => origin[a] + positions[v * 3 + a] - p[a]);
        const d = Math.hypot(x, y, z);
        if (d < least) [least, nearest] = [d, v];
      }
      if (nearest >= 0) best = rankOf(pieces.piece[nearest], c);
    });
    return best >= 0 ? best : byMiddle(p, ranked);
  };
}

/** Rank of the piece whose middle, as the survey gives it, is the nearest within NEAR; -1 without one. */
function byMiddle(p: Vec3, ranked: readonly Ranked[]): number {
  const off = ranked.map((r) => distance(r.patch.at, p));
  const least = Math.min(...off);
  return least < NEAR ? off.indexOf(least) : -1;
}

function unknown(scan: string, choice: PieceChoice, ranked: readonly Ranked[]): Fault {
  const byRank = typeof choice === 'number';
  const some = ranked.slice(0, LISTED).map((r, i) => pieceText(i + 1, r.patch));
  const more = ranked.length > LISTED ? `; and ${ranked.length - LISTED} more` : '';
  return new Fault({
    code: 'scan-no-piece',
    what: byRank
      ? `Scan "${scan}" asks for a piece that its file does not have.`
      : `Scan "${scan}" asks for the piece at a point, and there is none within ${NEAR} mm of it.`,
    got: byRank ? `piece ${choice}` : placeText(choice),
    expected: `one of ${ranked.length}: ${some.join('; ')}${more}`,
    hint: 'voidgauge survey FILE lists the pieces of a file, with a point on each.',
    where: scan,
  });
}

/** `2: 40 x 30 x 20 mm at [1, 2, 3]`, the place a point on the piece. */
const pieceText = (rank: number, { size, on }: Patch): string =>
  `${rank}: ${size.map((v) => rounded(v)).join(' x ')} mm at ${placeText(on)}`;
const placeText = (p: Vec3): string => `[${p.map(rounded).join(', ')}]`;
const rounded = (v: number): string => String(Math.abs(v) < 10 ? Number(v.toFixed(1)) : Math.round(v));

/** A note for a file of which scans take pieces, when some piece is in none of them. */
export function leftPiecesNote(file: string, takings: readonly PiecesTaken[]): Note[] {
  const all = takings[0]?.all ?? [];
  const left = all.map((patch, i) => ({ patch, i })).filter(({ i }) => !takings.some((t) => t.taken[i]));
  if (left.length === 0) return [];
  const some = left.slice(0, LISTED).map(({ patch, i }) => pieceText(i + 1, patch));
  const more = left.length > LISTED ? `; and ${left.length - LISTED} more` : '';
  return [
    {
      code: 'pieces-left',
      text: `${left.length} of the ${all.length} pieces of ${file} ${left.length === 1 ? 'belongs' : 'belong'} to no scan of the job: ${some.join('; ')}${more}.`,
      where: file,
    },
  ];
}

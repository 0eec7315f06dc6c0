import { type Scan as Scanned, scanQuad } from '../../samples/scanner.ts';
import type { PartName } from '../../samples/solids.ts';
import { joinMeshes, type Mesh, meshArea, triangleCount } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { distance, scale, type Vec3 } from '../../src/core/vec.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { placeScans, type ReadScan } from '../../src/pipeline/place.ts';
import { Run } from '../../src/pipeline/run.ts';
import { after, inverse, moveBy, type Rigid, smallMotion, turnBetween } from '../../src/scan/place.ts';
import { rigidOf } from '../../src/scan/placing.ts';
import { makeScan } from '../../src/scan/scan.ts';
import { printTable, short } from './timing.ts';

/**
 * Two scans of the sample quad, as a job places them: before the work and after it, each with 0.1 mm of noise and dropouts of its own, in
 * scanners' frames that differ by a motion made outside; each a million triangles, of which the frame and the engine, 45 % of the moved one's
 * area, are in both. Random starts up to 50 mm and 10 degrees off. What counts is where the placing puts the corners of the job's region.
 */
const BOTH: readonly PartName[] = ['frame', 'engine'];
const MOVED: readonly PartName[] = ['seat-base', 'swing-arm', 'front-end', 'exhaust', 'airbox'];
const FIXED: readonly PartName[] = ['mudguard', 'tray', 'intake', 'shock', 'brace', 'wheels'];
/** So much closer than the sample's points, for a million triangles each. */
const COARSENESS = 0.88;
/** Where the moved scanner stood. */
const THERE: Rigid = smallMotion([0.7, -0.4, 1.9], [1500, -220, 340], [0, 0, 0]);
const CORNERS: readonly Vec3[] = [0, 1, 2, 3, 4, 5, 6, 7].map((i) => [i & 1 ? -65 : -560, i & 2 ? 114 : -114, i & 4 ? 780 : 555]);
const LIMITS = { mm: 0.05, degrees: 0.02 };

export interface PlacingFigures {
  readonly triangles: readonly [number, number];
  readonly overlap: number;
  readonly within: string;
  readonly worst_mm: number;
  readonly worst_deg: number;
  readonly expected_mm: number;
  /** Of one placing, from the scans in memory: median. */
  readonly wall: number;
  readonly cpu: number;
}

function scansOf(seed: number, state: 'bare' | 'stock', place?: Rigid): Scanned[] {
  const placing = place && ((p: Vec3): Vec3 => moveBy(place, p));
  return scanQuad({ seed, state, specks: 0, coarseness: COARSENESS, ...(placing ? { placing } : {}) });
}

const joined = (scans: readonly Scanned[], parts: readonly PartName[]): Mesh =>
  joinMeshes(scans.filter((s) => parts.includes(s.name)).map((s) => s.mesh));

/** Turns about x, then y, then z, degrees, and the shift, as a job writes them. */
function asText({ rows: r, shift }: Rigid): string {
  const y = Math.asin(-Math.min(1, Math.max(-1, r[2][0])));
  const turn = [Math.atan2(r[2][1], r[2][2]), y, Math.atan2(r[1][0], r[0][0])].map((v) => (v * 180) / Math.PI);
  return `move: [${shift.join(', ')}], turn: [${turn.join(', ')}]`;
}

interface Placed {
  /** At the worst corner, mm; degrees. */
  readonly error: number;
  readonly turn: number;
  readonly expected: number;
  readonly overlap: number;
  readonly wall: number;
  readonly cpu: number;
}

/** One placing through the job, from scans as read; a random start up to the limits off. */
async function placeOnce(moving: Mesh, fixed: Mesh, seed: number): Promise<Placed> {
  const rng = random(seed);
  const off = smallMotion(
    scale(rng.direction(), (rng.next() * 10 * Math.PI) / 180),
    scale(rng.direction(), 50 * rng.next()),
    [-300, 0, 600],
  );
  const truth = inverse(THERE);
  const job = parseJob(
    `{ voidgauge: 1, scans: { bare: b.ply, stock: { file: s.ply, role: removed, place: { onto: bare, ${asText(after(off, truth))} } } } }`,
    'job.yaml',
  );
  const run = new Run(inlineContext);
  const making = { unit: 'mm' as const, specks: [], context: inlineContext };
  const read = async (name: string, mesh: Mesh): Promise<[string, ReadScan]> => {
    const file = { format: 'ply' as const, parts: [{ name: '', mesh }], notes: [], unit: null };
    return [name, { scan: await makeScan(name, job.scans[name], file, making), sha256: '' }];
  };
  const scans = new Map([await read('bare', fixed), await read('stock', moving)]);
  const [c, t] = [process.cpuUsage(), performance.now()];
  const [placing] = await placeScans(scans, () => CORNERS, { open: () => Promise.reject(new Error('no file is read')) }, run);
  const used = process.cpuUsage(c);
  const wall = (performance.now() - t) / 1000;
  const found = rigidOf(placing.matrix);
  const error = Math.max(...CORNERS.map((p) => distance(moveBy(found, moveBy(THERE, p)), p)));
  const overlap = placing.overlap_percent ?? 0;
  return { error, turn: turnBetween(found, truth), expected: placing.error_mm ?? 0, overlap, wall, cpu: (used.user + used.system) / 1e6 };
}

export async function benchPlacing(starts: number): Promise<PlacingFigures> {
  const fixed = joined(scansOf(20, 'bare'), [...BOTH, ...FIXED]);
  const stock = scansOf(77, 'stock', THERE);
  const moving = joined(stock, [...BOTH, ...MOVED]);
  const overlap = meshArea(joined(stock, BOTH)) / meshArea(moving);
  const all: Placed[] = [];
  for (let s = 0; s < starts; s++) all.push(await placeOnce(moving, fixed, 1000 + s));
  const good = all.filter((f) => f.error < LIMITS.mm && f.turn < LIMITS.degrees).length;
  const most = (of: (f: Placed) => number): number => Math.max(...all.map(of));
  const middle = (of: (f: Placed) => number): number => all.map(of).sort((a, b) => a - b)[all.length >> 1];
  const figures: PlacingFigures = {
    triangles: [triangleCount(moving), triangleCount(fixed)],
    overlap,
    within: `${good} of ${starts}`,
    worst_mm: most((f) => f.error),
    worst_deg: most((f) => f.turn),
    expected_mm: most((f) => f.expected),
    wall: middle((f) => f.wall),
    cpu: middle((f) => f.cpu),
  };
  printTable(
    `placing ${figures.triangles[0]} triangles on ${figures.triangles[1]}, ${(100 * overlap).toFixed(0)} % in common (found: ${all[0].overlap.toFixed(0)} %)`,
    ['', 'within', 'worst mm', 'degrees', 'expected mm', 'wall s', 'cpu s'],
    [
      [
        '',
        figures.within,
        short(figures.worst_mm),
        short(figures.worst_deg),
        short(figures.expected_mm),
        short(figures.wall),
        short(figures.cpu),
      ],
    ],
  );
  return figures;
}

import { Fault } from '../core/fault.ts';
import { cellCount, type Grid } from '../core/grid.ts';
import { meshVolume } from '../core/mesh.ts';
import { LENGTH_UNITS, MM_PER } from '../core/units.ts';
import { type Box3, boxSize, distance, isEmptyBox, type Vec3 } from '../core/vec.ts';
import { closedness } from '../field/closed.ts';
import { closestOnTriangle } from '../field/triangle.ts';
import { buildWinding, windingNumber } from '../field/winding.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { isObstacle, obstaclesNear, standOff } from './slack.ts';

/** A vehicle's scans together are this long, mm; outside of it the unit is surely wrong. */
const SMALLEST = 60;
const LARGEST = 30_000;

/** Refuses scans whose size says that their unit is wrong, and names the unit that would make sense. */
export function checkUnits(scans: readonly Scan[]): void {
  const check = (size: number, where: string, unit: number): void => {
    if (size >= SMALLEST && size <= LARGEST) return;
    const likely = LENGTH_UNITS.find((u) => (size / unit) * MM_PER[u] >= 300 && (size / unit) * MM_PER[u] <= 6000);
    throw new Fault({
      code: 'scan-units',
      what: `The scans together are ${sizeText(size)} long, which no vehicle part is.`,
      got: sizeText(size),
      expected: 'something between 60 mm and 30 m',
      hint: likely
        ? `their numbers look like ${likely}: set "units: ${likely}" in the job (this would make them ${sizeText((size / unit) * MM_PER[likely])} long)`
        : 'set "units" in the job to the unit of the scan files',
      where,
    });
  };
  check(
    Math.max(...boxSize(boxOfScans(scans))),
    scans
      .map((s) => s.settings.file)
      .slice(0, 3)
      .join(', '),
    MM_PER[scans[0].unit],
  );
}

const sizeText = (mm: number): string =>
  mm >= 10_000 ? `${(mm / 1000).toPrecision(3)} m` : mm >= 1 ? `${mm.toPrecision(3)} mm` : `${mm.toPrecision(2)} mm`;

/** A closed removed part must face outwards, or its inside would count as outside. */
export function checkOrientation(scan: Scan): void {
  if (scan.points > 0 || !closedness(scan.mesh).ok) return;
  const volume = meshVolume(scan.mesh);
  if (volume < 0)
    throw new Fault({
      code: 'scan-inside-out',
      what: `The scan "${scan.name}" is closed but inside out: its faces point inwards.`,
      got: `a volume of ${(volume / 1e6).toFixed(3)} l`,
      expected: 'faces that are counter-clockwise seen from outside',
      hint: 'turn its faces round (reverse the normals) in the program that exported it',
      where: scan.settings.file,
    });
}

/** Memory of a run, bytes: about BYTES_A_CELL for the fields that live at once, and the triangles with their copies. */
const BYTES_A_CELL = 44;
const BYTES_A_TRIANGLE = 80;

export function memoryOf(cells: number, scans: readonly Scan[]): number {
  return cells * BYTES_A_CELL + scans.reduce((n, s) => n + s.mesh.indices.length / 3, 0) * BYTES_A_TRIANGLE + 1.2e8;
}

export function checkMemory(grid: Grid, scans: readonly Scan[], budgetGb: number): number {
  const need = memoryOf(cellCount(grid), scans);
  if (need <= budgetGb * 1e9) return need;
  const rest = budgetGb * 1e9 - memoryOf(0, scans);
  const fits = rest > 0 ? Math.ceil(grid.step * Math.cbrt((cellCount(grid) * BYTES_A_CELL) / rest) * 10 + 0.5) / 10 : Number.NaN;
  throw new Fault({
    code: 'memory-budget',
    what: `The run would take about ${(need / 1e9).toFixed(1)} GB, more than the budget.`,
    got: `${cellCount(grid).toLocaleString('en')} cells of ${grid.step} mm`,
    expected: `at most ${budgetGb} GB`,
    hint: Number.isFinite(fits)
      ? `a step of ${fits} mm fits (--step ${fits}); or a smaller region, or more "memory" in the job`
      : 'raise "memory" in the job: the scans alone take more',
  });
}

export function checkRegionBox(box: Box3): void {
  if (!isEmptyBox(box)) return;
  throw new Fault({
    code: 'region-empty',
    what: 'The region is empty: its parts exclude each other.',
    expected: 'a box, planes, nearness and skin that share some room',
    hint: 'check the numbers of "region" against where the scans stand (voidgauge new SCAN... prints their boxes)',
  });
}

export function checkObstacles(scans: readonly Scan[], grid: Grid): Scan[] {
  const near = obstaclesNear(scans, grid);
  if (near.length > 0) return near;
  const all = boxOfScans(scans.filter(isObstacle));
  throw new Fault({
    code: 'scans-outside-region',
    what: 'No obstacle comes near the region, so nothing bounds the room.',
    got: `obstacles from [${all.min.map(Math.round).join(', ')}] to [${all.max.map(Math.round).join(', ')}] mm`,
    expected: `something within the region from [${grid.origin.map(Math.round).join(', ')}] mm, ${[grid.nx, grid.ny, grid.nz].map((n) => Math.round(n * grid.step)).join(' x ')} mm`,
    hint: 'check the units and the placing of the scans, and the region',
  });
}

/** Distance, mm, from `p` to the nearest triangle of a scan. */
export function distanceToScan(scan: Scan, p: Vec3): number {
  const { origin, positions, indices } = scan.mesh;
  const q = new Float64Array([p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]]);
  const corners = new Float32Array(9);
  const foot = new Float64Array(4);
  let best = Infinity;
  for (let t = 0; t < indices.length; t += 3) {
    for (let v = 0; v < 3; v++) for (let a = 0; a < 3; a++) corners[v * 3 + a] = positions[indices[t + v] * 3 + a];
    closestOnTriangle(corners, 0, q, foot);
    if (foot[3] < best) best = foot[3];
  }
  return Math.sqrt(best) - scan.radius;
}

/** The obstacles nearest to `p` by slack, nearest first: names and slack in mm. */
export function nearestObstacles(obstacles: readonly Scan[], p: Vec3): { name: string; slack: number }[] {
  return obstacles
    .map((s) => ({ name: s.name, slack: distanceToScan(s, p) - s.settings.clearance - s.settings.doubt }))
    .sort((a, b) => a.slack - b.slack);
}

/** The obstacle that the point lies in, by winding number, if any. */
export function obstacleRound(obstacles: readonly Scan[], p: Vec3): Scan | undefined {
  return obstacles.find(
    (s) => s.settings.solid !== 'sheet' && s.points === 0 && inBox(s.box, p) && windingNumber(buildWinding(s.mesh), p) > 0.5,
  );
}

const inBox = (b: Box3, p: Vec3): boolean => p.every((v, a) => v >= b.min[a] && v <= b.max[a]);

/** Why a start point will not do, with the nearest free point when there is one. */
export function startFault(point: Vec3, obstacles: readonly Scan[], free: Vec3 | null, inRegion: boolean): Fault {
  const at = `[${point.map((v) => Math.round(v)).join(', ')}]`;
  const hint = free
    ? `the nearest free point is [${free.map((v) => Math.round(v)).join(', ')}], ${distance(point, free).toFixed(0)} mm off`
    : undefined;
  if (!inRegion)
    return new Fault({
      code: 'start-outside',
      what: 'The start point lies outside the region.',
      got: at,
      expected: 'a point inside the region',
      hint,
    });
  const round = obstacleRound(obstacles, point);
  const [nearest] = nearestObstacles(obstacles, point);
  const s = obstacles.find((o) => o.name === (round?.name ?? nearest.name))!;
  const d = distanceToScan(s, point);
  return new Fault({
    code: 'start-blocked',
    what: round
      ? `The start point lies inside "${s.name}", ${d.toFixed(1)} mm deep.`
      : `The start point is too close to "${s.name}": ${d.toFixed(1)} mm from it, where ${standOff(s).toFixed(1)} mm are to be kept.`,
    got: at,
    expected: 'a point in the void',
    hint,
  });
}

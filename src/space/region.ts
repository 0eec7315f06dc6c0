import { allocateF32, type Context, once } from '../core/context.ts';
import { type Field, sampleField } from '../core/field.ts';
import { cellCount, type Grid, gridBox, gridOver } from '../core/grid.ts';
import { add, type Box3, boxCentre, boxSize, dot, emptyBox, growBox, intersectBox, scale, sub, unionBox, type Vec3 } from '../core/vec.ts';
import { type DistanceOptions, distanceToMesh, lowerToDistance } from '../field/distance.ts';
import { insideOf } from '../field/inside.ts';
import { surface } from '../field/surface.ts';
import { buildWinding } from '../field/winding.ts';
import type { JobRegion } from '../job/schema-region.ts';
import { outlineFrame, turnRows } from '../job/turn.ts';
import { boxOfScans, type Scan } from '../scan/scan.ts';
import { skinTask } from './skin.ts';

/**
 * Signed distance to one scan on a grid: negative inside, mm, accurate near the surface and as the options ask; a cloud and a sheet have no
 * inside.
 */
export async function signedDistance(scan: Scan, grid: Grid, options: DistanceOptions, context: Context): Promise<Field> {
  const d = await distanceToMesh(scan.mesh, grid, { ...options, levels: [0, ...(options.levels ?? [])] }, context);
  if (scan.points > 0 || scan.settings.solid === 'sheet') return d;
  const inside = await insideOf(buildWinding(scan.mesh), d, context);
  for (let c = 0; c < d.data.length; c++) if (inside.data[c]) d.data[c] = -d.data[c];
  return d;
}

/** The least of the signed distances to some scans, each accurate near its own `levels`, mm, only; null without any. */
async function leastDistance(
  scans: readonly Scan[],
  grid: Grid,
  levels: (scan: Scan) => readonly number[],
  context: Context,
): Promise<Field | null> {
  let least: Field | null = null;
  for (const scan of scans) {
    const d = await signedDistance(scan, grid, { levels: levels(scan), levelsOnly: true }, context);
    if (least) for (let c = 0; c < d.data.length; c++) least.data[c] = Math.min(least.data[c], d.data[c]);
    else least = d;
  }
  return least;
}

/** The box that the region surely lies in, mm: empty when the parts of the region exclude each other. */
export function regionBox(region: JobRegion, scans: readonly Scan[]): Box3 {
  const named = (names: readonly string[]): Scan[] => scans.filter((s) => names.includes(s.name));
  let box = boxOfScans(scans);
  if (!region.skin) box = growBox(box, 1e6);
  if (region.near) box = intersectBox(box, growBox(boxOfScans(named(region.near.scan)), region.near.within));
  if (region.inside) box = intersectBox(box, boxOfScans(named([region.inside])));
  if (region.box) box = intersectBox(box, turnedBox(region.box));
  if (region.outline) box = intersectBox(box, outlineBox(region.outline));
  for (const h of region.half_spaces) {
    // Only planes along the axes can cut the box.
    const axis = h.normal.findIndex((v) => Math.abs(v) > 1 - 1e-9);
    if (axis < 0) continue;
    const end = h.normal[axis] > 0 ? 'min' : 'max';
    const cut: { min: [number, number, number]; max: [number, number, number] } = { min: [...box.min], max: [...box.max] };
    cut[end][axis] = end === 'min' ? Math.max(cut.min[axis], h.at[axis]) : Math.min(cut.max[axis], h.at[axis]);
    box = cut;
  }
  return box;
}

function turnedBox(b: NonNullable<JobRegion['box']>): Box3 {
  const rows = turnRows(b.turn);
  const centre = boxCentre(b);
  const half = boxSize(b).map((v) => v / 2);
  const reach = (a: 0 | 1 | 2): number => Math.abs(rows[a][0]) * half[0] + Math.abs(rows[a][1]) * half[1] + Math.abs(rows[a][2]) * half[2];
  const r: Vec3 = [reach(0), reach(1), reach(2)];
  return { min: sub(centre, r), max: add(centre, r) };
}

function outlineBox(o: NonNullable<JobRegion['outline']>): Box3 {
  const { u, v } = outlineFrame(o.normal);
  const from = o.from ?? -1e6;
  const to = o.to ?? 1e6;
  let box = emptyBox();
  for (const [p, q] of o.points)
    for (const w of [from, to]) {
      const corner = add(add(scale(u, p), scale(v, q)), scale(o.normal, w));
      box = unionBox(box, { min: corner, max: corner });
    }
  return box;
}

/** Lowers `field` to the least of the heights over some planes: rows of [x, y, z, offset], unit normals inwards, mm. */
function lowerToPlanes({ grid, data }: Field, planes: readonly (readonly number[])[]): void {
  const { origin, step, nx, ny, nz } = grid;
  const heights = new Float64Array(planes.length);
  const rises = Float64Array.from(planes, (p) => p[0] * step);
  let c = 0;
  for (let k = 0; k < nz; k++)
    for (let j = 0; j < ny; j++) {
      const y = origin[1] + j * step;
      const z = origin[2] + k * step;
      for (let p = 0; p < planes.length; p++) heights[p] = planes[p][0] * origin[0] + planes[p][1] * y + planes[p][2] * z + planes[p][3];
      for (let i = 0; i < nx; i++, c++) {
        let least = data[c];
        for (let p = 0; p < heights.length; p++) least = Math.min(least, heights[p] + i * rises[p]);
        data[c] = least;
      }
    }
}

/** Lowers `field` to `of` at every cell centre where that is less. */
function lower({ grid, data }: Field, of: (p: Vec3) => number): void {
  let c = 0;
  for (let k = 0; k < grid.nz; k++)
    for (let j = 0; j < grid.ny; j++)
      for (let i = 0; i < grid.nx; i++, c++) {
        const v = of([grid.origin[0] + i * grid.step, grid.origin[1] + j * grid.step, grid.origin[2] + k * grid.step]);
        if (v < data[c]) data[c] = v;
      }
}

/** Lowers `field` to a coarser field, read between its cell centres. */
function lowerToSampled({ grid, data }: Field, coarse: Field): void {
  const p: [number, number, number] = [0, 0, 0];
  let c = 0;
  for (let k = 0; k < grid.nz; k++) {
    p[2] = grid.origin[2] + k * grid.step;
    for (let j = 0; j < grid.ny; j++) {
      p[1] = grid.origin[1] + j * grid.step;
      for (let i = 0; i < grid.nx; i++, c++) {
        // Where the region ends well outside already, the skin has no say.
        if (data[c] < -4 * grid.step) continue;
        p[0] = grid.origin[0] + i * grid.step;
        const v = sampleField(coarse, p);
        if (v < data[c]) data[c] = v;
      }
    }
  }
}

function lowerTo(field: Field, other: Float32Array, of: (v: number) => number): void {
  for (let c = 0; c < other.length; c++) {
    const v = of(other[c]);
    if (v < field.data[c]) field.data[c] = v;
  }
}

export interface RegionParts {
  /** Signed distance to the region's border, positive inside, mm. */
  readonly field: Field;
  /** Signed distance to the removed parts, the least of them; null without any. */
  readonly removed: Field | null;
  /** Step of the coarse grid on which the skin was rolled, mm; 0 without a skin. */
  readonly skinStep: number;
}

/**
 * The region on `grid`: the least of the signed distances to the borders of all that the job names. Full accuracy within a cell of each of
 * `cuts`, depths in mm.
 */
export async function regionField(
  region: JobRegion,
  scans: readonly Scan[],
  { grid, cuts }: { readonly grid: Grid; readonly cuts: readonly number[] },
  context: Context,
): Promise<RegionParts> {
  const field: Field = { grid, data: allocateF32(context.pool, cellCount(grid)).fill(1e6) };
  // The skin looks at everything on a grid of its own: it is worked out beside the rest.
  const meshes = scans.filter((s) => s.settings.role !== 'ignore').map((s) => s.mesh);
  const rolled = region.skin
    ? once(context.pool, skinTask, { meshes, radius: region.skin, fineStep: grid.step, box: gridBox(grid) })
    : null;
  rolled?.catch(() => {});
  if (region.box) lowerToPlanes(field, boxPlanes(region.box));
  lowerToPlanes(
    field,
    region.half_spaces.map((h) => [...h.normal, -dot(h.at, h.normal)]),
  );
  if (region.outline) lower(field, outlineDistance(region.outline));
  if (region.inside) {
    const scan = scans.find((s) => s.name === region.inside)!;
    const d = await signedDistance(scan, grid, { levels: cuts }, context);
    lowerTo(field, d.data, (v) => -v);
  }
  let near: Field | null = null;
  if (region.near) {
    const { scan: names, within } = region.near;
    const named = scans.filter((s) => names.includes(s.name));
    // Cut where the region ends, and by the room that was free before.
    near = await leastDistance(named, grid, (s) => [within, ...cuts.map((v) => v + s.settings.clearance)], context);
    if (near) await lowerToNear(field, near, { within, cuts }, context);
  }
  let skinStep = 0;
  if (rolled) {
    const skin = await rolled;
    skinStep = skin.grid.step;
    lowerToSampled(field, skin);
  }
  return { field, removed: await removedDistance(region, scans, { grid, cuts, near }, context), skinStep };
}

/** The field that `near` was told by where it names the removed parts and nothing else, as it does by default; else one of their own. */
async function removedDistance(
  region: JobRegion,
  scans: readonly Scan[],
  { grid, cuts, near }: { readonly grid: Grid; readonly cuts: readonly number[]; readonly near: Field | null },
  context: Context,
): Promise<Field | null> {
  const removed = scans.filter((s) => s.settings.role === 'removed');
  const named = region.near ? region.near.scan : [];
  if (near && named.length === removed.length && removed.every((s) => named.includes(s.name))) return near;
  return leastDistance(removed, grid, (s) => cuts.map((v) => v + s.settings.clearance), context);
}

/**
 * Lowers `field` to the depth in the set of points within `within` mm of a scan or inside it, from the signed distance to the scan. Where the scan
 * is open the inside ends across the opening without a surface, so the depth is worked out anew from the set's own border.
 */
async function lowerToNear(
  field: Field,
  near: Field,
  { within, cuts }: { readonly within: number; readonly cuts: readonly number[] },
  context: Context,
): Promise<void> {
  const { grid, data } = near;
  const set = new Float32Array(data.length);
  for (let c = 0; c < data.length; c++) set[c] = data[c] < 0 ? Math.max(within + data[c], grid.step) : within - data[c];
  const border = surface({ grid, data: set }, 0, { sharp: true });
  const depth: Field = { grid, data: allocateF32(context.pool, data.length) };
  // All within the rest of `within` lies in the set too: where that is more than the field, nothing is to be lowered.
  for (let c = 0; c < set.length; c++)
    depth.data[c] = set[c] >= 0 && within - Math.abs(data[c]) < field.data[c] ? field.data[c] : -Infinity;
  await lowerToDistance(depth, border, { levels: cuts, offset: 0, floor: 0 }, context);
  for (let c = 0; c < set.length; c++) {
    const v = set[c] < 0 ? set[c] : depth.data[c];
    if (v > -Infinity && v < field.data[c]) field.data[c] = v;
  }
}

/** The six faces of a turned box: their least height is exact inside, and a bound outside. */
function boxPlanes(b: NonNullable<JobRegion['box']>): number[][] {
  const centre = boxCentre(b);
  const half = boxSize(b).map((v) => v / 2);
  const r = turnRows(b.turn);
  return [0, 1, 2].flatMap((a) => {
    const n: Vec3 = [r[0][a], r[1][a], r[2][a]];
    return [
      [...n, half[a] - dot(n, centre)],
      [...scale(n, -1), half[a] + dot(n, centre)],
    ];
  });
}

/** Distance to an extruded polygon's walls and ends, positive inside. */
function outlineDistance(o: NonNullable<JobRegion['outline']>): (p: Vec3) => number {
  const { u, v } = outlineFrame(o.normal);
  const n = o.points.length;
  return (p) => {
    const x = dot(p, u);
    const y = dot(p, v);
    const w = dot(p, o.normal);
    let least = Infinity;
    let inside = false;
    for (let i = 0; i < n; i++) {
      const [ax, ay] = o.points[i];
      const [bx, by] = o.points[(i + 1) % n];
      const t = Math.min(Math.max(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2), 0), 1);
      least = Math.min(least, Math.hypot(x - ax - t * (bx - ax), y - ay - t * (by - ay)));
      if (ay > y !== by > y && x < ax + ((y - ay) / (by - ay)) * (bx - ax)) inside = !inside;
    }
    const ends = Math.min(o.from === null ? Infinity : w - o.from, o.to === null ? Infinity : o.to - w);
    return Math.min(inside ? least : -least, ends);
  };
}

/** A grid for the region: its cells cover the box, one cell more on every side so that the border lies inside. */
export const regionGrid = (box: Box3, step: number): Grid => gridOver(growBox(box, step), step);

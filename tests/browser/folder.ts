import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { Document, NodeIO } from '@gltf-transform/core';
import { KHRMeshQuantization } from '@gltf-transform/extensions';

/** A small result folder of our own making, for the page's tests: a frame of tubes round an ellipsoid. Lengths mm, +Z up. */
export interface Shape {
  readonly positions: number[];
  readonly indices: number[];
}

/** Closed ellipsoid about `at` with half axes `r`. */
export function ellipsoid(at: readonly number[], r: readonly number[], n = 24): Shape {
  const positions: number[] = [at[0], at[1], at[2] - r[2]];
  for (let i = 1; i < n; i++)
    for (let j = 0; j < 2 * n; j++) {
      const a = (Math.PI * i) / n - Math.PI / 2;
      const b = (Math.PI * j) / n;
      positions.push(at[0] + r[0] * Math.cos(a) * Math.cos(b), at[1] + r[1] * Math.cos(a) * Math.sin(b), at[2] + r[2] * Math.sin(a));
    }
  positions.push(at[0], at[1], at[2] + r[2]);
  const indices: number[] = [];
  const ring = (i: number, j: number): number => 1 + (i - 1) * 2 * n + (j % (2 * n));
  const top = positions.length / 3 - 1;
  for (let j = 0; j < 2 * n; j++) {
    indices.push(0, ring(1, j + 1), ring(1, j), top, ring(n - 1, j), ring(n - 1, j + 1));
    for (let i = 1; i < n - 1; i++)
      indices.push(ring(i, j), ring(i, j + 1), ring(i + 1, j + 1), ring(i, j), ring(i + 1, j + 1), ring(i + 1, j));
  }
  return { positions, indices };
}

/** Open tube from `a` to `b`, radius `r`: a scan that has no inside. */
function tube(a: readonly number[], b: readonly number[], r: number, n = 20): Shape {
  const d = [0, 1, 2].map((i) => b[i] - a[i]);
  const len = Math.hypot(...d);
  const u = Math.abs(d[2]) / len < 0.9 ? [d[1] / len, -d[0] / len, 0] : [0, d[2] / len, -d[1] / len];
  const un = Math.hypot(...u);
  const U = u.map((v) => v / un);
  const V = [0, 1, 2].map((i) => (d[(i + 1) % 3] * U[(i + 2) % 3] - d[(i + 2) % 3] * U[(i + 1) % 3]) / len);
  const positions: number[] = [];
  const indices: number[] = [];
  for (const end of [a, b])
    for (let j = 0; j < n; j++) {
      const t = (2 * Math.PI * j) / n;
      for (let i = 0; i < 3; i++) positions.push(end[i] + r * (Math.cos(t) * U[i] + Math.sin(t) * V[i]));
    }
  for (let j = 0; j < n; j++) {
    const k = (j + 1) % n;
    indices.push(j, k, n + k, j, n + k, n + j);
  }
  return { positions, indices };
}

const join2 = (shapes: readonly Shape[]): Shape =>
  shapes.reduce(
    (all, s) => ({
      positions: all.positions.concat(s.positions),
      indices: all.indices.concat(s.indices.map((i) => i + all.positions.length / 3)),
    }),
    { positions: [], indices: [] },
  );

export const CENTRE = [0, 0, 700] as const;
export const HALF = [180, 110, 120] as const;

export type Things = Readonly<Record<string, { shape: Shape; extras: Record<string, unknown> }>>;

export function shapes(): Things {
  const rails = [-150, 150].flatMap((y) => [
    tube([-420, y, 520], [380, y, 560], 16),
    tube([-420, y, 840], [300, y, 900], 14),
    tube([300, y, 900], [380, y, 560], 16),
    tube([-420, y, 520], [-420, y, 840], 14),
  ]);
  const across = [-400, 330].map((x) => tube([x, -150, 540], [x, 150, 540], 14));
  return {
    frame: { shape: join2([...rails, ...across]), extras: { kind: 'scan', clearance_mm: 4, error_mm: 0.2, triangles: 100000 } },
    'engine & box': { shape: ellipsoid([40, 0, 430], [190, 120, 110]), extras: { kind: 'scan', clearance_mm: 15, error_mm: 0.2 } },
    removed: { shape: ellipsoid([0, 0, 690], [150, 80, 90]), extras: { kind: 'removed' } },
    envelope: { shape: ellipsoid(CENTRE, HALF), extras: { kind: 'envelope' } },
    cavity: {
      shape: ellipsoid(
        CENTRE,
        HALF.map((h) => h - 4),
      ),
      extras: { kind: 'cavity' },
    },
  };
}

/**
 * scene.glb as the program writes it: metres, +Y up, one node a thing under a root that turns mm and +Z up into that. `small`
 * writes corners as normalised 16-bit whole numbers about each thing's middle.
 */
export async function sceneGlb(things: Things = shapes(), small = false): Promise<Uint8Array> {
  const doc = new Document();
  if (small) doc.createExtension(KHRMeshQuantization).setRequired(true);
  const buffer = doc.createBuffer();
  const s = 0.001;
  const root = doc.createNode('vehicle').setMatrix([s, 0, 0, 0, 0, 0, -s, 0, 0, s, 0, 0, 0, 0, 0, 1]);
  for (const [name, { shape, extras }] of Object.entries(things)) {
    const position = doc.createAccessor().setType('VEC3').setBuffer(buffer);
    const index = doc.createAccessor().setType('SCALAR').setArray(new Uint32Array(shape.indices)).setBuffer(buffer);
    const mesh = doc.createMesh(name).addPrimitive(doc.createPrimitive().setAttribute('POSITION', position).setIndices(index));
    const node = doc.createNode(name).setMesh(mesh).setExtras(extras);
    if (small) {
      const middle = [0, 1, 2].map((a) => shape.positions[a]);
      const half = shape.positions.reduce((m, v, i) => Math.max(m, Math.abs(v - middle[i % 3])), 0);
      position.setArray(Int16Array.from(shape.positions, (v, i) => Math.round(((v - middle[i % 3]) / half) * 32767))).setNormalized(true);
      node.setTranslation([middle[0], middle[1], middle[2]]).setScale([half, half, half]);
    } else position.setArray(new Float32Array(shape.positions));
    root.addChild(node);
  }
  doc.createScene('vehicle').addChild(root);
  return new NodeIO().registerExtensions([KHRMeshQuantization]).writeBinary(doc);
}

const litres = (4 / 3) * Math.PI * HALF[0] * HALF[1] * HALF[2] * 1e-6;
const about = (value: number, by: number): { value: number; low: number; high: number } => ({ value, low: value - by, high: value + by });

export const RESULT = {
  tool: { name: 'Voidgauge', version: '0.1.0' },
  job: { name: 'Hill-farm quad, airbox out', least_radius: 8, scans: {} },
  inputs: [
    { scan: 'frame', file: 'frame.ply', sha256: 'a'.repeat(64), triangles: 100000 },
    { scan: 'engine & box', file: 'engine.stl', sha256: 'b'.repeat(64), triangles: 2000 },
    { scan: 'removed', file: 'airbox.stl', sha256: 'c'.repeat(64), triangles: 2000 },
  ],
  grid: { step_mm: 2, dims: [190, 120, 130], cells: 2964000 },
  envelope: {
    volume_l: about(litres, 0.15),
    area_dm2: 22.8,
    pieces: 1,
    through_holes: 0,
    least_radius_mm: 8,
    largest_ball: { radius_mm: 110, centre_mm: [...CENTRE] },
    by_radius: [8, 20, 40, 60, 80, 100, 110].map((radius_mm) => ({ radius_mm, volume_l: litres * (1 - (radius_mm / 150) ** 3) })),
    necks: [{ at_mm: [120, 0, 700], diameter_mm: 31.5, behind_l: 1.2 }],
  },
  reclaimed: { volume_l: about(4.61, 0.21) },
  tank: {
    outer_l: about(litres, 0.15),
    wall_l: about(0.86, 0.06),
    brim_l: about(9.09, 0.14),
    ullage_l: about(0.45, 0.02),
    rated_l: about(8.63, 0.14),
    usable_l: about(8.31, 0.16),
    inside_area_dm2: 21.6,
    dry_mass_kg: 0.82,
    full_mass_kg: 7.25,
    attitudes: [{ pitch_deg: 15, lean_deg: 0, trapped_l: 0.21, stranded_l: 0.32, usable_l: 8.31 }],
    dip: [0, 60, 120, 180, 232].map((height_mm) => ({ height_mm, volume_l: (9.09 * height_mm) / 232 })),
  },
  notes: [
    { code: 'scan-open', text: 'The scan of the frame is open within reach of the envelope; about 0.05 l are in doubt.', where: 'frame' },
    { code: 'unit-guessed', text: 'The engine file names no unit; mm fit its size.', where: 'engine & box' },
  ],
};

/** Writes the folder into `dir`. */
export async function writeFolder(dir: string): Promise<void> {
  await mkdir(dir, { recursive: true });
  await writeFile(join(dir, 'result.json'), JSON.stringify(RESULT));
  await writeFile(join(dir, 'scene.glb'), await sceneGlb());
}

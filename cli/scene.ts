import { Document, Logger, WebIO } from '@gltf-transform/core';
import { once, type Pool } from '../src/core/context.ts';
import type { Mesh } from '../src/core/mesh.ts';
import { simplifyTask } from '../src/make/simplify.ts';
import type { DrawnPart } from '../src/pipeline/drawn.ts';
import type { Measured } from '../src/pipeline/measure.ts';
import type { Scan } from '../src/scan/scan.ts';

/** Triangles that all scans together may keep in the drawing, and each of the free bodies; more only make page and report slow. */
const MOST_TRIANGLES = 110_000;
const BODY_TRIANGLES = 30_000;
/** Of each other part of the room, and of each sweep. */
const PART_TRIANGLES = 8_000;
/** How far thinning may move a scan and a body in the drawing, mm. */
const MOST_ERROR = 3;
const BODY_ERROR = 0.5;
/** Positions are rounded to this, mm: a power of two, so that they pack well. */
const ROUNDING = 1 / 32;
/** Points of a cloud that are drawn. */
const MOST_POINTS = 100_000;

interface Thing {
  readonly name: string;
  readonly kind: 'scan' | 'removed' | 'envelope' | 'cavity' | 'swept' | DrawnPart['kind'];
  readonly mesh: Mesh;
  readonly clearance_mm?: number;
  /** How far the drawn surface may be from the scan's, mm. */
  readonly error_mm?: number;
  /** Triangles before thinning. */
  readonly triangles?: number;
}

/** The scans as they are drawn, each thinned in a task of its own: begun as soon as they are in place, this costs no time of its own. */
export function drawnScans(scans: readonly Scan[], pool: Pool): Promise<Thing[]> {
  const total = scans.reduce((n, s) => n + s.mesh.indices.length / 3, 0);
  return Promise.all(scans.map((s) => thingOf(s, Math.min(1, MOST_TRIANGLES / total), pool)));
}

interface Drawing {
  readonly scans: Promise<Thing[]>;
  readonly parts: Promise<readonly DrawnPart[]>;
  readonly swept: readonly { readonly name: string; readonly mesh: Mesh }[];
}

/**
 * The drawing of a result: scans (thinned, with the error stated), envelope, cavity and other parts of the room, what moving parts sweep, as one
 * binary glTF of named nodes whose extras say what each is. Metres and y up, as that format asks: a root node turns mm with z up into it.
 */
export async function writeScene(
  { envelope, cavity }: Pick<Measured, 'envelope' | 'cavity'>,
  { scans, parts, swept }: Drawing,
  pool: Pool,
): Promise<Uint8Array<ArrayBuffer>> {
  const body = async (name: string, kind: Thing['kind'], mesh: Mesh, most = BODY_TRIANGLES, error = BODY_ERROR): Promise<Thing> => {
    const triangles = mesh.indices.length / 3;
    return { name, kind, triangles, ...(await thinned(mesh, most, error, pool)) };
  };
  const bodies = [body('envelope', 'envelope', envelope), ...(cavity ? [body('cavity', 'cavity', cavity)] : [])];
  const more = (await parts).map(({ name, kind, mesh }) => body(name, kind, mesh, PART_TRIANGLES));
  const sweeps = swept.map(({ name, mesh }) => body(name, 'swept', mesh, PART_TRIANGLES, MOST_ERROR));
  return encode([...(await scans), ...(await Promise.all([...bodies, ...more, ...sweeps]))]);
}

async function thingOf(scan: Scan, share: number, pool: Pool): Promise<Thing> {
  const kind = scan.settings.role === 'removed' ? 'removed' : 'scan';
  const common = { name: scan.name, kind, clearance_mm: scan.settings.clearance, triangles: scan.triangles } as const;
  if (scan.triangles === 0 && scan.cloud)
    return { ...common, mesh: pointsMesh(scan, scan.cloud.spacing / 2), error_mm: scan.cloud.spacing / 2 };
  return { ...common, ...(await thinned(scan.mesh, Math.floor((scan.mesh.indices.length / 3) * share), MOST_ERROR, pool)) };
}

/** A mesh that already has no more than `most` triangles stays as it is. */
async function thinned(mesh: Mesh, most: number, error: number, pool: Pool): Promise<{ mesh: Mesh; error_mm: number }> {
  if (mesh.indices.length <= 3 * most) return { mesh, error_mm: 0 };
  const thin = await once(pool, simplifyTask, { mesh, faces: Math.max(100, most), error });
  return { mesh: { ...thin.mesh, positions: thin.mesh.positions.map((v) => Math.round(v / ROUNDING) * ROUNDING) }, error_mm: thin.error };
}

/** Points have no faces to draw: each (or each so many of them) becomes a small tetrahedron of that radius. */
function pointsMesh(scan: Scan, radius: number): Mesh {
  const { positions, indices, origin } = scan.mesh;
  const every = Math.ceil(indices.length / 3 / MOST_POINTS);
  const count = Math.ceil(indices.length / 3 / every);
  const out = new Float32Array(count * 12);
  const faces = new Uint32Array(count * 12);
  const r = radius / Math.sqrt(3);
  for (let n = 0; n < count; n++) {
    const v = 3 * indices[3 * n * every];
    const [x, y, z] = [positions[v], positions[v + 1], positions[v + 2]];
    out.set([x + r, y + r, z + r, x + r, y - r, z - r, x - r, y + r, z - r, x - r, y - r, z + r], 12 * n);
    faces.set(
      [0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3].map((i) => i + 4 * n),
      12 * n,
    );
  }
  return { origin, positions: out, indices: faces };
}

async function encode(things: readonly Thing[]): Promise<Uint8Array<ArrayBuffer>> {
  const silent = new Logger(Logger.Verbosity.SILENT);
  const document = new Document().setLogger(silent);
  document.getRoot().getAsset().generator = 'voidgauge';
  const buffer = document.createBuffer();
  // mm to m, and a quarter turn about x: z up becomes y up.
  const root = document.createNode('mm').setScale([0.001, 0.001, 0.001]).setRotation([-Math.SQRT1_2, 0, 0, Math.SQRT1_2]);
  const scene = document.createScene('result').addChild(root);
  document.getRoot().setDefaultScene(scene);
  for (const { mesh, ...extras } of things) {
    const positions = document.createAccessor().setType('VEC3').setArray(new Float32Array(mesh.positions)).setBuffer(buffer);
    const indices = document.createAccessor().setType('SCALAR').setArray(new Uint32Array(mesh.indices)).setBuffer(buffer);
    const primitive = document.createPrimitive().setAttribute('POSITION', positions).setIndices(indices);
    const node = document.createNode(extras.name).setMesh(document.createMesh(extras.name).addPrimitive(primitive));
    root.addChild(node.setTranslation([...mesh.origin]).setExtras({ ...extras }));
  }
  return await new WebIO().setLogger(silent).writeBinary(document);
}

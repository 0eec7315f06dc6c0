/// <reference path="./draco3dgltf.d.ts" />
import { type Document, Logger, type Node, type Primitive, WebIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS, type InstancedMesh } from '@gltf-transform/extensions';
import { Fault, type Note } from '../core/fault.ts';
import { buildCloud, buildMesh, count, FARTHEST, isCoordinate, uniqueName } from './build.ts';
import { checkLayout, type GltfJson, isRecord } from './gltf-layout.ts';
import { loadBuffers, openGlb, parseJson } from './gltf-open.ts';
import { IndexList, PointList } from './grow.ts';
import type { ScanFile, ScanPart } from './scan-file.ts';
import { type ByteSource, stemOf } from './source.ts';
import { Weld64 } from './weld.ts';

/** Pictures and looks are dropped before the library sees them: they can be large, and need not be there. */
const LOOKS = ['images', 'textures', 'samplers', 'materials', 'animations', 'cameras', 'skins'] as const;

/**
 * glTF 2.0, .glb and .gltf, through gltf-transform: node transforms, instances, quantised, Draco and meshopt meshes. Metres, by the
 * format's own rule. The format is also y-up by rule; parts are turned to z-up here (x, -z, y), as other programs do, so that the
 * same scan saved as STL and as GLB lies the same way. Every node with a mesh is a part. Vertices that were split for
 * normals or texture are welded exactly. Points are clouds, lines are noted.
 */
export async function readGltf(source: ByteSource, bytes: Uint8Array): Promise<ScanFile> {
  const { name } = source;
  const binary = bytes[0] === 0x67;
  const { json, bin } = binary ? openGlb(name, bytes) : { json: parseJson(name, bytes), bin: undefined };
  const notes: Note[] = [{ code: 'gltf-up', text: 'glTF is y-up by its own rule; the scan was turned to z-up.', where: name }];
  const { resources, sizes } = await loadBuffers(source, json, bin);
  stripLooks(json);
  checkLayout(name, json, sizes);
  const document = await readDocument(name, json, resources);
  const parts = partsOf(name, document, notes);
  if (parts.length === 0)
    throw new Fault({
      code: 'scan-empty',
      what: 'The glTF file holds no points and no triangle with an area.',
      expected: 'at least one mesh in its scene',
      hint: 'Was something selected when the file was exported?',
      where: name,
    });
  return { format: binary ? 'glTF (binary)' : 'glTF', unit: 'm', parts, notes };
}

function stripLooks(json: GltfJson): void {
  for (const key of LOOKS) delete json[key];
  const looks = /^(KHR_materials_|KHR_texture_|EXT_texture_|KHR_lights_|KHR_xmp)/;
  for (const key of ['extensionsUsed', 'extensionsRequired'] as const) {
    const names = json[key];
    if (Array.isArray(names)) json[key] = names.filter((n) => typeof n === 'string' && !looks.test(n));
  }
  delete json.extensions;
  for (const mesh of Array.isArray(json.meshes) ? json.meshes : [])
    for (const p of Array.isArray(mesh?.primitives) ? mesh.primitives : [])
      if (isRecord(p)) {
        delete p.material;
        if (isRecord(p.extensions)) for (const key of Object.keys(p.extensions)) if (looks.test(key)) delete p.extensions[key];
      }
  for (const node of Array.isArray(json.nodes) ? json.nodes : [])
    if (isRecord(node)) {
      delete node.camera;
      delete node.skin;
      if (isRecord(node.extensions)) for (const key of Object.keys(node.extensions)) if (looks.test(key)) delete node.extensions[key];
    }
}

async function readDocument(name: string, json: GltfJson, resources: Record<string, Uint8Array<ArrayBuffer>>): Promise<Document> {
  const io = new WebIO().setLogger(new Logger(Logger.Verbosity.SILENT)).registerExtensions(ALL_EXTENSIONS);
  const used = json.extensionsUsed ?? [];
  try {
    if (used.some((e) => e.endsWith('_meshopt_compression'))) {
      const { MeshoptDecoder } = await import('meshoptimizer/decoder');
      await MeshoptDecoder.ready;
      io.registerDependencies({ 'meshopt.decoder': MeshoptDecoder });
    }
    // A decoder that failed may be left in a bad state, so each file has its own.
    if (used.includes('KHR_draco_mesh_compression')) {
      const draco = await import('draco3dgltf');
      io.registerDependencies({ 'draco3d.decoder': await draco.default.createDecoderModule() });
    }
    return await io.readJSON({ json, resources });
  } catch (e) {
    const got = e instanceof Error ? e.message : String(e);
    throw new Fault({
      code: 'gltf-read',
      what: 'The glTF file cannot be read.',
      got: got.slice(0, 200),
      expected: 'glTF 2.0, plain, Draco or meshopt',
      hint: 'Export it again, without compression.',
      where: name,
    });
  }
}

interface Gathered {
  readonly name: string;
  readonly weld: Weld64;
  readonly corners: IndexList;
  readonly points: PointList;
  readonly normals: PointList;
}

function partsOf(name: string, document: Document, notes: Note[]): ScanPart[] {
  const root = document.getRoot();
  const scenes = root.listScenes();
  const scene = root.getDefaultScene() ?? scenes[0];
  if (scenes.length > 1)
    notes.push({ code: 'gltf-scenes', text: `Only the first of ${scenes.length} scenes, or the one marked, is read.`, where: name });
  const taken = new Map<string, number>();
  const parts: ScanPart[] = [];
  const left = new Map<string, number>();
  const visit = (node: Node): void => {
    const mesh = node.getMesh();
    if (mesh) {
      const part: Gathered = {
        name: uniqueName(node.getName() || mesh.getName() || stemOf(name), taken),
        weld: new Weld64(),
        corners: new IndexList(),
        points: new PointList(),
        normals: new PointList(),
      };
      for (const matrix of placings(node))
        for (const primitive of mesh.listPrimitives()) {
          const what = addPrimitive(name, primitive, matrix, part);
          if (what) left.set(what, (left.get(what) ?? 0) + 1);
          if (primitive.listTargets().length > 0) left.set('shape targets (the rest shape is read)', 1);
        }
      const built = finishPart(part, notes);
      if (built) parts.push(built);
    }
    node.listChildren().forEach(visit);
  };
  for (const node of scene ? scene.listChildren() : root.listNodes().filter((n) => !n.getParentNode())) visit(node);
  if (left.size > 0)
    notes.push({ code: 'gltf-not-read', text: `Not read: ${[...left].map(([what, n]) => `${n} × ${what}`).join(', ')}.`, where: name });
  return parts;
}

function finishPart(part: Gathered, notes: Note[]): ScanPart | undefined {
  const mesh = buildMesh(part.weld.positions(), part.corners.data.subarray(0, part.corners.length), part.name, notes);
  const points = part.points.data.subarray(0, part.points.length);
  const whole = part.normals.length === part.points.length;
  const cloud =
    points.length > 0 ? buildCloud(points, whole ? Float32Array.from(part.normals.data.subarray(0, points.length)) : undefined) : undefined;
  if (!mesh && !cloud) return undefined;
  return { name: part.name, ...(mesh ? { mesh } : {}), ...(cloud ? { cloud } : {}) };
}

/** World matrices (column by column) of a node: one, or one an instance (EXT_mesh_gpu_instancing). */
function placings(node: Node): number[][] {
  const world = [...node.getWorldMatrix()];
  const instanced = node.getExtension<InstancedMesh>('EXT_mesh_gpu_instancing');
  if (!instanced) return [world];
  const t = instanced.getAttribute('TRANSLATION');
  const r = instanced.getAttribute('ROTATION');
  const s = instanced.getAttribute('SCALE');
  const n = (t ?? r ?? s)?.getCount() ?? 1;
  return Array.from({ length: n }, (_, i) => {
    const at = t?.getElement(i, []) ?? [0, 0, 0];
    const q = r?.getElement(i, []) ?? [0, 0, 0, 1];
    const k = s?.getElement(i, []) ?? [1, 1, 1];
    return multiply(world, compose(at, q, k));
  });
}

/** Matrix of a shift, a unit quaternion (x, y, z, w) and a scale. */
function compose(t: readonly number[], [x, y, z, w]: readonly number[], s: readonly number[]): number[] {
  return [
    (1 - 2 * (y * y + z * z)) * s[0],
    2 * (x * y + z * w) * s[0],
    2 * (x * z - y * w) * s[0],
    0,
    2 * (x * y - z * w) * s[1],
    (1 - 2 * (x * x + z * z)) * s[1],
    2 * (y * z + x * w) * s[1],
    0,
    2 * (x * z + y * w) * s[2],
    2 * (y * z - x * w) * s[2],
    (1 - 2 * (x * x + y * y)) * s[2],
    0,
    t[0],
    t[1],
    t[2],
    1,
  ];
}

/** a times b, 4x4, column by column. */
function multiply(a: readonly number[], b: readonly number[]): number[] {
  const out = new Array<number>(16).fill(0);
  for (let c = 0; c < 4; c++) for (let r = 0; r < 4; r++) for (let k = 0; k < 4; k++) out[4 * c + r] += a[4 * k + r] * b[4 * c + k];
  return out;
}

/** Adds one primitive; what it is, when it is not read. */
function addPrimitive(file: string, primitive: Primitive, m: readonly number[], part: Gathered): string | undefined {
  const accessor = primitive.getAttribute('POSITION');
  if (accessor?.getElementSize() !== 3) return 'meshes without positions';
  const mode = primitive.getMode();
  if (mode >= 1 && mode <= 3) return 'lines';
  const n = accessor.getCount();
  const number = new Uint32Array(mode === 0 ? 0 : n);
  const normal = mode === 0 ? primitive.getAttribute('NORMAL') : null;
  const p = [0, 0, 0];
  for (let i = 0; i < n; i++) {
    accessor.getElement(i, p);
    const [x, y, z] = p;
    const X = m[0] * x + m[4] * y + m[8] * z + m[12];
    const Y = m[1] * x + m[5] * y + m[9] * z + m[13];
    const Z = m[2] * x + m[6] * y + m[10] * z + m[14];
    if (!(isCoordinate(X) && isCoordinate(Y) && isCoordinate(Z)))
      throw new Fault({
        code: 'scan-not-finite',
        what: 'A vertex is not a place.',
        got: `${X} ${Y} ${Z}`,
        expected: `three finite numbers within ${FARTHEST}`,
        hint: 'The file is damaged or was written by a faulty export.',
        where: `${file}, ${part.name}, vertex ${count(i)}`,
      });
    // y-up to z-up.
    if (mode !== 0) number[i] = part.weld.add(X, 0 - Z, Y);
    else {
      part.points.push(X, 0 - Z, Y);
      if (normal) addNormal(normal.getElement(i, p), m, part.normals);
    }
  }
  if (mode !== 0) addTriangles({ file, primitive, n, number, flipped: determinant(m) < 0 }, part);
  return undefined;
}

/** Normals turn with the cofactors of the matrix, so that uneven scales are right; unit length is made later. */
function addNormal(v: readonly number[], m: readonly number[], out: PointList): void {
  const c = (i: number, j: number, k: number, l: number): number => m[i] * m[j] - m[k] * m[l];
  const x = c(5, 10, 9, 6) * v[0] + c(9, 2, 1, 10) * v[1] + c(1, 6, 5, 2) * v[2];
  const y = c(8, 6, 4, 10) * v[0] + c(0, 10, 8, 2) * v[1] + c(4, 2, 0, 6) * v[2];
  const z = c(4, 9, 8, 5) * v[0] + c(8, 1, 0, 9) * v[1] + c(0, 5, 4, 1) * v[2];
  out.push(x, -z, y);
}

const determinant = (m: readonly number[]): number =>
  m[0] * (m[5] * m[10] - m[9] * m[6]) - m[4] * (m[1] * m[10] - m[9] * m[2]) + m[8] * (m[1] * m[6] - m[5] * m[2]);

interface Faces {
  readonly file: string;
  readonly primitive: Primitive;
  /** Vertices of the primitive, and their numbers in the part. */
  readonly n: number;
  readonly number: Uint32Array;
  /** The matrix mirrors, so triangles turn round (glTF 2.0, section 3.7.4). */
  readonly flipped: boolean;
}

function addTriangles({ file, primitive, n, number, flipped }: Faces, part: Gathered): void {
  const indices = primitive.getIndices();
  const array = indices?.getArray();
  const length = indices ? indices.getCount() : n;
  const mode = primitive.getMode();
  const at = (i: number): number => {
    const v = array ? array[i] : i;
    if (v >= n)
      throw new Fault({
        code: 'scan-index',
        what: 'A face names a vertex that is not there.',
        got: `vertex ${v}`,
        expected: `0 to ${n - 1}`,
        hint: 'The file is damaged, or its export is faulty.',
        where: `${file}, ${part.name}, index ${count(i)}`,
      });
    return number[v];
  };
  if (length < 3 || (mode === 4 && length % 3 !== 0))
    throw new Fault({
      code: 'gltf-face',
      what: 'A mesh of the glTF file does not have whole triangles.',
      got: `${count(length)} corners`,
      expected: mode === 4 ? 'three a triangle' : 'at least three',
      where: `${file}, ${part.name}`,
    });
  const push = (a: number, b: number, c: number): void => (flipped ? part.corners.push3(a, c, b) : part.corners.push3(a, b, c));
  if (mode === 4) for (let i = 0; i < length; i += 3) push(at(i), at(i + 1), at(i + 2));
  else if (mode === 5) for (let i = 2; i < length; i++) push(at(i - 2 + (i & 1)), at(i - 1 - (i & 1)), at(i));
  else for (let i = 2; i < length; i++) push(at(0), at(i - 1), at(i));
}

import type { JSONDocument } from '@gltf-transform/core';
import { Fault } from '../core/fault.ts';

export type GltfJson = JSONDocument['json'];

/** Components an element of an accessor, and bytes a component (glTF 2.0, sections 3.6.2.2 and 3.6.2.3). */
const ELEMENTS: Readonly<Record<string, number>> = { SCALAR: 1, VEC2: 2, VEC3: 3, VEC4: 4, MAT2: 4, MAT3: 9, MAT4: 16 };
const COMPONENTS: Readonly<Record<number, number>> = { 5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4 };
/** Compressed meshes and zero-filled accessors may unpack to this many times the file, no more. */
const MOST_RATIO = 2000;
/** Nodes within nodes; no scene of a workshop goes deeper. */
const MOST_DEPTH = 1000;

const fail = (name: string, what: string, got: string, expected: string): never => {
  throw new Fault({ code: 'gltf-layout', what, got, expected, hint: 'The file is damaged, or its export is faulty.', where: name });
};

/**
 * Holds the numbers that a glTF file gives about itself against each other and against the bytes there are, before a library that
 * trusts them reads on: versions, buffers, views, accessors, meshes, nodes (a forest), scenes.
 * `sizes`: bytes present of each buffer (undefined for a stand-in that a compression extension fills).
 */
export function checkLayout(name: string, json: GltfJson, sizes: readonly (number | undefined)[]): void {
  const total = sizes.reduce<number>((n, s) => n + (s ?? 0), 0);
  const most = Math.max(1 << 20, MOST_RATIO * total);
  const views = list(name, json.bufferViews, 'bufferViews');
  views.forEach((v, i) => {
    const label = `bufferViews[${i}]`;
    const packed = v.extensions?.['EXT_meshopt_compression'] ?? v.extensions?.['KHR_meshopt_compression'];
    const size = sizes[index(name, v.buffer, sizes.length, `${label}.buffer`)];
    const end = whole(name, v.byteOffset ?? 0, `${label}.byteOffset`) + whole(name, v.byteLength, `${label}.byteLength`);
    if (size === undefined && packed === undefined) fail(name, 'A buffer of the glTF file has no data.', label, 'a buffer with bytes');
    if (size !== undefined && end > size) fail(name, 'The glTF file is cut off.', `${label} ends at byte ${end}`, `at most ${size}`);
    if (v.byteStride !== undefined) whole(name, v.byteStride, `${label}.byteStride`);
    if (end > most) fail(name, 'A part of the glTF file would unpack to far more than a scan.', `${end} bytes`, `at most ${most}`);
    if (packed !== undefined) checkPacked(name, packed, { label: `${label} (meshopt)`, sizes, most });
  });
  const accessors = list(name, json.accessors, 'accessors');
  accessors.forEach((a, i) => {
    checkAccessor(name, json, { accessor: a, label: `accessors[${i}]`, most });
  });
  list(name, json.meshes, 'meshes').forEach((m, i) => {
    const primitives = list(name, m.primitives, `meshes[${i}].primitives`);
    for (const p of primitives) {
      if (!isRecord(p.attributes)) fail(name, 'A mesh of the glTF file has no attributes.', `meshes[${i}]`, 'attributes with POSITION');
      for (const [key, value] of Object.entries(p.attributes)) index(name, value, accessors.length, `meshes[${i}] ${key}`);
      if (p.indices !== undefined) index(name, p.indices, accessors.length, `meshes[${i}] indices`);
      const draco = p.extensions?.['KHR_draco_mesh_compression'];
      if (draco !== undefined) index(name, field(draco, 'bufferView'), views.length, `meshes[${i}] bufferView`);
    }
  });
  checkNodes(name, json);
}

function checkPacked(name: string, packed: unknown, place: { label: string; sizes: readonly (number | undefined)[]; most: number }): void {
  const { label, sizes, most } = place;
  const size = sizes[index(name, field(packed, 'buffer'), sizes.length, label)] ?? 0;
  const end = whole(name, field(packed, 'byteOffset') ?? 0, label) + whole(name, field(packed, 'byteLength'), label);
  if (end > size) fail(name, 'The glTF file is cut off.', `${label} ends at byte ${end}`, `at most ${size}`);
  const unpacked = whole(name, field(packed, 'count'), label) * whole(name, field(packed, 'byteStride'), label);
  if (unpacked > most) fail(name, 'A part of the glTF file would unpack to far more than a scan.', `${unpacked} bytes`, `at most ${most}`);
}

interface AccessorPlace {
  readonly accessor: NonNullable<GltfJson['accessors']>[number];
  readonly label: string;
  readonly most: number;
}

function checkAccessor(name: string, json: GltfJson, { accessor: a, label, most }: AccessorPlace): void {
  const count = whole(name, a.count, `${label}.count`);
  const component = Object.hasOwn(COMPONENTS, a.componentType) ? COMPONENTS[a.componentType] : 0;
  const elements = typeof a.type === 'string' && Object.hasOwn(ELEMENTS, a.type) ? ELEMENTS[a.type] : 0;
  if (component === 0 || elements === 0)
    fail(
      name,
      'An accessor of the glTF file has an unknown type.',
      `${label}: ${String(a.type)} of ${String(a.componentType)}`,
      'a glTF 2.0 type',
    );
  const element = component * elements;
  if (count * element > most)
    fail(name, 'A part of the glTF file would unpack to far more than a scan.', `${label}: ${count} elements`, 'fewer');
  if (a.bufferView !== undefined) inView(name, json, { label, view: a.bufferView, offset: a.byteOffset ?? 0, count, element });
  if (a.sparse === undefined) return;
  const n = whole(name, field(a.sparse, 'count'), `${label}.sparse`);
  if (n > count) fail(name, 'A sparse accessor changes more elements than it has.', `${label}: ${n}`, `at most ${count}`);
  const indices = field(a.sparse, 'indices');
  const values = field(a.sparse, 'values');
  const type = field(indices, 'componentType');
  if (type !== 5121 && type !== 5123 && type !== 5125)
    fail(name, 'A sparse accessor has indices of a wrong type.', label, '5121, 5123 or 5125');
  inView(name, json, {
    label,
    view: field(indices, 'bufferView'),
    offset: field(indices, 'byteOffset') ?? 0,
    count: n,
    element: COMPONENTS[Number(type)],
  });
  inView(name, json, { label, view: field(values, 'bufferView'), offset: field(values, 'byteOffset') ?? 0, count: n, element });
}

interface Span {
  readonly label: string;
  readonly view: unknown;
  readonly offset: unknown;
  readonly count: number;
  readonly element: number;
}

function inView(name: string, json: GltfJson, { label, view, offset, count, element }: Span): void {
  const views = json.bufferViews ?? [];
  const v = views[index(name, view, views.length, `${label}.bufferView`)];
  const start = whole(name, offset, `${label}.byteOffset`);
  const end = count === 0 ? 0 : start + (count - 1) * Math.max(v.byteStride ?? element, 1) + element;
  if (end > v.byteLength)
    fail(name, 'An accessor of the glTF file reaches beyond its bytes.', `${label} needs ${end} bytes`, `at most ${v.byteLength}`);
}

/** Nodes must be a forest: a ring of them would never end. */
function checkNodes(name: string, json: GltfJson): void {
  const nodes = list(name, json.nodes, 'nodes');
  const meshes = json.meshes?.length ?? 0;
  const parent = new Int32Array(nodes.length).fill(-1);
  nodes.forEach((n, i) => {
    if (n.mesh !== undefined) index(name, n.mesh, meshes, `nodes[${i}].mesh`);
    for (const key of ['matrix', 'translation', 'rotation', 'scale'] as const) checkNumbers(name, n[key], `nodes[${i}].${key}`, key);
    if (n.children === undefined) return;
    if (!Array.isArray(n.children)) fail(name, 'The children of a node are not a list.', `nodes[${i}]`, 'a list of node numbers');
    for (const c of n.children) {
      const child = index(name, c, nodes.length, `nodes[${i}].children`);
      if (parent[child] !== -1) fail(name, 'A node of the glTF file has two parents.', `nodes[${child}]`, 'one parent');
      parent[child] = i;
    }
  });
  for (let i = 0; i < nodes.length; i++) {
    let steps = 0;
    for (let p = i; p !== -1; p = parent[p])
      if (++steps > MOST_DEPTH)
        fail(name, 'Nodes of the glTF file go round in a ring, or too deep.', `nodes[${i}]`, `a tree of at most ${MOST_DEPTH} steps`);
  }
  const scenes = list(name, json.scenes, 'scenes');
  scenes.forEach((s, i) => {
    if (s.nodes !== undefined && !Array.isArray(s.nodes))
      fail(name, 'The nodes of a scene are not a list.', `scenes[${i}]`, 'a list of node numbers');
    for (const n of s.nodes ?? []) index(name, n, nodes.length, `scenes[${i}].nodes`);
  });
  if (json.scene !== undefined) index(name, json.scene, scenes.length, 'scene');
}

function checkNumbers(name: string, value: unknown, label: string, key: 'matrix' | 'translation' | 'rotation' | 'scale'): void {
  if (value === undefined) return;
  const n = { matrix: 16, translation: 3, rotation: 4, scale: 3 }[key];
  if (!Array.isArray(value) || value.length !== n || !value.every((v) => Number.isFinite(v)))
    fail(name, 'The placing of a node is not right.', label, `${n} finite numbers`);
}

export const isRecord = (v: unknown): v is Record<string, unknown> => typeof v === 'object' && v !== null && !Array.isArray(v);

const field = (v: unknown, key: string): unknown => (isRecord(v) ? v[key] : undefined);

function list<T>(name: string, value: T[] | undefined, label: string): T[] {
  if (value === undefined) return [];
  if (!Array.isArray(value) || !value.every(isRecord))
    return fail(name, 'The glTF file has something else where a list belongs.', label, 'a list of objects');
  return value;
}

function whole(name: string, value: unknown, label: string): number {
  if (typeof value !== 'number' || !Number.isSafeInteger(value) || value < 0)
    return fail(
      name,
      'The glTF file has something else where a whole number belongs.',
      `${label}: ${String(value).slice(0, 40)}`,
      'a whole number from 0',
    );
  return value;
}

function index(name: string, value: unknown, length: number, label: string): number {
  const i = whole(name, value, label);
  if (i >= length) fail(name, 'The glTF file refers to something that is not there.', `${label}: ${i}`, `less than ${length}`);
  return i;
}

import Module, { type ManifoldToplevel } from 'manifold-3d';
import { MeshoptSimplifier } from 'meshoptimizer';
import type { Task } from '../core/context.ts';
import type { Mesh } from '../core/mesh.ts';

/** Where a page finds the library's `manifold.wasm`; a terminal knows by itself. */
export type LocateWasm = () => string;

/** manifold-3d, ready for use. */
export async function loadSolids(locate?: LocateWasm): Promise<ManifoldToplevel> {
  const lib = await Module(locate ? { locateFile: locate } : undefined);
  lib.setup();
  return lib;
}

/**
 * Fewer triangles by collapsing edges, about `faces` of them, or as few as `error` mm (an estimate by quadrics, not a bound) allows.
 * Vertices stay where they were. Closed meshes nearly always stay closed: check.
 */
export async function simplify(mesh: Mesh, faces: number, error: number): Promise<{ mesh: Mesh; error: number }> {
  await MeshoptSimplifier.ready;
  if (mesh.indices.length <= 3 * faces) return { mesh: { ...mesh, positions: mesh.positions.slice() }, error: 0 };
  const [indices, used] = MeshoptSimplifier.simplify(mesh.indices, mesh.positions, 3, 3 * faces, error, ['ErrorAbsolute']);
  return { mesh: compact({ ...mesh, indices }), error: used };
}

interface Simplifying {
  readonly mesh: Mesh;
  readonly faces: number;
  /** mm */
  readonly error: number;
}

/** The same as a task, beside others. */
export const simplifyTask: Task<Simplifying, { mesh: Mesh; error: number }> = {
  name: 'simplify.mesh',
  run: ({ mesh, faces, error }) => simplify(mesh, faces, error),
};

/** The same by manifold-3d, which keeps closed meshes closed; the face count follows from `error`, mm. */
export function simplifySolid(mesh: Mesh, error: number, lib: ManifoldToplevel): Mesh {
  const solid = new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: mesh.positions, triVerts: mesh.indices }));
  try {
    const simple = solid.simplify(error);
    const { vertProperties, triVerts, numProp } = simple.getMesh();
    simple.delete();
    const positions = new Float32Array((vertProperties.length / numProp) * 3);
    for (let v = 0; v < positions.length / 3; v++) for (let a = 0; a < 3; a++) positions[3 * v + a] = vertProperties[numProp * v + a];
    return { origin: mesh.origin, positions, indices: Uint32Array.from(triVerts) };
  } finally {
    solid.delete();
  }
}

/** What manifold-3d says of a mesh: `NoError` when it is a solid. */
export function solidStatus(mesh: Mesh, lib: ManifoldToplevel): string {
  try {
    const solid = new lib.Manifold(new lib.Mesh({ numProp: 3, vertProperties: mesh.positions, triVerts: mesh.indices }));
    const status = solid.status();
    solid.delete();
    return status;
  } catch (e) {
    return e instanceof Error ? e.message : String(e);
  }
}

/** Drops vertices that no triangle uses; the others keep their order. */
function compact(mesh: Mesh): Mesh {
  const name = new Int32Array(mesh.positions.length / 3).fill(-1);
  for (const v of mesh.indices) name[v] = 0;
  let n = 0;
  for (let v = 0; v < name.length; v++) if (name[v] === 0) name[v] = n++;
  const positions = new Float32Array(3 * n);
  for (let v = 0; v < name.length; v++) if (name[v] >= 0) positions.set(mesh.positions.subarray(3 * v, 3 * v + 3), 3 * name[v]);
  return { origin: mesh.origin, positions, indices: mesh.indices.map((v) => name[v]) };
}

import { BufferAttribute, BufferGeometry, type Material, Matrix4, Mesh as Mesh3 } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
import type { Mesh } from '../src/core/mesh.ts';
import { isClosed } from './section.ts';

export type Show = 'shown' | 'faint' | 'hidden';
export const SHOWS: readonly Show[] = ['shown', 'faint', 'hidden'];

export const KINDS = [
  'scan',
  'removed',
  'swept',
  'hole',
  'envelope',
  'body',
  'cavity',
  'liquid',
  'trapped',
  'stranded',
  'reclaimed',
  'pocket',
  'closest',
  'item',
  'route',
  'tube',
  'bore',
  'way',
  'globe',
] as const;
export type Kind = (typeof KINDS)[number];

/** What only the fine run reckons: turned dials leave it as it was. */
export const FINE_ONLY: ReadonlySet<Kind> = new Set(['item', 'route', 'bore', 'way', 'globe']);

/** One thing on the drawing, in mm, +Z up, about zero. */
export interface Thing {
  readonly name: string;
  readonly kind: Kind;
  readonly mesh: Mesh;
  readonly geometry: BufferGeometry;
  /** Every edge is shared by two faces, so a cut through it can be filled. Found out when first asked for. */
  readonly closed: boolean;
  readonly clearance?: number;
  /** How far thinning may have moved the surface, mm. */
  readonly error?: number;
}

/** glTF's metres with +Y up to mm with +Z up. */
const TO_MM = new Matrix4().makeRotationX(Math.PI / 2).premultiply(new Matrix4().makeScale(1000, 1000, 1000));

/** Reads scene.glb. Rejects with a sentence for the user when it is not sound. */
export async function readThings(bytes: ArrayBuffer): Promise<Thing[]> {
  const file = await new GLTFLoader().parseAsync(bytes, '').catch((e: unknown) => {
    throw new Error(`scene.glb could not be read: ${e instanceof Error ? e.message : String(e)}`);
  });
  file.scene.updateMatrixWorld(true);
  const things: Thing[] = [];
  file.scene.traverse((o) => {
    if (o instanceof Mesh3 && o.geometry instanceof BufferGeometry) things.push(thingOf(o, o.geometry));
  });
  return sorted(things);
}

/** In the order of the list. */
export const sorted = (things: Thing[]): Thing[] => things.sort((a, b) => KINDS.indexOf(a.kind) - KINDS.indexOf(b.kind));

function thingOf(o: Mesh3, from: BufferGeometry): Thing {
  // The loader keeps the node's name as it stood in userData only when it had to change it.
  const extras = { ...o.parent?.userData, ...o.userData };
  const name = String(extras.name ?? o.name);
  const matrix = o.matrixWorld.clone().premultiply(TO_MM);
  const at = from.getAttribute('position');
  const positions = new Float32Array(at.count * 3);
  const m = matrix.elements;
  for (let i = 0; i < at.count; i++) {
    const x = at.getX(i);
    const y = at.getY(i);
    const z = at.getZ(i);
    for (let a = 0; a < 3; a++) positions[3 * i + a] = m[a] * x + m[4 + a] * y + m[8 + a] * z + m[12 + a];
  }
  const indices = from.index ? Uint32Array.from(from.index.array) : Uint32Array.from({ length: at.count }, (_, i) => i);
  const mesh: Mesh = { origin: [0, 0, 0], positions, indices };
  dispose(o);
  const details = { clearance: numberOr(extras.clearance_mm), error: numberOr(extras.error_mm) };
  return thingFrom(name, kindOf(extras.kind, name), mesh, details);
}

/** A thing of a mesh; its corners are moved in place to lie about zero. */
export function thingFrom(name: string, kind: Kind, from: Mesh, details: { clearance?: number; error?: number } = {}): Thing {
  const mesh: Mesh = { ...from, origin: [0, 0, 0] };
  if (from.origin.some((v) => v !== 0)) for (let i = 0; i < mesh.positions.length; i++) mesh.positions[i] += from.origin[i % 3];
  let closed: boolean | undefined;
  return {
    name,
    kind,
    mesh,
    geometry: geometryOf(mesh),
    get closed() {
      closed ??= isClosed(mesh);
      return closed;
    },
    ...details,
  };
}

/** Positions and indices for drawing, without normals until it is first seen; the mesh's origin must be zero. */
function geometryOf(mesh: Mesh): BufferGeometry {
  const g = new BufferGeometry();
  g.setAttribute('position', new BufferAttribute(mesh.positions, 3));
  g.setIndex(new BufferAttribute(mesh.indices, 1));
  g.computeBoundingBox();
  g.computeBoundingSphere();
  return g;
}

/** The room that a moving part sweeps goes by its name, whatever its extras say. */
const kindOf = (said: unknown, name: string): Kind =>
  (name.startsWith(SWEPT) ? 'swept' : undefined) ??
  KINDS.find((k) => k === said) ??
  KINDS.find((k) => k === name.replace(/ \d+$/, '')) ??
  'scan';

const SWEPT = 'swept-';

const numberOr = (v: unknown): number | undefined => (typeof v === 'number' && Number.isFinite(v) ? v : undefined);

function dispose(o: Mesh3): void {
  o.geometry.dispose();
  const m: Material | Material[] = o.material;
  for (const one of Array.isArray(m) ? m : [m]) one.dispose();
}

/** What stands shown before the user says otherwise: the room found, and the surroundings faintly; the rest waits in the list. */
export const firstShow = (t: Thing): Show => FIRST[t.kind] ?? 'hidden';

const FIRST: Partial<Record<Kind, Show>> = {
  envelope: 'shown',
  scan: 'faint',
  swept: 'faint',
  liquid: 'shown',
  trapped: 'shown',
  stranded: 'shown',
  route: 'shown',
};

/** Name for the list: scans keep the job's name, our own kinds get a plain word. */
export function labelOf(t: Thing): string {
  const words: Partial<Record<Kind, string>> = {
    removed: 'Removed part',
    envelope: 'Envelope',
    body: 'Body',
    cavity: 'Cavity',
    reclaimed: 'Reclaimed room',
    liquid: 'Liquid',
  };
  const word = words[t.kind];
  if (word && t.name === t.kind) return word;
  if (t.kind === 'swept') return `${t.name.replace(SWEPT, '')} in motion`;
  if (t.kind === 'removed') return `${t.name} (taken out)`;
  return t.kind === 'scan' ? t.name : t.name.charAt(0).toUpperCase() + t.name.slice(1);
}

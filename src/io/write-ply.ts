import type { Cloud } from '../core/cloud.ts';
import type { Mesh } from '../core/mesh.ts';

/** Text of one line for a header: no line ends, no control characters. */
const oneLine = (text: string): string => Array.from(text, (c) => (c < ' ' || c > '~' ? ' ' : c)).join('');

/**
 * Binary little-endian PLY in mm, of a mesh or of a cloud (with its normals). Coordinates are float where the origin is zero and
 * double where it is not, so that nothing is rounded away. `comments` become comment lines.
 */
export function writePly(shape: Mesh | Cloud, comments: readonly string[] = []): Uint8Array<ArrayBuffer> {
  const { origin, positions: p } = shape;
  const indices = 'indices' in shape ? shape.indices : undefined;
  const normals = 'normals' in shape ? shape.normals : undefined;
  const double = origin.some((o) => o !== 0);
  const type = double ? 'double' : 'float';
  const header = [
    'ply',
    'format binary_little_endian 1.0',
    ...comments.map((c) => `comment ${oneLine(c)}`),
    'comment lengths in mm',
    `element vertex ${p.length / 3}`,
    ...['x', 'y', 'z'].map((n) => `property ${type} ${n}`),
    ...(normals ? ['nx', 'ny', 'nz'].map((n) => `property float ${n}`) : []),
    ...(indices ? [`element face ${indices.length / 3}`, 'property list uchar int vertex_indices'] : []),
    'end_header\n',
  ].join('\n');
  const head = new TextEncoder().encode(header);
  const record = (double ? 24 : 12) + (normals ? 12 : 0);
  const out = new Uint8Array(head.length + (p.length / 3) * record + ((indices?.length ?? 0) / 3) * 13);
  out.set(head);
  const view = new DataView(out.buffer);
  let at = head.length;
  for (let i = 0; i < p.length; i += 3) {
    for (let a = 0; a < 3; a++, at += double ? 8 : 4) {
      if (double) view.setFloat64(at, p[i + a] + origin[a], true);
      else view.setFloat32(at, p[i + a], true);
    }
    if (normals) for (let a = 0; a < 3; a++, at += 4) view.setFloat32(at, normals[i + a], true);
  }
  if (indices)
    for (let i = 0; i < indices.length; i += 3, at += 13) {
      out[at] = 3;
      for (let c = 0; c < 3; c++) view.setInt32(at + 1 + 4 * c, indices[i + c], true);
    }
  return out;
}

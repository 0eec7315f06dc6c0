import { gzipSync } from 'fflate';
import type { Field } from '../core/field.ts';
import { joinBytes } from './bytes.ts';

export interface NrrdOptions {
  /** What a cell's number is, such as "slack, mm, positive = free". */
  readonly content: string;
  /** gzip the data; default raw. */
  readonly gzip?: boolean;
}

/**
 * NRRD (version 5, attached header, float32 little-endian) of a field, x fastest. The space origin is the centre of the first
 * cell and the directions are one step each, mm, as the format defines both. Cells that hold -Infinity keep it.
 */
export function writeNrrd({ grid, data }: Field, { content, gzip = false }: NrrdOptions): Uint8Array<ArrayBuffer> {
  const { origin, step: h } = grid;
  const header = [
    'NRRD0005',
    '# lengths in mm; x forward, y left, z up',
    'type: float',
    'dimension: 3',
    `sizes: ${grid.nx} ${grid.ny} ${grid.nz}`,
    `content: ${content.replace(/\s+/g, ' ')}`,
    'endian: little',
    `encoding: ${gzip ? 'gzip' : 'raw'}`,
    'space dimension: 3',
    'space units: "mm" "mm" "mm"',
    `space directions: (${h},0,0) (0,${h},0) (0,0,${h})`,
    `space origin: (${origin[0]},${origin[1]},${origin[2]})`,
    'kinds: domain domain domain',
    'centerings: cell cell cell',
    '\n',
  ].join('\n');
  const bytes = littleEndian(data);
  return joinBytes([new TextEncoder().encode(header), gzip ? gzipSync(bytes, { mtime: 0 }) : bytes]);
}

/** float32 as bytes, lowest first, whatever the machine. */
function littleEndian(data: Float32Array): Uint8Array {
  if (new Uint8Array(Uint16Array.of(1).buffer)[0] === 1) return new Uint8Array(data.buffer, data.byteOffset, data.byteLength);
  const view = new DataView(new ArrayBuffer(data.byteLength));
  for (let i = 0; i < data.length; i++) view.setFloat32(4 * i, data[i], true);
  return new Uint8Array(view.buffer);
}

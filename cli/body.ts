import { basename } from 'node:path';
import { Fault } from '../src/core/fault.ts';
import { joinMeshes, type Mesh, meshBox, triangleCount } from '../src/core/mesh.ts';
import { LENGTH_UNITS, type LengthUnit, MM_PER } from '../src/core/units.ts';
import { boxSize } from '../src/core/vec.ts';
import { readScan } from '../src/io/read.ts';
import { digestedSource } from './files.ts';

/** A finished body's file in plain words. */
export interface BodyAbout {
  readonly file: string;
  readonly sha256: string;
  readonly format: string;
  readonly unit: LengthUnit;
  readonly faces: number;
}

/**
 * Reads a finished body: one closed mesh, or several pieces, in mm. `unit` is that of files that carry none. Faults of the readers, and
 * `body-points` for a file without faces.
 */
export async function readBody(path: string, unit: LengthUnit): Promise<{ mesh: Mesh; about: BodyAbout }> {
  const source = await digestedSource(path);
  const file = await readScan(source);
  const meshes = file.parts.flatMap((p) => (p.mesh ? [p.mesh] : []));
  if (meshes.length === 0)
    throw new Fault({ code: 'body-points', what: 'The file holds points, but no faces: a body is a closed mesh.', where: path });
  const own = file.unit ?? unit;
  const joined = joinMeshes(meshes.map((m) => scaled(m, MM_PER[own])));
  checkSize(joined, own, path);
  return {
    mesh: joined,
    about: { file: basename(path), sha256: await source.digest(), format: file.format, unit: own, faces: triangleCount(joined) },
  };
}

/** Length of a body that may be put into a vehicle, mm. */
const SIZES = [20, 5000] as const;

/** A body read in the wrong unit is tiny or huge, and would fit or cross everything. */
function checkSize(mesh: Mesh, unit: LengthUnit, where: string): void {
  const size = Math.max(...boxSize(meshBox(mesh)));
  const [least, most] = SIZES;
  if (size >= least && size <= most) return;
  const likely = LENGTH_UNITS.find((u) => (size / MM_PER[unit]) * MM_PER[u] >= 3 * least && (size / MM_PER[unit]) * MM_PER[u] <= most / 2);
  throw new Fault({
    code: 'body-size',
    what: 'The body is of a size that no part of a vehicle has.',
    got: `${Number(size.toPrecision(3))} mm long, its numbers taken as ${unit}`,
    expected: `${least} mm to ${most / 1000} m`,
    hint: `export it in mm, or as GLB or 3MF, which carry their unit${likely ? `: its numbers look like ${likely}` : ''}`,
    where,
  });
}

const scaled = (m: Mesh, by: number): Mesh =>
  by === 1
    ? m
    : { origin: [m.origin[0] * by, m.origin[1] * by, m.origin[2] * by], positions: m.positions.map((v) => v * by), indices: m.indices };

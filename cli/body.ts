import { basename } from 'node:path';
import { Fault } from '../src/core/fault.ts';
import { joinMeshes, type Mesh, triangleCount } from '../src/core/mesh.ts';
import { type LengthUnit, MM_PER } from '../src/core/units.ts';
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
  return {
    mesh: joined,
    about: { file: basename(path), sha256: await source.digest(), format: file.format, unit: own, faces: triangleCount(joined) },
  };
}

const scaled = (m: Mesh, by: number): Mesh =>
  by === 1
    ? m
    : { origin: [m.origin[0] * by, m.origin[1] * by, m.origin[2] * by], positions: m.positions.map((v) => v * by), indices: m.indices };

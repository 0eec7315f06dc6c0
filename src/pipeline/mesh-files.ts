import type { Mesh } from '../core/mesh.ts';
import { write3mf } from '../io/write-3mf.ts';
import { writeGlb } from '../io/write-glb.ts';
import { writeObj } from '../io/write-obj.ts';
import { writePly } from '../io/write-ply.ts';
import { writeStep } from '../io/write-step.ts';
import { writeStl } from '../io/write-stl.ts';
import type { JobMake } from '../job/schema-make.ts';

/** Where files go, and what goes into those that carry a provenance. */
export interface Writing {
  readonly out: Map<string, Uint8Array>;
  readonly about: Readonly<Record<string, unknown>>;
  /** ISO 8601 */
  readonly time: string;
}

/** Puts one mesh as `name`.`format` among the files. */
export async function writeMesh(
  format: JobMake['formats'][number],
  name: string,
  mesh: Mesh,
  { out, about, time }: Writing,
): Promise<void> {
  out.set(`${name}.${format}`, await encode(format));

  async function encode(as: typeof format): Promise<Uint8Array> {
    if (as === 'stl') return writeStl(mesh, `voidgauge ${name}, mm`);
    if (as === 'glb') return writeGlb([{ name, mesh, colour: [0.1, 0.45, 0.7, 1] }], about);
    if (as === '3mf') return write3mf([{ name, mesh }], `voidgauge ${name}`);
    if (as === 'ply') return writePly(mesh, [`voidgauge ${name}, mm`]);
    if (as === 'obj') return writeObj([{ name, mesh }], [`voidgauge ${name}`]);
    return writeStep(mesh, { name, time });
  }
}

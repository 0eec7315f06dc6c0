import { Document, Logger, WebIO } from '@gltf-transform/core';
import type { Mesh } from '../core/mesh.ts';

export interface GlbPart {
  readonly name: string;
  readonly mesh: Mesh;
  /** Red, green, blue, opacity, 0..1, linear. */
  readonly colour?: readonly [number, number, number, number];
}

/**
 * Binary glTF, plain (the compressed kinds round). One named node a part; mm become metres and z-up becomes y-up
 * (x, z, -y), as the format asks; a part's origin is its node's shift. `extras` (plain JSON values: tool, job, units,
 * hashes) stand in the file's and the scene's extras.
 */
export async function writeGlb(parts: readonly GlbPart[], extras: Readonly<Record<string, unknown>>): Promise<Uint8Array<ArrayBuffer>> {
  const document = new Document().setLogger(new Logger(Logger.Verbosity.SILENT));
  const root = document.getRoot().setExtras({ ...extras });
  root.getAsset().generator = 'voidgauge';
  const buffer = document.createBuffer();
  const scene = document.createScene('scene').setExtras({ ...extras });
  root.setDefaultScene(scene);
  for (const { name, mesh, colour } of parts) {
    const { origin: o, positions: p } = mesh;
    const metres = new Float32Array(p.length);
    for (let i = 0; i < p.length; i += 3) {
      metres[i] = p[i] / 1000;
      metres[i + 1] = p[i + 2] / 1000;
      metres[i + 2] = -p[i + 1] / 1000;
    }
    const primitive = document
      .createPrimitive()
      .setAttribute('POSITION', document.createAccessor().setType('VEC3').setArray(metres).setBuffer(buffer))
      .setIndices(document.createAccessor().setType('SCALAR').setArray(new Uint32Array(mesh.indices)).setBuffer(buffer));
    if (colour) {
      const material = document
        .createMaterial(name)
        .setBaseColorFactor([...colour])
        .setMetallicFactor(0)
        .setRoughnessFactor(0.8);
      primitive.setMaterial(material.setDoubleSided(true).setAlphaMode(colour[3] < 1 ? 'BLEND' : 'OPAQUE'));
    }
    const node = document.createNode(name).setMesh(document.createMesh(name).addPrimitive(primitive));
    scene.addChild(node.setTranslation([o[0] / 1000, o[2] / 1000, -o[1] / 1000]));
  }
  return await new WebIO().setLogger(new Logger(Logger.Verbosity.SILENT)).writeBinary(document);
}

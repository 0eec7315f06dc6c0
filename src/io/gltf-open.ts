import { Fault } from '../core/fault.ts';
import { count } from './build.ts';
import { type GltfJson, isRecord } from './gltf-layout.ts';
import type { ByteSource } from './source.ts';

const GLB_BUFFER = '@glb.bin';
const JSON_CHUNK = 0x4e4f534a;
const BIN_CHUNK = 0x004e4942;

const broken = (name: string, what: string, got: string, expected: string): Fault =>
  new Fault({ code: 'gltf-layout', what, got, expected, hint: 'Copy or export the file again.', where: name });

/** The two chunks of a .glb (glTF 2.0, section 4). */
export function openGlb(name: string, bytes: Uint8Array): { json: GltfJson; bin: Uint8Array<ArrayBuffer> | undefined } {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  if (bytes.length < 20) throw broken(name, 'The GLB file is cut off.', `${bytes.length} bytes`, 'at least 20');
  if (view.getUint32(4, true) !== 2) throw broken(name, 'The GLB file has another version.', String(view.getUint32(4, true)), 'version 2');
  const length = view.getUint32(8, true);
  if (length !== bytes.length)
    throw broken(
      name,
      length > bytes.length ? 'The GLB file is cut off.' : 'The GLB file goes on after its end.',
      `${count(bytes.length)} bytes`,
      `${count(length)}, as byte 8 says`,
    );
  let json: GltfJson | undefined;
  let bin: Uint8Array<ArrayBuffer> | undefined;
  for (let at = 12; at < length; ) {
    const end = at + 8 <= length ? at + 8 + view.getUint32(at, true) : Infinity;
    if (end > length)
      throw broken(name, 'A chunk of the GLB file reaches beyond its end.', `a chunk at byte ${at}`, `an end by byte ${length}`);
    const type = view.getUint32(at + 4, true);
    // Copied, so that views on it begin at a multiple of four.
    if (type === JSON_CHUNK && !json) json = parseJson(name, bytes.subarray(at + 8, end));
    else if (type === BIN_CHUNK && !bin) bin = new Uint8Array(bytes.subarray(at + 8, end));
    at = end;
  }
  if (!json) throw broken(name, 'The GLB file has no JSON chunk.', 'other chunks', 'a JSON chunk at byte 12');
  return { json, bin };
}

/** The JSON of a .gltf, or of a .glb's first chunk. */
export function parseJson(name: string, bytes: Uint8Array): GltfJson {
  let json: GltfJson;
  try {
    json = JSON.parse(new TextDecoder().decode(bytes));
  } catch (e) {
    throw broken(name, 'The glTF text cannot be read.', e instanceof Error ? e.message.slice(0, 120) : '', 'JSON');
  }
  if (!isRecord(json) || !isRecord(json.asset)) throw broken(name, 'The file is JSON, but not glTF.', 'no "asset"', 'a glTF 2.0 file');
  if (json.asset.version !== '2.0')
    throw broken(name, 'The glTF file has another version.', String(json.asset.version).slice(0, 20), 'version 2.0');
  return json;
}

/** Bytes of each buffer: the GLB's own chunk, data URIs, files beside it. Undefined for a stand-in without data. */
export async function loadBuffers(source: ByteSource, json: GltfJson, bin: Uint8Array<ArrayBuffer> | undefined) {
  const resources: Record<string, Uint8Array<ArrayBuffer>> = bin ? { [GLB_BUFFER]: bin } : {};
  const sizes: (number | undefined)[] = [];
  const buffers: unknown = json.buffers ?? [];
  if (!Array.isArray(buffers)) throw broken(source.name, 'The glTF file has no list of buffers.', typeof buffers, 'a list');
  for (const [i, buffer] of buffers.entries()) {
    const uri: unknown = isRecord(buffer) ? buffer['uri'] : undefined;
    const promised: unknown = isRecord(buffer) ? buffer['byteLength'] : undefined;
    if (typeof promised !== 'number' || !Number.isSafeInteger(promised) || promised < 0)
      throw broken(source.name, 'A buffer of the glTF file has no length.', `buffers[${i}]`, 'byteLength');
    if (uri !== undefined && typeof uri !== 'string')
      throw broken(source.name, 'A buffer of the glTF file has no proper address.', `buffers[${i}]`, 'text');
    let data: Uint8Array<ArrayBuffer> | undefined;
    if (uri === undefined) data = i === 0 ? bin : undefined;
    else {
      data = uri.startsWith('data:') ? fromDataUri(source.name, uri) : await besides(source, uri);
      const key = `buffer ${i}`;
      buffer.uri = key;
      resources[key] = data;
    }
    if (data && data.length < promised)
      throw broken(
        source.name,
        'A buffer of the glTF file is cut off.',
        `buffers[${i}]: ${count(data.length)} bytes`,
        `${count(promised)}, as the file says`,
      );
    sizes.push(data?.length);
  }
  return { resources, sizes };
}

async function besides(source: ByteSource, uri: string): Promise<Uint8Array<ArrayBuffer>> {
  const hint = 'Keep the .gltf and its .bin files together, or export one .glb.';
  if (!source.sibling)
    throw new Fault({
      code: 'gltf-buffer',
      what: 'The glTF file needs a file beside it.',
      got: 'the .gltf alone',
      expected: uri.slice(0, 120),
      hint,
      where: source.name,
    });
  try {
    return new Uint8Array(await source.sibling(decodeURIComponent(uri)));
  } catch (e) {
    if (e instanceof Fault) throw e;
    throw new Fault({
      code: 'gltf-buffer',
      what: 'A file that the glTF file needs cannot be read.',
      got: e instanceof Error ? e.message : String(e),
      expected: uri.slice(0, 120),
      hint,
      where: source.name,
    });
  }
}

function fromDataUri(name: string, uri: string): Uint8Array<ArrayBuffer> {
  const comma = uri.indexOf(',');
  if (!/;base64$/.test(uri.slice(0, comma)))
    throw broken(name, 'A buffer inside the glTF file is not in base64.', uri.slice(0, 40), 'data:…;base64,…');
  const out = new Uint8Array(Math.ceil(((uri.length - comma - 1) * 3) / 4));
  let n = 0;
  let bits = 0;
  let held = 0;
  for (let i = comma + 1; i < uri.length && uri[i] !== '='; i++) {
    const v = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/'.indexOf(uri[i]);
    if (v < 0) throw broken(name, 'A buffer inside the glTF file is not in base64.', `"${uri[i]}"`, 'base64 letters');
    bits = ((bits << 6) | v) & 0xffffff;
    held += 6;
    if (held >= 8) {
      held -= 8;
      out[n++] = bits >> held;
    }
  }
  return out.subarray(0, n);
}

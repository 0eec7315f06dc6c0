/**
 * Where the page gets its files: a result folder OUT, served or built into the page.
 *
 * Served (`voidgauge view OUT`): the page at `/`, OUT's files under `data/`, and `GET data/` answers with a JSON array of
 * the names there, so that the page never asks for a file that is missing.
 * Built in (`report.html`): each file is `<script type="text/plain" data-file="NAME">BASE64 OF GZIP</script>`; see embed.ts.
 *
 * Files the page knows:
 *   result.json   the result contract
 *   scene.glb     what is drawn. glTF 2.0, metres, +Y up as that standard says (a root node turns mm, +Z up, into it).
 *                 One node per thing, its name the scan's name or one of `envelope`, `body`, `cavity`, `removed`, `reclaimed`,
 *                 `pocket 1`, …, `swept-SCAN`. Node extras: { kind: 'scan' | 'removed' | 'envelope' | 'body' | 'cavity' | 'reclaimed' | 'pocket' | 'swept',
 *                 clearance_mm?, error_mm? (of the thinning), triangles? (before it) }.
 *                 POSITION as float32 or, with KHR_mesh_quantization, normalized int16; indices; no normals needed.
 *   coarse.json   header of the coarse distance fields for the dials, see src/report/coarse.ts
 *   coarse.bin    their numbers
 *   drawing.svg   three views with dimensions, and sections, for the printed sheet
 */
export interface Source {
  /** Names of the files there are. */
  readonly names: readonly string[];
  /** The bytes of a file; rejects with a sentence for the user when it cannot be had. */
  read(name: string): Promise<ArrayBuffer>;
  /** True when a server stands behind the page, that can run the program again. */
  readonly served: boolean;
}

export async function openSource(): Promise<Source> {
  const inside = [...document.querySelectorAll<HTMLScriptElement>('script[data-file]')];
  if (inside.length) return builtIn(new Map(inside.map((e) => [e.dataset.file ?? '', e])));
  if (location.protocol === 'file:') return { names: [], served: false, read: missing };
  const answer = await fetch('data/', { headers: { accept: 'application/json' } });
  const names: unknown = answer.ok ? await answer.json() : [];
  return {
    names: Array.isArray(names) ? names.filter((n) => typeof n === 'string') : [],
    served: true,
    read: async (name) => {
      const got = await fetch(`data/${encodeURIComponent(name)}`, { cache: 'no-cache' });
      if (!got.ok) throw new Error(`${name} could not be read (${got.status}).`);
      return got.arrayBuffer();
    },
  };
}

/** Files that the page made itself. */
export const memorySource = (files: ReadonlyMap<string, Uint8Array<ArrayBuffer>>): Source => ({
  names: [...files.keys()],
  served: false,
  // A copy: who reads may hand its memory on to another thread.
  read: async (name) => files.get(name)?.slice().buffer ?? missing(name),
});

const missing = (name: string): Promise<ArrayBuffer> => Promise.reject(new Error(`This page holds no ${name}.`));

function builtIn(blocks: ReadonlyMap<string, HTMLScriptElement>): Source {
  return {
    names: [...blocks.keys()],
    served: false,
    read: async (name) => {
      const text = blocks.get(name)?.textContent;
      return text ? gunzip(fromBase64(text)) : missing(name);
    },
  };
}

/** Bytes of a text in base64. */
export function fromBase64(text: string): Uint8Array<ArrayBuffer> {
  const raw = atob(text.trim());
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return bytes;
}

/** Bytes packed by gzip, unpacked by the browser itself. */
export const gunzip = (bytes: BufferSource): Promise<ArrayBuffer> =>
  new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'))).arrayBuffer();

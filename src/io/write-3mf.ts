import { type Zippable, zipSync } from 'fflate';
import type { Mesh } from '../core/mesh.ts';
import { joinBytes } from './bytes.ts';
import { looseEdges, oppositeEdges } from './edges.ts';

const XML = '<?xml version="1.0" encoding="UTF-8"?>\n';
const CONTENT_TYPES = `${XML}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>`;
const RELATIONS = `${XML}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`;

const xmlText = (text: string): string =>
  Array.from(text, (c) => (c < ' ' ? ' ' : c))
    .join('')
    .replace(/&/g, '&amp;')
    .replace(/</g, '&lt;')
    .replace(/>/g, '&gt;')
    .replace(/"/g, '&quot;');

const digits = (v: number): string => String(Number(v.toPrecision(9)));

/**
 * 3MF core package in mm: one named object and one build item a part; a part's origin is its item's transform. A part that is
 * closed and turned one way is of type "model"; any other is of type "surface", as the specification asks.
 * 1M triangles: about 4 s, most of it packing.
 */
export function write3mf(parts: readonly { readonly name: string; readonly mesh: Mesh }[], title: string): Uint8Array<ArrayBuffer> {
  const encoder = new TextEncoder();
  const pieces: Uint8Array[] = [];
  let lines: string[] = [
    `${XML}<model unit="millimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n`,
    `<metadata name="Title">${xmlText(title)}</metadata>\n<metadata name="Application">voidgauge</metadata>\n<resources>\n`,
  ];
  const flush = (least: number): void => {
    if (lines.length <= least) return;
    pieces.push(encoder.encode(lines.join('')));
    lines = [];
  };
  for (const [i, { name, mesh }] of parts.entries()) {
    const { positions: p, indices: t } = mesh;
    const type = looseEdges(oppositeEdges(mesh)) === 0 ? 'model' : 'surface';
    lines.push(`<object id="${i + 1}" type="${type}" name="${xmlText(name)}"><mesh><vertices>\n`);
    for (let v = 0; v < p.length; v += 3) {
      lines.push(`<vertex x="${digits(p[v])}" y="${digits(p[v + 1])}" z="${digits(p[v + 2])}"/>\n`);
      flush(65536);
    }
    lines.push('</vertices><triangles>\n');
    for (let c = 0; c < t.length; c += 3) {
      lines.push(`<triangle v1="${t[c]}" v2="${t[c + 1]}" v3="${t[c + 2]}"/>\n`);
      flush(65536);
    }
    lines.push('</triangles></mesh></object>\n');
  }
  lines.push('</resources>\n<build>\n');
  for (const [i, { mesh }] of parts.entries())
    lines.push(`<item objectid="${i + 1}" transform="1 0 0 0 1 0 0 0 1 ${mesh.origin.join(' ')}"/>\n`);
  lines.push('</build>\n</model>\n');
  flush(0);
  // A fixed date, so that the same parts give the same bytes.
  const options = { level: 6, mtime: new Date(1980, 0, 1) } as const;
  const files: Zippable = {
    '[Content_Types].xml': [encoder.encode(CONTENT_TYPES), options],
    '_rels/.rels': [encoder.encode(RELATIONS), options],
    '3D/3dmodel.model': [joinBytes(pieces), options],
  };
  return zipSync(files);
}

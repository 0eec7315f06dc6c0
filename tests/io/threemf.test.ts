import { strToU8, unzipSync, zipSync } from 'fflate';
import { SaxesParser } from 'saxes';
import { describe, expect, it } from 'vitest';
import { type Mesh, meshBox, meshVolume } from '../../src/core/mesh.ts';
import { random } from '../../src/core/random.ts';
import { write3mf } from '../../src/io/write-3mf.ts';
import { box, corners, faultOf, patched, read, torus } from './shapes.ts';

const RELS =
  '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/a.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>';
const CORE =
  'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"';

/** A package around a model; more files by path. */
const packed = (model: string, more: Record<string, string> = {}): Uint8Array =>
  zipSync({
    '[Content_Types].xml': strToU8('<Types/>'),
    '_rels/.rels': strToU8(RELS),
    '3D/a.model': strToU8(model),
    ...Object.fromEntries(Object.entries(more).map(([k, v]) => [k, strToU8(v)])),
  });

function meshXml({ positions: p, indices: t }: Mesh): string {
  const v = Array.from({ length: p.length / 3 }, (_, i) => `<vertex x="${p[3 * i]}" y="${p[3 * i + 1]}" z="${p[3 * i + 2]}"/>`);
  const f = Array.from({ length: t.length / 3 }, (_, i) => `<triangle v1="${t[3 * i]}" v2="${t[3 * i + 1]}" v3="${t[3 * i + 2]}"/>`);
  return `<mesh><vertices>${v.join('')}</vertices><triangles>${f.join('')}</triangles></mesh>`;
}

const unitBox = meshXml(box([0, 0, 0], [1, 2, 3]));
const model = (inside: string, attributes = 'unit="millimeter"'): string =>
  `<?xml version="1.0"?><model ${attributes} ${CORE}>${inside}</model>`;
const simple = model(
  `<resources><object id="7" type="model" name="tank">${unitBox}</object></resources><build><item objectid="7"/></build>`,
);

describe('3MF', () => {
  it.each([
    ['micron', 'um'],
    ['millimeter', 'mm'],
    ['centimeter', 'cm'],
    ['inch', 'in'],
    ['foot', 'ft'],
    ['meter', 'm'],
  ] as const)('unit %s', async (name, unit) => {
    expect((await read('u.3mf', packed(simple.replace('millimeter', name)))).unit).toBe(unit);
  });

  it('is in mm when it does not say', async () => {
    expect((await read('u.3mf', packed(simple.replace('unit="millimeter"', '')))).unit).toBe('mm');
  });

  it('places items and nested components, mirrored ones turned round; several items, several files', async () => {
    const inside = `<resources><object id="1" name="box">${unitBox}</object>
      <object id="2" name="pair"><components><component objectid="1"/><component objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 0 0"/></components></object>
      <object id="3" name="all"><components><component objectid="2" transform="1 0 0 0 1 0 0 0 1 0 0 100"/><component objectid="5" p:path="/3D/other.model"/></components></object></resources>
      <build><item objectid="3" transform="2 0 0 0 2 0 0 0 2 1 1 1"/><item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/></build>`;
    const other = model(`<resources><object id="5" name="far">${unitBox}</object></resources><build/>`);
    const file = await read('n.3mf', packed(model(inside), { '3D/other.model': other }));
    expect(file.parts.map((p) => p.name)).toEqual(['box', 'box 2', 'far', 'box 3']);
    const boxes = file.parts.map((p) => meshBox(p.mesh!));
    expect(boxes.map((b) => b.min)).toEqual([
      [1, 1, 201],
      [17, 1, 201],
      [1, 1, 1],
      [-1, 0, 0],
    ]);
    expect(boxes.map((b) => b.max)).toEqual([
      [3, 5, 207],
      [21, 3, 207],
      [3, 5, 7],
      [0, 2, 3],
    ]);
    expect(file.parts.map((p) => meshVolume(p.mesh!))).toEqual([48, 48, 48, 6].map((v) => expect.closeTo(v, 4)));
  });

  it('names what is wrong and where', async () => {
    const code = async (m: string): Promise<string> => (await faultOf('x.3mf', packed(m))).code;
    expect(await code(simple.replace('v1="0"', 'v1="8"'))).toBe('scan-index');
    expect(await code(simple.replace('x="0"', 'x="nan"'))).toBe('scan-not-finite');
    expect(await code(simple.replace('x="0"', ''))).toBe('scan-not-finite');
    expect(await code(simple.replace('v1="0"', 'v1="-1"'))).toBe('3mf-content');
    expect(await code(simple.replace('objectid="7"', 'objectid="8"'))).toBe('3mf-content');
    expect(await code(simple.replace('objectid="7"', 'objectid="7" transform="1 0 0"'))).toBe('3mf-content');
    expect(await code(simple.replace('millimeter', 'furlong'))).toBe('3mf-content');
    expect(await code(simple.replace('unit=', 'requiredextensions="q" unit='))).toBe('3mf-content');
    expect(await code(simple.replace('<item objectid="7"/>', ''))).toBe('scan-empty');
    expect(await code(simple.slice(0, 300))).toBe('3mf-content');
    expect(await code(simple.replace('<model', '<!DOCTYPE m [<!ENTITY a "b">]><model'))).toBe('3mf-content');
    const ring = model(
      '<resources><object id="1"><components><component objectid="1"/></components></object></resources><build><item objectid="1"/></build>',
    );
    expect(await code(ring)).toBe('3mf-content');
    const broken = await faultOf('x.3mf', packed(simple.replace('</vertices>', '</vertexes>')));
    expect(broken.detail.where).toMatch(/x\.3mf:\/3D\/a\.model:1:\d+/);
  });

  it('refuses copies of copies without end, and false sizes, before it makes them', async () => {
    const levels = Array.from(
      { length: 40 },
      (_, i) => `<object id="${i + 2}"><components>${`<component objectid="${i + 1}"/>`.repeat(10)}</components></object>`,
    );
    const bomb = model(`<resources><object id="1">${unitBox}</object>${levels.join('')}</resources><build><item objectid="41"/></build>`);
    expect((await faultOf('bomb.3mf', packed(bomb))).detail.what).toContain('copies');
    const zip = packed(simple);
    const entry = new TextDecoder('latin1').decode(zip).lastIndexOf('3D/a.model') - 46;
    expect((await faultOf('s.3mf', patched(zip, entry + 24, [0, 0, 0, 0x7f]))).code).toBe('zip-damaged');
    expect((await faultOf('s.3mf', patched(zip, entry + 24, [zip[entry + 24] - 1]))).code).toBe('zip-damaged');
    expect((await faultOf('s.3mf', patched(zip, entry + 16, [zip[entry + 16] ^ 1]))).code).toBe('zip-damaged');
    expect((await faultOf('s.3mf', zip.subarray(0, zip.length - 30))).code).toBe('zip-damaged');
  });

  it('our own file keeps the rules of the core specification 1.3, by other libraries, and reads back', async () => {
    const parts = [
      { name: 'cavity <"1"> & more', mesh: { ...torus(14, 9, random(5), 1), origin: [100, 200, 300] as const } },
      { name: 'sheet', mesh: { ...box([0, 0, 0], [1, 1, 1]), indices: box([0, 0, 0], [1, 1, 1]).indices.slice(3) } },
    ];
    const bytes = write3mf(parts, 'test & title');
    const files = unzipSync(bytes);
    expect(Object.keys(files).sort()).toEqual(['3D/3dmodel.model', '[Content_Types].xml', '_rels/.rels']);
    const tags: { name: string; uri: string; at: Record<string, string> }[] = [];
    const parse = (path: string): void => {
      const parser = new SaxesParser({ xmlns: true });
      parser.on('opentag', (t) => {
        tags.push({ name: t.local, uri: t.uri, at: Object.fromEntries(Object.values(t.attributes).map((a) => [a.local, a.value])) });
      });
      parser.write(new TextDecoder().decode(files[path])).close();
    };
    parse('[Content_Types].xml');
    // Core specification, section 2.1 and appendix C: content types and the relation to the model.
    const types = tags.filter((t) => t.name === 'Default').map((t) => `${t.at['Extension']} ${t.at['ContentType']}`);
    expect(types).toEqual([
      'rels application/vnd.openxmlformats-package.relationships+xml',
      'model application/vnd.ms-package.3dmanufacturing-3dmodel+xml',
    ]);
    tags.length = 0;
    parse('_rels/.rels');
    const relation = tags.find((t) => t.name === 'Relationship')!.at;
    expect(relation).toMatchObject({ Target: '/3D/3dmodel.model', Type: 'http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel' });
    tags.length = 0;
    parse('3D/3dmodel.model');
    expect(new Set(tags.map((t) => t.uri))).toEqual(new Set(['http://schemas.microsoft.com/3dmanufacturing/core/2015/02']));
    expect(tags[0].at['unit']).toBe('millimeter');
    const order = tags.map((t) => t.name).filter((n) => ['metadata', 'resources', 'build'].includes(n));
    expect(order).toEqual(['metadata', 'metadata', 'resources', 'build']);
    // Section 4.1: numbers of objects from 1, unique, defined before use; only closed meshes may be of type "model" (4.1.4).
    expect(tags.filter((t) => t.name === 'object').map((t) => [t.at['id'], t.at['type'], t.at['name']])).toEqual([
      ['1', 'model', 'cavity <"1"> & more'],
      ['2', 'surface', 'sheet'],
    ]);
    expect(tags.filter((t) => t.name === 'item').map((t) => t.at['objectid'])).toEqual(['1', '2']);
    for (const t of tags.filter((e) => e.name === 'triangle')) expect(new Set([t.at['v1'], t.at['v2'], t.at['v3']]).size).toBe(3);
    // Volume and extent from the numbers in the text alone, with the item's shift.
    const own = tags.slice(tags.findIndex((t) => t.name === 'object'));
    const second = own.findIndex((t, i) => i > 0 && t.name === 'object');
    const number = (t: (typeof tags)[number], k: string): number => Number(t.at[k]);
    const v = own
      .slice(0, second)
      .filter((t) => t.name === 'vertex')
      .map((t) => ['x', 'y', 'z'].map((k) => number(t, k)));
    const f = own
      .slice(0, second)
      .filter((t) => t.name === 'triangle')
      .map((t) => ['v1', 'v2', 'v3'].map((k) => v[number(t, k)]));
    const volume = f.reduce(
      (s, [a, b, c]) =>
        s + (a[0] * (b[1] * c[2] - b[2] * c[1]) + a[1] * (b[2] * c[0] - b[0] * c[2]) + a[2] * (b[0] * c[1] - b[1] * c[0])) / 6,
      0,
    );
    expect(volume).toBeCloseTo(meshVolume(parts[0].mesh), 1);
    expect(tags.find((t) => t.name === 'item')!.at['transform']).toBe('1 0 0 0 1 0 0 0 1 100 200 300');
    const file = await read('own.3mf', bytes);
    expect([file.unit, file.parts.map((p) => p.name)]).toEqual(['mm', parts.map((p) => p.name)]);
    expect(Math.max(...corners(file.parts[0].mesh!).map((x, i) => Math.abs(x - corners(parts[0].mesh)[i])))).toBeLessThan(1e-4);
  });
});

import { deflateRawSync } from 'node:zlib';
import { strToU8, zipSync } from 'fflate';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { write3mf } from '../../src/io/write-3mf.ts';
import { writeGlb } from '../../src/io/write-glb.ts';
import { writeObj } from '../../src/io/write-obj.ts';
import { writePly } from '../../src/io/write-ply.ts';
import { writeStl } from '../../src/io/write-stl.ts';
import { box, faultOf, patched, read, torus } from './shapes.ts';

const mesh = torus(9, 6, random(1), 1);
const stl = writeStl(mesh, 'x');

describe('ZIP of scans', () => {
  it('reads every scan in it, names parts by file, lists what is no scan', async () => {
    const zip = zipSync({
      'scan/frame.stl': stl,
      'scan/frame.mtl': strToU8('newmtl a'),
      'scan/engine.obj': writeObj([
        { name: 'head', mesh },
        { name: 'sump', mesh: box([0, 0, 0], [1, 1, 1]) },
      ]),
      'readme.txt': strToU8('Scanned on a Tuesday.'),
      '__MACOSX/._frame.stl': strToU8('rubbish'),
      'stored.ply': [writePly(mesh), { level: 0 }],
    });
    const file = await read('all.zip', zip);
    expect(file.parts.map((p) => p.name)).toEqual(['frame', 'engine/head', 'engine/sump', 'stored']);
    expect(file.parts[0].mesh).toEqual((await read('frame.stl', stl)).parts[0].mesh);
    expect(file.format).toBe('ZIP of STL (binary), OBJ, PLY (binary, little-endian)');
    expect(file.notes).toEqual([
      { code: 'zip-left', text: '2 files of the archive are not scans and were not read: scan/frame.mtl, readme.txt.', where: 'all.zip' },
    ]);
  });

  it('keeps names of one file as they are; opens a 3MF in it; wants one unit', async () => {
    const packageFile = write3mf([{ name: 'tank', mesh }], 't');
    const file = await read('one.zip', zipSync({ 'a/t.3mf': packageFile }));
    expect([file.unit, file.parts[0].name]).toEqual(['mm', 'tank']);
    const glb = await writeGlb([{ name: 'g', mesh }], {});
    expect((await faultOf('two.zip', zipSync({ 'a.glb': glb, 'a.stl': stl }))).code).toBe('zip-units');
  });

  it('a damaged scan is a fault that names archive and file; archives without scans too', async () => {
    const cut = await faultOf('bad.zip', zipSync({ 'good.stl': stl, 'cut.stl': stl.subarray(0, 500) }));
    expect([cut.code, cut.detail.where]).toEqual(['stl-cut', 'bad.zip:cut.stl, byte 484']);
    expect((await faultOf('none.zip', zipSync({ 'a.png': strToU8('x') }))).code).toBe('zip-no-scan');
    const zip = zipSync({ 'a.stl': stl });
    for (let i = 1; i < zip.length; i += 97) expect((await faultOf('cut.zip', zip.subarray(0, i))).code).toMatch(/zip-damaged|scan-format/);
    const locked = zip.slice();
    const directory = new TextDecoder('latin1').decode(zip).lastIndexOf('PK\x01\x02');
    locked[directory + 8] |= 1;
    expect((await faultOf('locked.zip', locked)).detail.got).toContain('password');
    expect((await faultOf('odd.zip', patched(zip, directory + 10, [99]))).detail.got).toContain('method 99');
  });

  it('refuses an archive that would unpack to more than a scan, by its directory alone', async () => {
    const zeros = deflateRawSync(new Uint8Array(1 << 16));
    const zip = zipSync({ 'a.stl': [zeros, { level: 0 }] });
    const directory = new TextDecoder('latin1').decode(zip).lastIndexOf('PK\x01\x02');
    const bomb = patched(patched(zip, directory + 10, [8]), directory + 24, [0, 0, 0, 0xf0]);
    expect((await faultOf('bomb.zip', bomb)).code).toBe('zip-damaged');
  });
});

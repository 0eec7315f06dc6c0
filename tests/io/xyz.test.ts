import type { BufferGeometry } from 'three';
import { XYZLoader } from 'three/examples/jsm/loaders/XYZLoader.js';
import { describe, expect, it } from 'vitest';
import { random } from '../../src/core/random.ts';
import { readScan } from '../../src/io/read.ts';
import { faultOf, inPieces, read, text } from './shapes.ts';

const rng = random(5);
const N = 50;
const xyz = Array.from({ length: N }, () => [rng.range(-9, 9), rng.range(-9, 9), rng.range(-9, 9)].map((v) => Number(v.toFixed(4))));
const unit = Array.from({ length: N }, () => rng.direction().map((v) => Number(v.toFixed(5))));
const flat = Float32Array.from(xyz.flat());
const table = (rows: readonly (readonly unknown[])[], by: string): string => `${rows.map((r) => r.join(by)).join('\n')}\n`;

async function points(name: string, s: string): Promise<{ points: Float32Array; normals: boolean; verdict: string }> {
  const { parts, notes } = await read(name, s);
  return {
    points: parts[0].cloud!.positions,
    normals: parts[0].cloud!.normals !== undefined,
    verdict: notes.find((n) => n.code === 'xyz-columns')!.text,
  };
}

describe('rows of points', () => {
  it('blanks, tabs, commas, semicolons, decimal commas, quotes: the same points; three agrees on blanks', async () => {
    const oracle = Float32Array.from((new XYZLoader().parse(table(xyz, ' '), () => {}) as BufferGeometry).getAttribute('position').array);
    expect(oracle).toEqual(flat);
    const comma = xyz.map((r) => r.map((v) => v.toFixed(4).replace('.', ',')));
    const cases: readonly (readonly [string, string])[] = [
      [table(xyz, ' '), 'Separated by blanks or tabs; x, y, z in columns 1 to 3; no other columns.'],
      [table(xyz, '\t'), 'Separated by blanks or tabs;'],
      [table(xyz, ','), 'Separated by commas;'],
      [table(xyz, ', '), 'Separated by commas;'],
      [table(xyz, ';'), 'Separated by semicolons;'],
      [table(comma, ';'), 'Separated by semicolons, decimal commas;'],
      [table(comma, ' '), 'Separated by blanks or tabs, decimal commas;'],
      [
        table(
          xyz.map((r) => r.map((v) => `"${v}"`)),
          ',',
        ),
        'Separated by commas;',
      ],
      [table(xyz, ' ').replace(/\n/g, '\r\n'), 'Separated by blanks or tabs;'],
      [table(xyz, ' ').replace(/\n/g, '\r'), 'Separated by blanks or tabs;'],
    ];
    for (const [s, verdict] of cases) {
      const got = await points('p.xyz', s);
      expect(got.points).toEqual(flat);
      expect(got.verdict).toContain(verdict);
      for (const most of [3, 1000]) expect((await readScan(inPieces('p.xyz', text(s), most))).parts[0].cloud!.positions).toEqual(flat);
    }
  });

  it('a file of 200 KB in pieces: the points of the whole, and the line of a bad row', async () => {
    const rows = Array.from({ length: 9000 }, (_, i) => [i, -i / 8, rng.range(-9, 9).toFixed(4)]);
    for (const by of [' ', ',', ';']) {
      const s = table(rows, by);
      for (const most of [60, 5000]) {
        const { cloud } = (await readScan(inPieces('p.xyz', text(s), most))).parts[0];
        expect(
          Buffer.compare(
            Buffer.from(cloud!.positions.buffer),
            Buffer.from(Float32Array.from(rows.flat().map((v) => Number(String(v)))).buffer),
          ),
        ).toBe(0);
      }
      const bad = s.replace(`\n8000${by}`, `\n8000x${by}`);
      await expect(readScan(inPieces('p.xyz', text(bad), 5000))).rejects.toMatchObject({ detail: { where: 'p.xyz, line 8001' } });
    }
  });

  it('columns 4 to 6: normals when their squares add up to 1, colours when they look it, and it says which', async () => {
    const both = xyz.map((r, i) => [...r, ...unit[i]]);
    expect(await points('n.txt', table(both, ' '))).toMatchObject({
      normals: true,
      verdict: expect.stringContaining('columns 4 to 6 are normals'),
    });
    const { cloud } = (await read('n.asc', table(both, ' '))).parts[0];
    expect(Math.max(...unit.flat().map((v, i) => Math.abs(v - cloud!.normals![i])))).toBeLessThan(2e-5);
    const colours = xyz.map((r) => [...r, rng.below(256), rng.below(256), rng.below(256)]);
    expect(await points('c.csv', table(colours, ','))).toMatchObject({
      normals: false,
      verdict: expect.stringContaining('taken for colours'),
    });
    const shades = xyz.map((r) => [...r, rng.next(), rng.next(), rng.next()]);
    expect(await points('c.csv', table(shades, ','))).toMatchObject({
      normals: false,
      verdict: expect.stringContaining('taken for colours'),
    });
    const other = xyz.map((r) => [...r, rng.range(-5, 500), 1, 2]);
    expect(await points('o.csv', table(other, ','))).toMatchObject({ normals: false, verdict: expect.stringContaining('something else') });
    const nine = xyz.map((r, i) => [...r, rng.below(256), rng.below(256), rng.below(256), ...unit[i]]);
    expect(await points('n.csv', table(nine, ','))).toMatchObject({
      normals: true,
      verdict: expect.stringContaining('columns 7 to 9 are normals'),
    });
    expect(
      (
        await points(
          'i.xyz',
          table(
            xyz.map((r) => [...r, 17]),
            ' ',
          ),
        )
      ).verdict,
    ).toContain('the other columns are not used');
  });

  it('header lines, comments, names of columns, a count of points', async () => {
    const named = xyz.map((r, i) => [`P${i}`, ...unit[i], r[2], r[1], r[0]]);
    const got = await points(
      'h.csv',
      `Scan of a frame\n\nLabel,NX,NY,NZ,Z [mm],Y [mm],X [mm]\n${table(named, ',')}`.replace(/ \[mm\]/g, '(mm)'),
    );
    expect(got).toMatchObject({ points: flat, normals: true, verdict: expect.stringContaining('x, y, z by the header (columns 7, 6, 5)') });
    expect((await points('h.xyz', `# a comment\n// another\n${table(xyz, ' ')}# end\n`)).points).toEqual(flat);
    expect((await points('h.pts', `${N}\n${table(xyz, ' ')}`)).points).toEqual(flat);
    expect((await faultOf('h.pts', `${N + 1}\n${table(xyz, ' ')}`)).code).toBe('xyz-count');
    expect((await points('noname', table(xyz, ' '))).points).toEqual(flat);
  });

  it('names what is wrong and where', async () => {
    const s = table(xyz, ' ').split('\n');
    const withRow = (row: string): string => [...s.slice(0, 7), row, ...s.slice(7)].join('\n');
    const bad = async (row: string): Promise<string> => {
      const f = await faultOf('x.xyz', withRow(row));
      return `${f.code} ${f.detail.where}`;
    };
    expect(await bad('1 2')).toBe('xyz-row x.xyz, line 8');
    expect(await bad('1 2 3 4')).toBe('xyz-row x.xyz, line 8');
    expect(await bad('1 nan 3')).toBe('xyz-row x.xyz, line 8');
    expect(await bad('1 two 3')).toBe('xyz-row x.xyz, line 8');
    expect(await bad('1 1e300 3')).toBe('scan-not-finite x.xyz, line 8');
    expect((await faultOf('x.txt', 'Dear reader,\nnothing here.\n')).code).toBe('xyz-rows');
    expect((await faultOf('x.bin', 'Dear reader,\nnothing here.\n')).code).toBe('scan-format');
  });
});

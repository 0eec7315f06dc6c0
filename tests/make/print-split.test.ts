import { unzipSync } from 'fflate';
import Module, { type Manifold } from 'manifold-3d';
import { SaxesParser } from 'saxes';
import { describe, expect, it } from 'vitest';
import type { Fault } from '../../src/core/fault.ts';
import { fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { type Mesh, meshVolume } from '../../src/core/mesh.ts';
import { surface } from '../../src/field/surface.ts';
import { write3mf } from '../../src/io/write-3mf.ts';
import { type PrintOptions, splitForPrint } from '../../src/make/print-split.ts';

const lib = await Module();
lib.setup();
const { Manifold: Solid } = lib;

function meshOf(solid: Manifold, origin: Mesh['origin'] = [0, 0, 0]): Mesh {
  const { vertProperties, triVerts } = solid.getMesh();
  return { origin, positions: vertProperties.slice(), indices: triVerts.slice() };
}

const OPTIONS: PrintOptions = { volume: [160, 120, 110], peg_diameter: 8, peg_length: 10, gap: 0.2, wall: 3 };
const split = (mesh: Mesh, options: Partial<PrintOptions> = {}) => splitForPrint(mesh, { ...OPTIONS, ...options }, lib);

/** Area of the regular polygon of 32 corners on a circle of radius r: what a peg is round. */
const round = (r: number): number => 16 * r * r * Math.sin(Math.PI / 16);
/** A peg of radius 4 stands out 10 mm, its last mm a frustum down to 3 (volume h (A + sqrt(A B) + B) / 3). */
const PEG = 9 * round(4) + (round(4) + Math.sqrt(round(4) * round(3)) + round(3)) / 3;
/** Its hole is 0.2 mm wider all round and half a mm deeper. */
const HOLE = 10.5 * round(4.2);

interface Part {
  name: string;
  volume: number;
  size: number[];
  openEdges: number;
}

/** A 3MF taken apart by others' unzip and XML parser: of each object its name, volume, extent and edges without a partner the other way. */
function partsOf3mf(bytes: Uint8Array): { unit: string | undefined; parts: Part[]; items: number } {
  const parts: (Part & { v: number[][]; edges: Map<string, number> })[] = [];
  let [unit, items] = [undefined as string | undefined, 0];
  const parser = new SaxesParser();
  parser.on('opentag', ({ name, attributes: a }) => {
    const last = parts[parts.length - 1];
    if (name === 'model') unit = String(a['unit']);
    if (name === 'item') items++;
    if (name === 'object') {
      expect(a['type']).toBe('model');
      parts.push({ name: String(a['name']), volume: 0, size: [], openEdges: 0, v: [], edges: new Map() });
    }
    if (name === 'vertex') last.v.push([Number(a['x']), Number(a['y']), Number(a['z'])]);
    if (name === 'triangle') {
      const t = [Number(a['v1']), Number(a['v2']), Number(a['v3'])];
      const [p, q, r] = t.map((i) => last.v[i]);
      last.volume += (p[0] * (q[1] * r[2] - q[2] * r[1]) + p[1] * (q[2] * r[0] - q[0] * r[2]) + p[2] * (q[0] * r[1] - q[1] * r[0])) / 6;
      t.forEach((i, k) => {
        const j = t[(k + 1) % 3];
        const key = i < j ? `${i} ${j}` : `${j} ${i}`;
        last.edges.set(key, (last.edges.get(key) ?? 0) + (i < j ? 1 : -1));
      });
    }
  });
  parser.write(new TextDecoder().decode(unzipSync(bytes)['3D/3dmodel.model'])).close();
  for (const p of parts) {
    p.size = [0, 1, 2].map((a) => Math.max(...p.v.map((v) => v[a])) - Math.min(...p.v.map((v) => v[a])));
    p.openEdges = [...p.edges.values()].filter((n) => n !== 0).length;
  }
  return { unit, parts, items };
}

describe('a body in parts for a printer', () => {
  it('a block of 300 x 200 x 100: four parts, eight pegs, volumes by the closed form, as a 3MF read by others', () => {
    const { parts, figures, notes } = split(meshOf(Solid.cube([300, 200, 100]), [1000, -50, 20]));
    expect([figures.rows, figures.pegs, notes]).toEqual([[2, 2, 1], 8, []]);
    const file = partsOf3mf(write3mf(parts, 'stand-in'));
    expect(file.unit).toBe('millimeter');
    expect(file.items).toBe(4);
    expect(file.parts.map((p) => p.name)).toEqual(['x1 y1 z1', 'x1 y2 z1', 'x2 y1 z1', 'x2 y2 z1']);
    expect(file.parts.map((p) => p.openEdges)).toEqual([0, 0, 0, 0]);
    // The first has two pegs along x and two along y; the last has only holes.
    const quarter = 150 * 100 * 100;
    const volumes = [4 * PEG, 2 * PEG - 2 * HOLE, 2 * PEG - 2 * HOLE, -4 * HOLE].map((v) => expect.closeTo(quarter + v, -1));
    expect(file.parts.map((p) => p.volume)).toEqual(volumes);
    expect(file.parts.reduce((s, p) => s + p.volume, 0) / (6e6 + 8 * (PEG - HOLE))).toBeCloseTo(1, 5);
    expect(file.parts[0].size.map(Math.round)).toEqual([160, 110, 100]);
    expect(file.parts[3].size.map(Math.round)).toEqual([150, 100, 100]);
    for (const { size } of file.parts) expect(size.every((s, a) => s <= [160, 120, 110][a] + 1e-3)).toBe(true);
    expect(figures.expected_l).toBeCloseTo((6e6 + 8 * (PEG - HOLE)) / 1e6, 5);
    expect(figures.overlap_mm3).toBeLessThan(1e-3);
  });

  it('is turned to the printer so that the fewest parts come out; nothing is cut that fits', () => {
    const long = meshOf(Solid.cube([100, 150, 40]));
    expect(split(long).figures).toMatchObject({ rows: [1, 1, 1], pegs: 0 });
    expect(split(long, { volume: [160, 60, 60] }).figures.rows.reduce((p, n) => p * n)).toBe(2);
  });

  it('a ball in eight parts: pegs along each axis, and every part a solid to another library', () => {
    const ball = surface(
      fieldOf(gridOver({ min: [-64, -64, -64], max: [64, 64, 64] }, 4), (x, y, z) => 60 - Math.hypot(x, y, z)),
      0,
    );
    const { parts, figures } = split(ball, { volume: [80, 80, 80] });
    expect([parts.length, figures.pegs]).toEqual([8, 24]);
    for (const { mesh } of parts) {
      const solid = new Solid(new lib.Mesh({ numProp: 3, vertProperties: mesh.positions, triVerts: mesh.indices }));
      expect(solid.status()).toBe('NoError');
      expect(solid.volume() / meshVolume(mesh)).toBeCloseTo(1, 5);
    }
    expect(figures.parts_l * 1e6).toBeCloseTo(meshVolume(ball) + 24 * (PEG - HOLE), -1);
  });

  it('two towers on a base: the parts that hang apart above the cut each get a name and pegs of their own', () => {
    const towers = Solid.cube([100, 40, 60])
      .add(Solid.cube([30, 40, 100]).translate([0, 0, 50]))
      .add(Solid.cube([30, 40, 100]).translate([70, 0, 50]));
    const { figures } = split(meshOf(towers), { volume: [110, 110, 90] });
    expect(figures.parts.map((p) => p.name)).toEqual(['x1 y1 z1', 'x1 y1 z2 a', 'x1 y1 z2 b']);
    expect(figures.pegs).toBe(4);
  });

  it('says where there is no room for pegs, leaves slivers out with a note, refuses a printer too small', () => {
    const thin = split(meshOf(Solid.cube([300, 12, 12])));
    expect(thin.notes.map((n) => n.code)).toEqual(['print-few-pegs']);
    expect(thin.figures.parts_l).toBeCloseTo(0.0432, 6);
    // A pin of 2 x 2 x 20 mm sticks out over the cut.
    const pin = Solid.cube([100, 100, 100]).add(Solid.cube([2, 2, 105]).translate([50, 50, 99]));
    const cut = split(meshOf(pin), { volume: [115, 115, 115] });
    expect(cut.notes.map((n) => n.code)).toContain('print-slivers');
    expect(() => split(meshOf(Solid.cube([2000, 2000, 2000])))).toThrow(
      expect.objectContaining({ code: 'print-many' } satisfies Partial<Fault>),
    );
  });
});

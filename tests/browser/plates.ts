import { writeStl } from '../../src/io/write-stl.ts';

/** A box-shaped hole: six plates of 10 mm stand round 220 x 160 x 120 mm of room. Corners and offsets off any lattice. */
export const ROOM = [220, 160, 120];
const AT = [31.3, -7.7, 402.9];
export const CLEARANCE = 5;
export const RADIUS = 12;

/** A closed box as triangles. */
function box(min: readonly number[], max: readonly number[]): { positions: number[]; indices: number[] } {
  const positions = Array.from({ length: 24 }, (_, i) => (Math.floor(i / 3) & (1 << (i % 3)) ? max : min)[i % 3]);
  const quads = [
    [0, 2, 3, 1],
    [4, 5, 7, 6],
    [0, 1, 5, 4],
    [2, 6, 7, 3],
    [0, 4, 6, 2],
    [1, 3, 7, 5],
  ];
  return { positions, indices: quads.flatMap(([a, b, c, d]) => [a, b, c, a, c, d]) };
}

function plates(): Uint8Array<ArrayBuffer> {
  const positions: number[] = [];
  const indices: number[] = [];
  for (let axis = 0; axis < 3; axis++)
    for (const side of [-1, 1]) {
      const min = AT.map((c, a) => c - ROOM[a] / 2 - 10);
      const max = AT.map((c, a) => c + ROOM[a] / 2 + 10);
      const inner = AT[axis] + (side * ROOM[axis]) / 2;
      if (side > 0) min[axis] = inner;
      else max[axis] = inner;
      const b = box(min, max);
      indices.push(...b.indices.map((i) => i + positions.length / 3));
      positions.push(...b.positions);
    }
  return writeStl({ origin: [0, 0, 0], positions: new Float32Array(positions), indices: new Uint32Array(indices) }, 'plates, mm');
}

export const STL = plates();
export const JOB = `voidgauge: 1
name: Box of plates
step: 4
scans:
  plates: { file: scans/plates.stl, clearance: ${CLEARANCE} }
region: { box: { min: [${AT.map((c, a) => c - ROOM[a] / 2 - 3).join(', ')}], max: [${AT.map((c, a) => c + ROOM[a] / 2 + 3).join(', ')}] } }
least_radius: ${RADIUS}
tank: { wall: 4, ullage: 5 %, fluid: petrol }
`;

import { boxesStl } from '../cli/run.ts';

/** A box-shaped hole: six plates of 10 mm stand round 220 x 160 x 120 mm of room. Corners and offsets off any lattice. */
export const ROOM = [220, 160, 120];
const AT = [31.3, -7.7, 402.9];
export const CLEARANCE = 5;
export const RADIUS = 12;

function plates(): Uint8Array {
  const low = AT.map((c, a) => c - ROOM[a] / 2 - 10);
  const high = AT.map((c, a) => c + ROOM[a] / 2 + 10);
  return boxesStl(
    ...[0, 1, 2].flatMap((axis) => [
      [...low, ...high.with(axis, AT[axis] - ROOM[axis] / 2)],
      [...low.with(axis, AT[axis] + ROOM[axis] / 2), ...high],
    ]),
  );
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

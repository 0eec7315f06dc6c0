import { boxesStl } from './run.ts';

/** A box-shaped room with a closed form: six plates of 10 mm stand round 220 x 160 x 120 mm. Corners off any lattice. */
export const ROOM = [220, 160, 120] as const;
const AT = [31.3, -7.7, 402.9];
export const CLEARANCE = 5;
export const RADIUS = 12;
export const WALL = 4;

export const platesStl = (): Uint8Array =>
  boxesStl(
    ...[0, 1, 2].flatMap((axis) =>
      [-1, 1].map((side) => {
        const box = [...AT.map((c, a) => c - ROOM[a] / 2 - 10), ...AT.map((c, a) => c + ROOM[a] / 2 + 10)];
        box[side > 0 ? axis : 3 + axis] = AT[axis] + (side * ROOM[axis]) / 2;
        return box;
      }),
    ),
  );

const edge = (out: number): string => AT.map((c, a) => c + out * (ROOM[a] / 2 + 3)).join(', ');

export const PLATES_JOB = `voidgauge: 1
name: Box of plates
step: 4
scans:
  plates: { file: scans/plates.stl, clearance: ${CLEARANCE} }
region: { box: { min: [${edge(-1)}], max: [${edge(1)}] } }
least_radius: ${RADIUS}
tank: { wall: ${WALL}, ullage: 5 %, fluid: petrol }
`;

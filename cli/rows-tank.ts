import type { TankResult } from '../src/report/result.ts';
import { at, count, labelled, num, sized } from './lines.ts';

/** Where the tank is filled, vented and drawn from, how far its centre moves, and what a double wall and foam take. */
export function tankPlaceRows(tank: TankResult): string[] {
  const places = (points: readonly (readonly number[])[]): string => points.map(at).join(' and ');
  const proposed = tank.proposed.length > 0 ? ` (proposed: ${tank.proposed.join(', ')})` : '';
  const shift = Math.max(0, ...tank.half_fill.map((h) => h.shift_mm));
  const shells = [
    ...(tank.interspace_l ? [`${sized(tank.interspace_l.value)} l between its two walls`] : []),
    ...(tank.foam_l ? [`${sized(tank.foam_l.value)} l taken by foam or baffles`] : []),
    ...(tank.thin_l !== undefined && tank.thin_l >= 0.005 ? [`${sized(tank.thin_l)} l too thin for a cavity, made wall`] : []),
    ...(tank.cut_off.length > 0 ? [`${count(tank.cut_off.length, 'piece')} of the cavity cut off`] : []),
  ];
  const { filling: f } = tank;
  return [
    '',
    ...labelled(
      'Places',
      `filler at ${at(tank.filler_mm)}, vent at ${places(tank.vent_mm)}, pickup at ${places(tank.pickup_mm)}${proposed}`,
    ),
    ...(f.pitch_deg !== 0 || f.lean_deg !== 0
      ? labelled('Filling', `nose up ${num(f.pitch_deg)}, lean ${num(f.lean_deg)}: ${sized(f.fill_l.value)} l run in`)
      : []),
    ...(tank.half_fill.length > 1
      ? labelled('Centre', `half full, the fuel's centre moves up to ${sized(shift)} mm between the attitudes`)
      : []),
    ...(shells.length > 0 ? labelled('Made up of', shells.join('; ')) : []),
  ];
}

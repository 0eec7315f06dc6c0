import { fluidOf } from '../fill/fluids.ts';
import { UPRIGHT } from '../fill/level.ts';
import type { StandOptions } from '../fill/stand.ts';
import { roughTank, type TankOptions, type TankRun, tankOf } from '../fill/tank.ts';
import type { UllageRule } from '../fill/ullage.ts';
import { ullageOf } from '../fill/ullage.ts';
import { FLUIDS } from '../job/defaults.ts';
import type { JobTank } from '../job/schema-tank.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** The tank that the envelope makes, its doubt taken from the same tank at twice the step. */
export async function fillTank(tank: JobTank, { envelope, double, accuracy }: Space, run: Run): Promise<TankRun> {
  const { options, stand } = tankOptions(tank, accuracy.mm);
  const rough = roughTank(double.envelope, options, run.context);
  // Should the fine one fail first, this one's failure is of no interest.
  rough.catch(() => {});
  return tankOf(envelope, { ...options, coarse: rough, stand }, run.context);
}

/** What the job asks of its tank, as the reckoning takes it. `accuracy`: of the scans, mm. */
export function tankOptions(tank: JobTank, accuracy: number): { options: TankOptions; stand: Partial<StandOptions> } {
  const { name, density, expansion } = tank.fluid;
  // The laws of petrol, diesel and water are known; anything else expands as the job says.
  const fluid = fluidOf(name in FLUIDS ? { name, density } : { name, density, expansion });
  const options: TankOptions = {
    wall: tank.wall,
    wallDensity: tank.wall_density,
    wallTolerance: tank.wall_tolerance,
    leastRadius: tank.inside_radius,
    inner: tank.inner ?? undefined,
    foam: tank.foam ?? undefined,
    fluid,
    ullage: ullageOf(fluid, ullageRule(tank.ullage)),
    accuracy,
  };
  const stand = {
    attitudes: tank.attitudes.length > 0 ? tank.attitudes : [UPRIGHT],
    filling: tank.filling ?? undefined,
    filler: tank.filler ?? undefined,
    vents: tank.vents ?? undefined,
    pickups: tank.pickups ?? undefined,
    advise: tank.attitudes.length > 0,
  };
  return { options, stand };
}

const ullageRule = (u: JobTank['ullage']): UllageRule =>
  typeof u === 'number' ? { by: 'share', share: u } : u === 'adr' ? { by: 'adr' } : { by: 'expansion', ...u };

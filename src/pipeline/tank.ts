import { once } from '../core/context.ts';
import { gridBox } from '../core/grid.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import type { Moments } from '../field/integrate.ts';
import { chartsTask } from '../fill/charts.ts';
import { fluidOf } from '../fill/fluids.ts';
import { UPRIGHT } from '../fill/level.ts';
import { SPOUT_RADIUS, type StandOptions } from '../fill/stand.ts';
import { roughTank, type TankOptions, type TankRun, tankOf } from '../fill/tank.ts';
import type { UllageRule } from '../fill/ullage.ts';
import { ullageOf } from '../fill/ullage.ts';
import { FLUIDS } from '../job/defaults.ts';
import type { JobTank } from '../job/schema-tank.ts';
import { isObstacle } from '../space/slack.ts';
import { spoutTask } from '../space/spout.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/**
 * The tank that the envelope makes, its doubt taken from the same tank at twice the step, with its dip charts. A proposed filler has a straight
 * way out for a spout, past all that does not come off. `measures`: of the envelope, where others ask for them too.
 */
export async function fillTank(
  tank: JobTank,
  { envelope, double, accuracy, scans }: Space,
  run: Run,
  measures?: () => Moments,
): Promise<TankRun> {
  const { options, stand } = tankOptions(tank, accuracy.mm);
  const rough = roughTank(double.envelope, options, run.context);
  // Should the fine one fail first, this one's failure is of no interest.
  rough.catch(() => {});
  const meshes = scans.filter((s) => isObstacle(s) && !s.settings.comes_off).map((s) => s.mesh);
  const box = gridBox(envelope.grid);
  const slack = tank.filler || meshes.length === 0 ? undefined : once(run.context.pool, spoutTask, { meshes, box, radius: SPOUT_RADIUS });
  slack?.catch(() => {});
  const outer = tank.bores.length > 0 ? undefined : measures;
  const made = await tankOf(envelope, { ...options, outer, coarse: rough, stand: { ...stand, slack } }, run.context);
  if (tank.attitudes.length === 0 && !tank.sender) return made;
  const { sender } = tank;
  const charts = await once(run.context.pool, chartsTask, {
    cavity: made.cavity,
    attitudes: tank.attitudes,
    sender: sender && { ...sender, floatRadius: sender.float_radius },
    density: tank.fluid.density,
    total: made.tank.cavity_l.value * MM3_PER_LITRE * (1 - (tank.foam?.takes ?? 0)),
  });
  const added = { dip_attitudes: charts.dips, ...(charts.sender ? { sender: charts.sender } : {}) };
  return { ...made, tank: { ...made.tank, ...added } };
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
    bores: tank.bores,
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

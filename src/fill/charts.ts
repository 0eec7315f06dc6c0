import type { Task } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import { cropped, thinned } from './crop.ts';
import { type DipChart, dipChart, type Sender, type SenderRow, senderTable } from './dip.ts';
import type { Attitude } from './level.ts';
import { DIP_CELLS } from './tank.ts';

export interface ChartOrder {
  readonly cavity: Field;
  readonly attitudes: readonly Attitude[];
  readonly sender: Sender | null;
  /** kg/m3 */
  readonly density: number;
  /** What the cavity holds when it is full, mm3: less than its own volume where foam takes a share. */
  readonly total: number;
}

export interface Charts {
  readonly dips: readonly DipChart[];
  readonly sender: readonly SenderRow[] | null;
}

/** Dip charts at attitudes that are not upright, and the sender's table. Fault `sender-arm`. */
export function chartsOf({ cavity, attitudes, sender, density, total }: ChartOrder): Charts {
  const field = thinned(cropped(cavity), DIP_CELLS);
  const tilted = attitudes.filter((a) => a.pitch !== 0 || a.lean !== 0 || a.acceleration !== undefined);
  return {
    dips: tilted.map((a) => dipChart(field, a, { density, total })),
    sender: sender && senderTable(field, sender, undefined, total),
  };
}

/** The charts as one task. */
export const chartsTask: Task<ChartOrder, Charts> = { name: 'charts.all', run: chartsOf };

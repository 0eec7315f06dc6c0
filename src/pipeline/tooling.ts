import type { Mesh } from '../core/mesh.ts';
import { write3mf } from '../io/write-3mf.ts';
import type { JobMake } from '../job/schema-make.ts';
import type { JobMould } from '../job/schema-mould.ts';
import { foamTable } from '../make/foam.ts';
import { type MouldFigures, mouldFigures, scaledForMould } from '../make/mould.ts';
import { type PrintFigures, splitForPrint } from '../make/print-split.ts';
import { PROCESS_FIGURES } from '../make/processes.ts';
import { loadSolids } from '../make/simplify.ts';
import { FOAM_FILE, PRINT_FILE, SCALED_NAME } from '../report/files.ts';
import type { Drawn } from './drawings.ts';
import { type Writing, writeMesh } from './mesh-files.ts';
import type { Run } from './run.ts';

/** What something costs at the price that the user named. */
export interface Cost {
  readonly what: string;
  readonly count: number;
  readonly price: number;
  readonly sum: number;
}

/** What is known before a plug or a mould is paid for. Plain JSON. */
export interface MouldReport extends MouldFigures {
  readonly currency: string;
  /** Only of what the user named a price for. */
  readonly costs: readonly Cost[];
}

export interface Tooled {
  readonly mould?: MouldReport;
  readonly print?: PrintFigures;
}

/** Parts for the printer and figures of moulds from the seed mesh, as far as the job asks for them. */
export async function tool(
  asked: JobMake,
  { mesh, drawn }: { readonly mesh: Mesh; readonly drawn: Drawn },
  run: Run,
  writing: Writing,
): Promise<Tooled> {
  let tooled: Tooled = {};
  if (asked.print) {
    const { parts, figures, notes } = splitForPrint(mesh, asked.print, await loadSolids());
    writing.out.set(PRINT_FILE, write3mf(parts, 'voidgauge stand-in, to be put together'));
    run.notes.push(...notes);
    tooled = { print: figures };
    run.done('parts to print');
  }
  if (asked.mould) {
    const { process, prices, scaled, ...rest } = asked.mould;
    const figures = mouldFigures(mesh, { ...rest, process: PROCESS_FIGURES[process] }, await loadSolids());
    writing.out.set(FOAM_FILE, new TextEncoder().encode(foamTable(figures.foam)));
    if (scaled) {
      await writeScaled(asked, scaledForMould(mesh, figures.shrinkage.percent), writing);
      run.notes.push({
        code: 'mould-scaled',
        text: `${SCALED_NAME} is the mould's size, larger than the part by its shrinkage: the part that comes out of it is what was certified.`,
      });
    }
    tooled = { ...tooled, mould: { ...figures, currency: prices?.currency ?? '', costs: costsOf(prices, figures, drawn) } };
    run.done('mould');
  }
  return tooled;
}

async function writeScaled({ formats }: JobMake, mesh: Mesh, writing: Writing): Promise<void> {
  const own = formats.filter((f) => f !== 'step');
  for (const format of own.length > 0 ? own : (['stl'] as const)) await writeMesh(format, SCALED_NAME, mesh, writing);
}

function costsOf(prices: JobMould['prices'], { foam, least_block: block }: MouldFigures, { ribs }: Drawn): Cost[] {
  const lines: readonly (readonly [string, number, number | null | undefined])[] = [
    ['sheets of foam', foam.sheets, prices?.foam_sheet],
    ['litres of solid block', block.volume_l, prices?.block_litre],
    ['sheets of board for the ribs', ribs?.sheets ?? 0, prices?.rib_sheet],
  ];
  return lines.flatMap(([what, count, price]) =>
    count > 0 && price !== null && price !== undefined ? [{ what, count, price, sum: count * price }] : [],
  );
}

import * as z from 'zod';
import { PROCESS_NAMES } from './defaults.ts';
import { type DeepReadonly, length, section } from './schema-parts.ts';
import { axis } from './schema-sections.ts';

const sizes = () => z.tuple([length({ above: 0 }), length({ above: 0 }), length({ above: 0 })], { error: 'three lengths [a, b, c] in mm' });
const number = (most: number, what: string) => z.number({ error: what }).min(0, { error: what }).max(most, { error: what });
const price = () => z.number({ error: 'a price, a number' }).min(0, { error: 'a price of at least 0' }).nullish();

const pricesSection = section({
  currency: z.string({ error: 'a text' }).prefault('').describe('Word that goes with the sums, such as EUR.'),
  foam_sheet: price().describe('Price of one sheet of foam.'),
  block_litre: price().describe('Price of a litre of solid block.'),
  rib_sheet: price().describe('Price of one sheet of board for the rib kit.'),
});

const mouldSection = section({
  process: z
    .enum(PROCESS_NAMES, { error: PROCESS_NAMES.join(', ') })
    .prefault('rotomoulded')
    .describe('How the part is made; says which shrinkage, draft and inside radius are usual.'),
  shrinkage: number(10, 'percent from 0 to 10')
    .nullish()
    .describe("Shrinkage of length from mould to part, percent; the process's usual figure when left out. Ask whoever moulds it."),
  pull: axis().nullish().describe('Direction along which the mould is drawn: x, y, z or [x, y, z]; the best one found when left out.'),
  draft: number(45, 'degrees from 0 to 45').nullish().describe("Least draft asked, degrees; the process's usual figure when left out."),
  cutter: length({ above: 0 }).prefault(6).describe('Radius of the ball cutter that shall finish the plug or the mould, mm.'),
  thickness: length({ above: 0 }).prefault(3).describe('Parts of the body thinner than this are told, mm.'),
  stock: length({ least: 0 }).prefault(5).describe('Left on every side of a block, mm.'),
  machine: sizes().nullish().describe("The machine's travel [x, y, z], z upright, mm: does the block fit?"),
  foam: sizes().prefault([1000, 500, 50]).describe('Sheet of foam that a block is glued up from, [length, width, thickness] in mm.'),
  saw: length({ least: 0 }).prefault(3).describe('Width of the saw cut between pieces of foam, mm.'),
  scaled: z.boolean({ error: 'true or false' }).prefault(false).describe('Write the seed mesh scaled up by the shrinkage too.'),
  prices: pricesSection.nullish().describe('Your own prices; only what is named here is summed up.'),
});

/** Part of the section `make`. */
export const mould = z.union([z.boolean(), mouldSection], { error: 'true, false or { process: rotomoulded, cutter: 6 }' });

type RawMould = z.output<typeof mouldSection>;
type Prices = z.output<typeof pricesSection>;
type Nullable = 'shrinkage' | 'pull' | 'draft' | 'machine' | 'prices';

/** What is asked of a mould or a plug: lengths mm, percent, degrees; null where nothing was said. */
export type JobMould = DeepReadonly<
  Omit<RawMould, Nullable> & {
    shrinkage: number | null;
    pull: NonNullable<RawMould['pull']> | null;
    draft: number | null;
    machine: NonNullable<RawMould['machine']> | null;
    prices: { [K in keyof Prices]: NonNullable<Prices[K]> | null } | null;
  }
>;

export function completeMould(raw: RawMould | boolean): JobMould | false {
  if (raw === false) return false;
  const given = raw === true ? mouldSection.parse({}) : raw;
  const { prices: p } = given;
  return {
    ...given,
    shrinkage: given.shrinkage ?? null,
    pull: given.pull ?? null,
    draft: given.draft ?? null,
    machine: given.machine ?? null,
    prices: p
      ? { currency: p.currency, foam_sheet: p.foam_sheet ?? null, block_litre: p.block_litre ?? null, rib_sheet: p.rib_sheet ?? null }
      : null,
  };
}

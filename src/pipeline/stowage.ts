import { allocateF32 } from '../core/context.ts';
import type { Field } from '../core/field.ts';
import type { JobStowage } from '../job/schema-stowage.ts';
import { countBlocksTask } from '../stow/blocks.ts';
import { type Item, packItemsTask } from '../stow/items.ts';
import { largestTask } from '../stow/largest.ts';
import type { StowageResult } from '../stow/result.ts';
import { LUGGAGE } from '../stow/standard.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';

/** What would go into the envelope as a box or a bag: the searches run beside each other, each no longer than the job allows. */
export async function stow(asked: JobStowage, { envelope, accuracy }: Space, { context, notes }: Run): Promise<StowageResult> {
  const { pool } = context;
  const field: Field = { grid: envelope.grid, data: allocateF32(pool, envelope.data.length) };
  for (let c = 0; c < field.data.length; c++) field.data[c] = envelope.data[c] - asked.lining;
  const { seconds } = asked;
  const opening = asked.opening ?? undefined;
  const items = asked.items.map((i): Item => ('size' in i ? { ...i, shape: 'box' } : { ...i, shape: 'cylinder' }));
  const luggage = LUGGAGE.map(({ size, most }): Item => ({ name: size.join(' x '), shape: 'box', size, count: most }));
  const lists = [...(items.length > 0 ? [items] : []), ...(asked.luggage ? [luggage] : [])];
  const [largest, blocks, packed] = await Promise.all([
    asked.largest ? pool.map(largestTask, [{ field, doubt: accuracy.mm, seconds }]) : [],
    asked.blocks ? pool.map(countBlocksTask, [{ field, seconds }]) : [],
    pool.map(
      packItemsTask,
      lists.map((list) => ({ field, items: list, seconds, opening })),
    ),
  ]);
  const [own, pieces] = items.length > 0 ? [packed[0], packed[1]] : [undefined, packed[0]];
  const said = [...blocks, ...packed].flatMap((r) => r.notes);
  notes.push(...said);
  return {
    lining_mm: asked.lining,
    ...(largest[0] ? { largest: largest[0] } : {}),
    ...(blocks[0] ? { blocks_l: blocks[0].blocks_l, blocks_bound_l: blocks[0].bound, blocks: blocks[0].blocks } : {}),
    ...(own ? { items: own.items } : {}),
    ...(asked.luggage && pieces ? { luggage: pieces.items } : {}),
    notes: said,
  };
}

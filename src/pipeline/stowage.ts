import { allocateF32, type Context } from '../core/context.ts';
import type { Note } from '../core/fault.ts';
import type { Field } from '../core/field.ts';
import { MM3_PER_LITRE } from '../core/units.ts';
import { volume } from '../field/integrate.ts';
import type { JobStowage } from '../job/schema-stowage.ts';
import { countBlocksTask } from '../stow/blocks.ts';
import { type Item, type ItemResult, packItemsTask } from '../stow/items.ts';
import { largestTask } from '../stow/largest.ts';
import { loadingOrder } from '../stow/loading.ts';
import type { StowageOpening, StowageResult } from '../stow/result.ts';
import { LUGGAGE } from '../stow/standard.ts';
import type { Run } from './run.ts';
import type { Space } from './space.ts';
import { bodyOfWay, type WaysMeasured } from './ways.ts';

/**
 * What would go into the envelope as a box or a bag: the searches run beside each other, each no longer than the job allows, or until `enough`
 * of the context is set. With ways in, blocks and items stand only in the body of the chosen way: every point of it, and so each of them,
 * slides out that way with the sliding clearance. With an opening named in the job, items stand only where they come to by straight moves from there.
 */
export async function stow(asked: JobStowage, space: Space, ways: WaysMeasured | null, { context, notes }: Run): Promise<StowageResult> {
  const { pool, enough } = context;
  const { seconds } = asked;
  const opening = openingOf(asked, ways);
  const room = lined(space.envelope, asked.lining, context);
  const way = opening.by === 'way' ? ways?.chosen : undefined;
  const field =
    opening.by === 'no way' ? nothing(room, context) : way ? lined(await bodyOfWay(space, way, context), asked.lining, context) : room;
  const point = opening.by === 'point' ? opening.at_mm : undefined;
  const along = way?.direction;
  const items = asked.items.map((i): Item => ('size' in i ? { ...i, shape: 'box' } : { ...i, shape: 'cylinder' }));
  const luggage = LUGGAGE.map(({ size, most }): Item => ({ name: size.join(' x '), shape: 'box', size, count: most }));
  const lists = [...(items.length > 0 ? [items] : []), ...(asked.luggage ? [luggage] : [])];
  const searches = Number(asked.largest) + Number(asked.blocks) + lists.length;
  const told = pacing(context, { searches, seconds });
  const [largest, blocks, packed] = await Promise.all([
    asked.largest ? told(pool.map(largestTask, [{ field: room, doubt: space.accuracy.mm, seconds, enough }])) : [],
    asked.blocks ? told(pool.map(countBlocksTask, [{ field, seconds, enough }])) : [],
    Promise.all(lists.map((list) => told(pool.map(packItemsTask, [{ field, items: list, seconds, opening: point, room, along, enough }])))),
  ]);
  const results = packed.flat();
  const [own, pieces] = items.length > 0 ? [results[0], results[1]] : [undefined, results[0]];
  const said: Note[] = [
    ...(enough && Atomics.load(enough, 0) !== 0 ? [STOPPED] : []),
    ...openingNotes(opening, own?.items ?? []),
    ...[...blocks, ...results].flatMap((r) => r.notes),
    ...(along && blocks[0] && !loadingOrder(blocks[0].blocks, along) ? [CIRCLE] : []),
  ];
  notes.push(...said);
  return {
    lining_mm: asked.lining,
    opening,
    room_l: volume(room) / MM3_PER_LITRE,
    reached_l: volume(field) / MM3_PER_LITRE,
    ...(largest[0] ? { largest: largest[0] } : {}),
    ...(blocks[0]
      ? {
          blocks_l: blocks[0].blocks_l,
          blocks_bound_l: blocks[0].bound,
          blocks_bound_on_mm: blocks[0].bound_on_mm,
          blocks: blocks[0].blocks,
        }
      : {}),
    ...(own ? { items: own.items } : {}),
    ...(asked.luggage && pieces ? { luggage: pieces.items } : {}),
    notes: said,
  };
}

const STOPPED: Note = {
  code: 'stow-stopped',
  text: 'The searches for stowage were ended by hand: what stands here is the best so far, a longer search may find more.',
};

const CIRCLE: Note = {
  code: 'blocks-circle',
  text: 'The blocks lie round each other so that they can not be put in one by one along a straight line; as a measure of room the count stands.',
};

/** A point that the job names goes before the way in. */
function openingOf({ opening }: JobStowage, ways: WaysMeasured | null): StowageOpening {
  if (opening) return { by: 'point', at_mm: opening };
  if (!ways) return { by: 'not asked' };
  const { chosen, search } = ways;
  if (!chosen || !(chosen.keptPercent > 0)) return { by: 'no way' };
  return { by: 'way', direction: chosen.direction, clearance_mm: search.clearance_mm, off: search.off };
}

function openingNotes(opening: StowageOpening, items: readonly ItemResult[]): Note[] {
  if (opening.by === 'not asked')
    return [
      {
        code: 'stow-opening',
        text: 'No way in was asked for and no opening named: whether blocks and items can be brought to their places was not looked at.',
      },
    ];
  const through = opening.by === 'point' ? 'through the opening' : 'by the way in';
  return items
    .filter((i) => i.stands && !i.reached)
    .map((i) => ({
      code: 'stow-unreached',
      text: `There is room for ${i.name}, but ${through} it can not be brought there.`,
      where: i.name,
    }));
}

/** The envelope inside a lining, in memory that all tasks see. */
function lined({ grid, data }: Field, lining: number, { pool }: Context): Field {
  const out: Field = { grid, data: allocateF32(pool, data.length) };
  for (let c = 0; c < data.length; c++) out.data[c] = data[c] - lining;
  return out;
}

const nothing = ({ grid, data }: Field, { pool }: Context): Field => ({ grid, data: allocateF32(pool, data.length).fill(-1) });

/** Between two reports of progress, ms. */
const EVERY = 500;

/** Tells how far the searches are, by the clock, until all of them have ended: they run elsewhere and say nothing until then. */
function pacing(
  { pool, progress }: Context,
  { searches, seconds }: { searches: number; seconds: number },
): <T>(work: Promise<T>) => Promise<T> {
  const begin = performance.now();
  const whole = Math.max(0.001, seconds * Math.ceil(searches / pool.size));
  let left = searches;
  const tell = (): void => {
    if (left === 0) return;
    const share = Math.max(1 - left / searches, (performance.now() - begin) / 1000 / whole);
    progress('stowage', Math.min(0.99, share));
    setTimeout(tell, EVERY);
  };
  tell();
  return async (work) => {
    try {
      return await work;
    } finally {
      left--;
    }
  };
}

import { make, part } from './dom.ts';

/** Short words for the parts of the long column, in its order. */
const PARTS = [
  ['dials', 'what if'],
  ['things', 'drawn'],
  ['paths', 'path'],
  ['places', 'places'],
  ['tables', 'tables'],
  ['curves', 'curves'],
  ['notes', 'notes'],
] as const;

/** A word for each part of the column that this result has; pressing it brings the part to the top and the keyboard into it. */
export function jumpPanel(): void {
  const host = part('jump');
  const words = PARTS.filter(([id]) => !part(id).hidden).map(([id, word]) => {
    const b = make('button', { type: 'button' }, word);
    b.addEventListener('click', () => {
      const target = part(id);
      target.tabIndex = -1;
      target.focus({ preventScroll: true });
      target.scrollIntoView({ block: 'start' });
    });
    return b;
  });
  host.replaceChildren(...words);
  // What is pinned covers the top of the column: nothing is brought to lie under it.
  const column = part('column');
  const clear = (): void => {
    const pinned = document.querySelector('dl.main')?.clientHeight ?? 0;
    column.style.scrollPaddingTop = `${pinned + host.clientHeight}px`;
  };
  new ResizeObserver(clear).observe(part('stage'));
  clear();
}

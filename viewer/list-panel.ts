import { freshId, make, ofFine, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { FINE_ONLY, type Kind, labelOf, SHOWS, type Show, type Thing } from './things.ts';

/**
 * The list of what is drawn: one line a thing, its three states as words. Each line is a group of radio buttons, so the tab
 * key goes from thing to thing and the arrow keys through the states.
 */
export function listPanel(drawing: Drawing): { build(): void } {
  const list = make('div', { class: 'list' });
  const alone = new Alone(drawing);
  part('things').append(list);
  // States are set in place: a rebuilt line would lose the keyboard's focus.
  const update = (): void => {
    for (const { thing, show } of drawing.things) {
      const row = list.querySelector(`[data-thing="${CSS.escape(thing.name)}"]`);
      for (const input of row?.querySelectorAll('input') ?? []) input.checked = input.value === show;
    }
  };
  drawing.onChange.push(update);
  let names = '';
  const build = (): void => {
    const now = drawing.things.map((t) => t.thing.name).join('\n');
    if (now === names) update();
    else
      list.replaceChildren(
        ...GROUPS.flatMap(({ title, kinds }) => {
          const here = drawing.things.filter((t) => kinds.includes(t.thing.kind));
          return here.length === 0
            ? []
            : [groupHead(drawing, title, kinds), ...here.map(({ thing, show }) => line(drawing, alone, thing, show))];
        }),
      );
    names = now;
  };
  return { build };
}

/** Under which words a kind stands. */
const GROUPS: readonly { readonly title: string; readonly kinds: readonly Kind[] }[] = [
  {
    title: 'The room',
    kinds: ['envelope', 'body', 'cavity', 'liquid', 'trapped', 'stranded', 'reclaimed', 'pocket', 'closest'],
  },
  { title: 'In it and through it', kinds: ['item', 'route', 'tube', 'bore', 'way', 'globe'] },
  { title: 'Scans', kinds: ['scan', 'removed', 'swept', 'hole'] },
];

/** The words over a group, and its states all at once. */
function groupHead(drawing: Drawing, title: string, kinds: readonly Kind[]): HTMLElement {
  const all = SHOWS.map((show) => {
    const b = make('button', { type: 'button', 'aria-label': `all of ${title.toLowerCase()} ${show}` }, show);
    b.addEventListener('click', () =>
      drawing.show(new Map(drawing.things.filter((t) => kinds.includes(t.thing.kind)).map((t) => [t.thing.name, show]))),
    );
    return b;
  });
  return make('div', { class: 'every' }, make('h3', {}, title), make('span', {}, 'all'), ...all);
}

function line(drawing: Drawing, alone: Alone, thing: Thing, show: Show): HTMLElement {
  const name = freshId();
  const swatch = make('i', { class: 'swatch', 'aria-hidden': 'true' });
  swatch.style.background = drawing.colourOf(thing);
  const states = SHOWS.map((s) => {
    const input = make('input', { type: 'radio', name, value: s });
    input.checked = s === show;
    input.addEventListener('change', () => drawing.show(new Map([[thing.name, s]])));
    return make('label', { class: 'word' }, input, make('span', {}, s));
  });
  const only = make('button', { type: 'button', class: 'only', 'aria-label': `${labelOf(thing)} alone` }, 'alone');
  only.addEventListener('click', () => alone.toggle(thing.name));
  const legend = make('legend', {}, labelOf(thing));
  const note = describe(thing);
  return make(
    'fieldset',
    { class: 'thing', 'data-thing': thing.name },
    swatch,
    legend,
    make('small', {}, note, ...(FINE_ONLY.has(thing.kind) ? [ofFine()] : [])),
    make('span', { class: 'states' }, ...states),
    only,
  );
}

function describe(t: Thing): string {
  const says: string[] = [];
  if (t.clearance !== undefined && t.kind === 'scan') says.push(`keep ${t.clearance} mm clear`);
  if (t.error) says.push(`drawn to ${Number(t.error.toFixed(2))} mm`);
  return says.join(', ');
}

/** Hides all but one thing; the same again brings the others back. */
class Alone {
  private readonly drawing: Drawing;
  private before: { name: string; states: Map<string, Show> } | undefined;

  constructor(drawing: Drawing) {
    this.drawing = drawing;
  }

  toggle(name: string): void {
    if (this.before?.name === name) {
      this.drawing.show(this.before.states);
      this.before = undefined;
      return;
    }
    const states = this.before?.states ?? new Map(this.drawing.things.map((t) => [t.thing.name, t.show]));
    this.before = { name, states };
    this.drawing.show(new Map(this.drawing.things.map((t) => [t.thing.name, t.thing.name === name ? 'shown' : 'hidden'])));
  }
}

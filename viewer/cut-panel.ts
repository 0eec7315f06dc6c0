import type { CutState } from './cut.ts';
import { make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';

const AXES = ['lengthways', 'crossways', 'level'] as const;
/** Which axis a cut of that name goes across: a lengthways cut shows the side view, so it stands across left and right. */
const ACROSS = { lengthways: 1, crossways: 0, level: 2 } as const;
/** Where along its axis a cut stands, in words: below zero, above zero. */
const SIDES = [
  ['behind', 'ahead'],
  ['right', 'left'],
  ['down', 'up'],
] as const;

/** The cut: off or one of three directions, a slider for its place in mm, and which side stays. */
export function cutPanel(drawing: Drawing): () => void {
  const host = part('cut');
  const radios = ['no cut', ...AXES].map((word) => {
    const input = make('input', { type: 'radio', name: 'cut-axis', value: word });
    input.addEventListener('change', () => choose(word));
    return { input, label: make('label', { class: 'word' }, input, make('span', {}, word)) };
  });
  const slider = make('input', { type: 'range', step: '1', 'aria-label': 'Place of the cut, mm' });
  const number = make('input', { type: 'number', step: '1', 'aria-label': 'Place of the cut in mm' });
  const flip = make('button', { type: 'button' }, 'other side');
  const row = make('div', { class: 'row' }, slider, number, 'mm', flip);
  host.append(
    make('div', { class: 'words', role: 'radiogroup', 'aria-label': 'Direction of the cut' }, ...radios.map((r) => r.label)),
    row,
  );

  const range = (axis: number): { low: number; high: number } => {
    const box = drawing.box();
    return { low: Math.floor(box.min.getComponent(axis)), high: Math.ceil(box.max.getComponent(axis)) };
  };
  const choose = (word: string): void => {
    const axis = ACROSS[word as keyof typeof ACROSS];
    if (axis === undefined) {
      drawing.setCut(undefined);
      return;
    }
    const { low, high } = range(axis);
    // Begins through the middle of what was found, when there is any, else of everything.
    const found = drawing.things.find((t) => t.thing.kind === 'envelope')?.thing.geometry.boundingBox;
    const middle = found ? (found.min.getComponent(axis) + found.max.getComponent(axis)) / 2 : (low + high) / 2;
    // What stands between the eye and the cut is taken away.
    const eye = drawing.stage.camera.position.getComponent(axis) - drawing.stage.controls.target.getComponent(axis);
    drawing.setCut({ axis, at: Math.round(middle), keep: eye > 0 ? -1 : 1 });
  };
  const move = (text: string): void => {
    const now = drawing.cut.current;
    const at = Number(text);
    if (now && text !== '' && Number.isFinite(at)) drawing.setCut({ ...now, at });
  };
  slider.addEventListener('input', () => move(slider.value));
  number.addEventListener('change', () => move(number.value));
  flip.addEventListener('click', () => {
    const now = drawing.cut.current;
    if (now) drawing.setCut({ ...now, keep: now.keep > 0 ? -1 : 1 });
  });

  const update = (): void => {
    const now = drawing.cut.current;
    const word = now ? AXES.find((a) => ACROSS[a] === now.axis) : 'no cut';
    for (const r of radios) r.input.checked = r.input.value === word;
    row.classList.toggle('unused', !now);
    for (const e of [slider, number, flip]) e.disabled = !now;
    part('cutsays').textContent = now ? cutWords(now) : 'none';
    if (!now) return;
    const { low, high } = range(now.axis);
    slider.min = String(low);
    slider.max = String(high);
    slider.value = String(now.at);
    number.value = String(Number(now.at.toFixed(1)));
  };
  drawing.onChange.push(update);
  update();
  return update;
}

/** "lengthways, 40 mm left of zero" */
export function cutWords(c: CutState): string {
  const word = AXES.find((a) => ACROSS[a] === c.axis) ?? '';
  if (Math.abs(c.at) < 0.05) return `${word}, through zero`;
  const side = SIDES[c.axis][c.at < 0 ? 0 : 1];
  return `${word}, ${Math.abs(Number(c.at.toFixed(1)))} mm ${side}`;
}

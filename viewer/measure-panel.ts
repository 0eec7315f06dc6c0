import { download, make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import type { Hit } from './picker.ts';
import { savePicture } from './picture.ts';
import { labelOf } from './things.ts';

/** How far, CSS pixels, the pointer may travel between press and release and still mean a point. */
const STILL = 5;

/** Words for the slack at a point, or undefined while it is not known. */
export type SlackAt = (at: Hit['at']) => string | undefined;

/** The pointer rests after so many ms. */
const REST = 140;

/** Measuring between two points of the surfaces drawn, by pointer or from the middle of the drawing by key; and pictures. */
export function measurePanel(drawing: Drawing, slack?: SlackAt): void {
  const host = part('measure');
  const says = make('p', { id: 'measured', role: 'status' }, 'Press on two points of the drawing.');
  const clear = make('button', { type: 'button' }, 'clear');
  const middle = make('button', { type: 'button' }, 'point at the middle');
  const picture = make('button', { type: 'button' }, 'save picture');
  const here = make('p', { id: 'slack' });
  host.append(says, here, make('div', { class: 'words' }, middle, clear, picture));
  const tags = part('tags');
  const points: Hit[] = [];

  const place = (): void => {
    const marks = points.map((p, i) => {
      const mark = make('i', { class: 'mark' }, 'AB'[i]);
      const s = drawing.stage.toScreen(p.at);
      mark.style.left = `${s.x}px`;
      mark.style.top = `${s.y}px`;
      return mark;
    });
    if (points.length === 2) marks.push(rule(drawing.stage.toScreen(points[0].at), drawing.stage.toScreen(points[1].at)));
    tags.replaceChildren(...marks);
  };
  const tell = (): void => {
    says.replaceChildren(...words(points));
    const last = points.at(-1);
    if (last) here.textContent = slack?.(last.at) ?? '';
    place();
  };
  const add = (at: { x: number; y: number }): void => {
    const hit = drawing.pick(at);
    if (!hit) {
      says.textContent = 'Nothing shown there. Press on a thing that is shown.';
      return;
    }
    if (points.length === 2) points.length = 0;
    points.push(hit);
    tell();
  };
  const addMiddle = (): void => add({ x: drawing.stage.size.width / 2, y: drawing.stage.size.height / 2 });
  const forget = (): void => {
    points.length = 0;
    tell();
  };

  const canvas = drawing.stage.renderer.domElement;
  let down: { x: number; y: number } | undefined;
  canvas.addEventListener('pointerdown', (e) => {
    down = e.isPrimary && e.button === 0 ? { x: e.clientX, y: e.clientY } : undefined;
  });
  canvas.addEventListener('pointerup', (e) => {
    if (down && Math.hypot(e.clientX - down.x, e.clientY - down.y) <= STILL) add({ x: e.offsetX, y: e.offsetY });
    down = undefined;
  });
  if (slack) {
    let resting = 0;
    canvas.addEventListener('pointermove', (e) => {
      clearTimeout(resting);
      if (e.pointerType === 'touch' || e.buttons !== 0) return;
      resting = window.setTimeout(() => {
        const hit = drawing.pick({ x: e.offsetX, y: e.offsetY });
        here.textContent = (hit && slack(hit.at)) ?? '';
      }, REST);
    });
  }
  part('stage').addEventListener('keydown', (e) => {
    if (e.key === 'm') addMiddle();
    else if (e.key === 'Escape') forget();
  });
  middle.addEventListener('click', addMiddle);
  clear.addEventListener('click', forget);
  picture.addEventListener('click', async () => download('voidgauge-picture.png', await savePicture(drawing)));
  drawing.stage.onDraw.push(place);
}

function words(points: readonly Hit[]): (Node | string)[] {
  if (points.length === 0) return ['Press on two points of the drawing.'];
  const [a, b] = points;
  if (!b) return [`A on ${labelOf(a.thing).toLowerCase()}, at ${a.at.map((v) => v.toFixed(0)).join(', ')} mm. Now point B.`];
  const d = [0, 1, 2].map((i) => Math.abs(b.at[i] - a.at[i]).toFixed(1));
  const off = (a.thing.error ?? 0) + (b.thing.error ?? 0);
  return [
    make('b', {}, Math.hypot(...[0, 1, 2].map((i) => b.at[i] - a.at[i])).toFixed(1)),
    ` mm from A to B${off > 0 ? `, give or take ${off.toFixed(1)} for the thinned drawing` : ''}: lengthways ${d[0]}, crossways ${d[1]}, up ${d[2]}.`,
  ];
}

/** A line between two places: a thin box, turned. */
function rule(a: { x: number; y: number }, b: { x: number; y: number }): HTMLElement {
  const line = make('i', { class: 'rule' });
  line.style.left = `${a.x}px`;
  line.style.top = `${a.y}px`;
  line.style.width = `${Math.hypot(b.x - a.x, b.y - a.y)}px`;
  line.style.rotate = `${Math.atan2(b.y - a.y, b.x - a.x)}rad`;
  return line;
}

import { make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { describeLook, VIEWS } from './views.ts';

/** Degrees that one key press turns. */
const TURN = 10;
/** Share of the drawing's shorter side that one key press moves. */
const SHIFT = 0.08;

/** Standard views as words, the whole in sight, bright or dark paper; and the drawing area's keys. */
export function lookPanel(drawing: Drawing): void {
  const { stage } = drawing;
  const names = Object.keys(VIEWS);
  const buttons = names.map((name) => {
    const b = make('button', { type: 'button', 'data-view': name }, name);
    b.addEventListener('click', () => stage.fit(VIEWS[name], drawing.near()));
    return b;
  });
  const all = make('button', { type: 'button' }, 'everything in sight');
  all.addEventListener('click', () => stage.fit(stage.eye()));
  part('look').append(make('div', { class: 'words' }, ...buttons, all));
  const seen = part('seen');
  stage.onMove.push(() => {
    const words = describeLook(stage.eye());
    if (seen.textContent !== words) seen.textContent = words;
    for (const b of buttons) b.setAttribute('aria-pressed', String(b.textContent === words));
  });
  part('stage').addEventListener('keydown', (e) => {
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    const view = names[Number(e.key) - 1];
    if (view) stage.fit(VIEWS[view], drawing.near());
    else if (!onKey(drawing, e)) return;
    e.preventDefault();
  });
}

function onKey({ stage }: Drawing, e: KeyboardEvent): boolean {
  const eye = stage.eye();
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
  if (step && e.shiftKey) {
    const m = stage.camera.matrixWorld.elements;
    const by = eye.span * SHIFT;
    const at = [0, 1, 2].map((a) => eye.at[a] + by * (step[0] * m[a] + step[1] * m[4 + a]));
    stage.setEye({ ...eye, at: [at[0], at[1], at[2]] });
  } else if (step) stage.look({ turn: eye.turn + step[0] * TURN, tilt: Math.max(-90, Math.min(90, eye.tilt + step[1] * TURN)) });
  else if (e.key === '+' || e.key === '=') stage.setEye({ ...eye, span: eye.span / 1.15 });
  else if (e.key === '-' || e.key === '_') stage.setEye({ ...eye, span: eye.span * 1.15 });
  else if (e.key === '0' || e.key === 'Home') stage.fit(eye);
  else return false;
  return true;
}

/** The scale bar: a round number of mm that takes about a seventh of the drawing's width. */
export function scaleBar(drawing: Drawing): void {
  const bar = part('scalebar');
  const text = bar.querySelector('span');
  drawing.stage.onMove.push(() => {
    const { scale, size } = drawing.stage;
    const want = size.width / 7 / scale;
    const unit = 10 ** Math.floor(Math.log10(want));
    const mm = unit * (want / unit >= 5 ? 5 : want / unit >= 2 ? 2 : 1);
    bar.style.width = `${mm * scale}px`;
    if (text) text.textContent = `${mm} mm`;
  });
}

/** Paper bright, dark or as the system has it; kept for the next visit where the browser allows it. */
export function paperPanel(drawing: Drawing, changed: () => void): void {
  const system = matchMedia('(prefers-color-scheme: dark)');
  let chosen = recall();
  const apply = (): void => {
    document.documentElement.dataset.paper = chosen === 'system' ? (system.matches ? 'dark' : 'bright') : chosen;
    drawing.recolour();
    changed();
  };
  const radios = ['system', 'bright', 'dark'].map((paper) => {
    const input = make('input', { type: 'radio', name: 'paper', value: paper });
    input.checked = paper === chosen;
    input.addEventListener('change', () => {
      chosen = paper;
      remember(paper);
      apply();
    });
    return make('label', { class: 'word' }, input, make('span', {}, paper));
  });
  part('head').append(make('fieldset', { class: 'paper' }, make('legend', {}, 'Paper'), ...radios));
  system.addEventListener('change', apply);
  apply();
}

// Storage may be refused, as for a page opened from disk; the choice then lasts as long as the page.
function recall(): string {
  try {
    return localStorage.getItem('voidgauge-paper') ?? 'system';
  } catch {
    return 'system';
  }
}

function remember(paper: string): void {
  try {
    localStorage.setItem('voidgauge-paper', paper);
  } catch {}
}

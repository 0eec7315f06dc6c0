import { readAddress, writeAddress } from './address.ts';
import { cutPanel } from './cut-panel.ts';
import { openSource, type Source } from './data.ts';
import { make, part } from './dom.ts';
import { Drawing } from './drawing.ts';
import { listPanel } from './list-panel.ts';
import { lookPanel, paperPanel, scaleBar } from './look-panel.ts';
import { measurePanel } from './measure-panel.ts';
import type { ResultFile } from './result.ts';
import { sheetPanel } from './sheet-panel.ts';
import { readThings } from './things.ts';
import { VIEWS } from './views.ts';

const FIRST_LOOK = VIEWS['three-quarter'];

/** Ties the address to the drawing, both ways. */
function keepAddress(drawing: Drawing): void {
  const { stage } = drawing;
  let wait = 0;
  let written = '';
  const write = (): void => {
    clearTimeout(wait);
    wait = window.setTimeout(() => {
      const shows = new Map(drawing.things.map((t) => [t.thing.name, t.show]));
      written = `#${writeAddress({ eye: stage.eye(), cut: drawing.cut.current, shows })}`;
      history.replaceState(null, '', written);
    }, 250);
  };
  stage.onMove.push(write);
  drawing.onChange.push(write);
  addEventListener('hashchange', () => {
    if (location.hash !== written) applyAddress(drawing);
  });
}

function applyAddress(drawing: Drawing): void {
  const a = readAddress(location.hash);
  if (a.shows.size) drawing.show(a.shows);
  drawing.setCut(a.cut);
  if (a.eye) drawing.stage.setEye(a.eye);
  else drawing.stage.fit(FIRST_LOOK);
}

async function readResult(source: Source): Promise<ResultFile> {
  const text = new TextDecoder().decode(await source.read('result.json'));
  let result: ResultFile;
  try {
    result = JSON.parse(text);
  } catch {
    throw new Error('result.json is cut off or is no JSON.');
  }
  if (typeof result?.job?.name !== 'string')
    throw new Error('result.json holds no job: it is not a result of this program, or it was cut off.');
  return result;
}

async function start(): Promise<void> {
  const source = await openSource();
  const scene = source.read('scene.glb');
  // Waited for below; until then a failure must not count as unhandled.
  scene.catch(() => {});
  sheetPanel(await readResult(source));
  const drawing = new Drawing(part('stage'));
  const list = listPanel(drawing);
  const updateCut = cutPanel(drawing);
  lookPanel(drawing);
  scaleBar(drawing);
  paperPanel(drawing);
  measurePanel(drawing);
  drawing.setThings(await readThings(await scene));
  list.build();
  updateCut();
  applyAddress(drawing);
  keepAddress(drawing);
  part('busy').hidden = true;
  drawing.stage.drawNow();
  document.documentElement.dataset.ready = 'yes';
}

start().catch((e: unknown) => {
  const busy = part('busy');
  busy.hidden = false;
  busy.replaceChildren(make('b', {}, 'This result cannot be shown. '), e instanceof Error ? e.message : String(e));
  document.documentElement.dataset.ready = 'failed';
});

import { readAddress, writeAddress } from './address.ts';
import { answersOf } from './answers.ts';
import { Curve } from './curve.ts';
import { cutPanel } from './cut-panel.ts';
import { memorySource, openSource, type Source } from './data.ts';
import type { DialPanel } from './dial-panel.ts';
import { download, make, part } from './dom.ts';
import { Drawing } from './drawing.ts';
import { jumpPanel } from './jump-panel.ts';
import { listPanel } from './list-panel.ts';
import { lookPanel, paperPanel, scaleBar } from './look-panel.ts';
import { measurePanel } from './measure-panel.ts';
import { pathPanel } from './path-panel.ts';
import { placesPanel } from './places.ts';
import { drawingPicture, printSheet } from './print-sheet.ts';
import type { ResultFile } from './result.ts';
import { sheetPanel } from './sheet-panel.ts';
import { tableElement, tablesOf } from './tables.ts';
import { readThings, sorted, type Thing, thingFrom } from './things.ts';
import { VIEWS } from './views.ts';
import { slackReader, whatIf } from './what-if.ts';

const FIRST_LOOK = VIEWS['three-quarter'];

/** Ties the address to the drawing and the dials, both ways; returns what to call when a dial was turned. */
function keepAddress(drawing: Drawing, dials: () => DialPanel | undefined): () => void {
  const { stage } = drawing;
  let wait = 0;
  let written = '';
  const write = (): void => {
    clearTimeout(wait);
    wait = window.setTimeout(() => {
      const shows = new Map(drawing.things.map((t) => [t.thing.name, t.show]));
      written = `#${writeAddress({ eye: stage.eye(), cut: drawing.cut.current, shows, dials: dials()?.address() })}`;
      history.replaceState(null, '', written);
    }, 250);
  };
  stage.onMove.push(write);
  drawing.onChange.push(write);
  addEventListener('hashchange', () => {
    if (location.hash === written) return;
    applyAddress(drawing);
    dials()?.read(readAddress(location.hash).dials ?? '');
  });
  return write;
}

function applyAddress(drawing: Drawing): void {
  const a = readAddress(location.hash);
  if (a.shows.size) drawing.show(a.shows);
  drawing.setCut(a.cut);
  if (a.eye) drawing.stage.setEye(a.eye);
  else drawing.stage.fit(FIRST_LOOK, drawing.near());
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

/** The curves of the sheet; returns the dip chart, which follows the dials. */
function curves(r: ResultFile, dials: boolean): { dip: Curve | undefined; all: Curve[] } {
  const all: Curve[] = [];
  const put = (curve: Curve): Curve => {
    part('curves').hidden = false;
    part('curves').append(curve.element);
    all.push(curve);
    return curve;
  };
  const radii = r.envelope?.by_radius ?? [];
  if (radii.length > 1)
    put(
      new Curve(
        {
          title: 'Volume by least radius',
          fineOnly: true,
          x: 'least radius, mm',
          y: 'litres',
          says: ({ x, y }) => `Volume falls from ${y[0].toFixed(1)} l at radius ${x[0]} mm to ${y.at(-1)?.toFixed(1)} l at ${x.at(-1)} mm.`,
        },
        { x: radii.map((p) => p.radius_mm), y: radii.map((p) => p.volume_l) },
      ),
    );
  const dip = r.tank?.dip ?? [];
  const chart =
    dip.length > 1 || (r.tank && dials)
      ? put(
          new Curve(
            {
              title: 'Litres by height of the level',
              x: 'height over the lowest point, mm',
              y: 'litres',
              says: ({ x, y }) =>
                x.length ? `From 0 to ${y.at(-1)?.toFixed(1)} l over ${x.at(-1)?.toFixed(0)} mm.` : 'Turn a dial to draw it.',
            },
            { x: dip.map((p) => p.height_mm), y: dip.map((p) => p.volume_l) },
          ),
        )
      : undefined;
  return { dip: chart, all };
}

function showTables(r: ResultFile, drawing: Drawing): void {
  const { stage } = drawing;
  // The eye stands where the body comes from and looks along its way in, against the way out.
  const look = (d: readonly number[]): void => {
    const n = Math.hypot(...d) || 1;
    stage.look({ turn: (Math.atan2(d[1], d[0]) * 180) / Math.PI, tilt: (Math.asin(Math.max(-1, Math.min(1, d[2] / n))) * 180) / Math.PI });
  };
  const tables = tablesOf(r);
  part('tables').hidden = tables.length === 0;
  part('tables').append(...tables.map((t) => tableElement(t, look)));
}

/** The page for one result: what is written, the drawing with what can be done to it, and the dials. */
async function show(source: Source, things: Promise<Thing[]>): Promise<void> {
  // Waited for below; until then a failure must not count as unhandled.
  things.catch(() => {});
  const result = await readResult(source);
  sheetPanel(result);
  const drawing = new Drawing(part('stage'));
  const list = listPanel(drawing);
  const updateCut = cutPanel(drawing);
  lookPanel(drawing);
  scaleBar(drawing);
  const { dip, all } = curves(result, source.names.includes('coarse.json'));
  paperPanel(drawing, () => {
    for (const c of all) c.draw();
  });
  measurePanel(drawing, slackReader(source));
  placesPanel(result, drawing);
  showTables(result, drawing);
  const drawn = sorted([...(await things), ...answersOf(result)]);
  drawing.setThings(drawn);
  list.build();
  await pathPanel(source, result, drawing);
  updateCut();
  applyAddress(drawing);
  let panel: DialPanel | undefined;
  // Read before the address is written anew.
  const { dials: turned } = readAddress(location.hash);
  const write = keepAddress(drawing, () => panel);
  part('busy').hidden = true;
  drawing.stage.drawNow();
  for (const c of all) c.draw();
  const page = drawingPicture(source).catch(() => undefined);
  const changed = (): void => {
    list.build();
    write();
  };
  panel = await whatIf({ source, result, drawing, things: drawn, dip, changed });
  if (turned) panel?.read(turned);
  printSheet(result, drawing, all, await page);
  jumpPanel();
}

/** The page without a result measures one itself, then shows it and offers it as a folder. */
async function shop(): Promise<void> {
  document.documentElement.dataset.mode = 'shop';
  document.documentElement.dataset.ready = 'yes';
  const { shopPanel } = await import('./shop-panel.ts');
  const { files, things } = await shopPanel();
  delete document.documentElement.dataset.mode;
  await show(
    memorySource(files),
    Promise.resolve(sorted(things.map((t) => thingFrom(t.name, t.kind, t.mesh, { clearance: t.clearance })))),
  );
  const save = make('button', { type: 'button' }, 'save the result folder');
  save.addEventListener('click', async () => {
    const { zipSync } = await import('fflate');
    download('voidgauge-result.zip', new Blob([zipSync(Object.fromEntries(files))]));
  });
  part('measure').querySelector('.words')?.append(save);
  document.documentElement.dataset.measured = 'yes';
}

async function start(): Promise<void> {
  const source = await openSource();
  if (!source.names.includes('result.json')) return shop();
  await show(source, source.read('scene.glb').then(readThings));
  document.documentElement.dataset.ready = 'yes';
}

start().catch((e: unknown) => {
  const busy = part('busy');
  busy.hidden = false;
  busy.replaceChildren(make('b', {}, 'This result cannot be shown. '), e instanceof Error ? e.message : String(e));
  document.documentElement.dataset.ready = 'failed';
});

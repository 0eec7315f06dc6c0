import { type Coarse, type CoarseHeader, readCoarse } from '../src/report/coarse.ts';
import { againPanel } from './again-panel.ts';
import type { Curve } from './curve.ts';
import { gunzip, type Source } from './data.ts';
import { type DialPanel, dialPanel } from './dial-panel.ts';
import { changesOf, firstDials, jobLines } from './dial-state.ts';
import { part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { Engine } from './engine.ts';
import type { SlackAt } from './measure-panel.ts';
import type { QuickResult, Settings } from './quick.ts';
import { QuickThings } from './quick-things.ts';
import type { ResultFile } from './result.ts';
import { showFigures } from './sheet-panel.ts';
import { slackAt } from './slack-at.ts';
import type { Thing } from './things.ts';

export interface WhatIf {
  readonly source: Source;
  readonly result: ResultFile;
  readonly drawing: Drawing;
  /** Things of the fine run. */
  readonly things: readonly Thing[];
  readonly dip: Curve | undefined;
  /** Called when things or dials have changed. */
  readonly changed: () => void;
}

/** The dials of the page: reads the coarse fields when a dial is first turned, and shows what comes back as quick figures. */
export async function whatIf(w: WhatIf): Promise<DialPanel | undefined> {
  const { source, result } = w;
  if (!source.names.includes('coarse.json') || !source.names.includes('coarse.bin')) return undefined;
  const header: CoarseHeader = JSON.parse(new TextDecoder().decode(await source.read('coarse.json')));
  let engine: Promise<Engine> | undefined;
  let newest = 0;
  const quick = new QuickThings(w.drawing, w.things, w.changed);
  const opened = (): Promise<Engine> => Engine.open(source, header, { settings: settingsOf(result), tank: result.tank !== undefined });
  const panel = dialPanel(result, header, (dials) => {
    const mine = ++newest;
    w.changed();
    if (!dials) {
      showJobLines([]);
      again?.offer(undefined);
      showFigures(result);
      quick.back();
      showDip(w, undefined);
      return;
    }
    part('quick').textContent = 'Reckoning…';
    engine ??= opened();
    const changes = changesOf(dials, firstDials(result), header);
    showJobLines(changes ? jobLines(changes) : []);
    again?.offer(changes);
    engine.then(
      (e) => {
        if (mine !== newest) return;
        e.turn(dials, {
          result: (r, done) => {
            if (mine !== newest) return;
            showFigures(result, { result: r, dials, done });
            quick.show(r, dials, done);
            if (done) showDip(w, r);
          },
          error: (text) => fail(text),
        });
      },
      (e: unknown) => fail(e instanceof Error ? e.message : String(e)),
    );
  });
  warmUp(() => {
    if (engine) return;
    engine = opened();
    // The dials as they stand: what is reckoned is kept for the first turn, and the code is compiled by then.
    engine.then(
      (e) => newest === 0 && e.turn(firstDials(result), { result: () => {}, error: () => {} }),
      () => {},
    );
  });
  // Below the dials.
  const again = source.served ? againPanel() : undefined;
  return panel;
}

/** Slack at points, from the coarse fields, which are read when first asked for. */
export function slackReader(source: Source): SlackAt | undefined {
  if (!source.names.includes('coarse.json') || !source.names.includes('coarse.bin')) return undefined;
  let coarse: Coarse | undefined;
  let asked = false;
  const read = async (): Promise<void> => {
    const header: CoarseHeader = JSON.parse(new TextDecoder().decode(await source.read('coarse.json')));
    coarse = readCoarse(header, await gunzip(await source.read('coarse.bin')));
  };
  return (at) => {
    if (!asked) read().catch((e: unknown) => fail(e instanceof Error ? e.message : String(e)));
    asked = true;
    if (!coarse) return undefined;
    const { slack, by } = slackAt(coarse, at);
    if (slack === undefined || by === undefined) return 'Slack here: outside the coarse fields.';
    return `Slack here: ${slack.toFixed(0)} mm to ${by}, give or take ${Math.ceil(coarse.header.grid.step / 4)}.`;
  };
}

/** Calls `start` once, as soon as pointer or keyboard come to the dials. */
function warmUp(start: () => void): void {
  for (const sign of ['pointerenter', 'focusin']) part('dials').addEventListener(sign, start, { once: true });
}

function settingsOf(r: ResultFile): Settings {
  const tank = r.job.tank || undefined;
  return {
    accuracy: r.job.accuracy ?? 0.25,
    vents: r.tank?.vent_mm,
    pickups: r.tank?.pickup_mm,
    insideRadius: tank?.inside_radius,
    behind: tank?.inner ? tank.inner.gap + tank.inner.wall : 0,
    foam: tank?.foam,
  };
}

/** How the dials read in the job file, for the fine run. */
function showJobLines(lines: readonly string[]): void {
  part('for-job').hidden = lines.length === 0;
  part('job-lines').textContent = lines.join('\n');
}

function fail(text: string): void {
  part('quick').hidden = false;
  part('quick').textContent = `The quick figures failed: ${text}`;
}

function showDip(w: WhatIf, r: QuickResult | undefined): void {
  const tank = r?.tank;
  const dip = tank?.dip ?? w.result.tank?.dip;
  if (!dip || !w.dip) return;
  w.dip.set({ x: dip.map((d) => d.height_mm), y: dip.map((d) => d.volume_l), mark: tank?.level_mm });
}

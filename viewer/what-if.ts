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
import type { Dials, QuickResult, Settings } from './quick.ts';
import type { ResultFile } from './result.ts';
import { showFigures } from './sheet-panel.ts';
import { slackAt } from './slack-at.ts';
import { KINDS, type Kind, type Show, type Thing, thingFrom } from './things.ts';

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
  const panel = dialPanel(result, header, (dials) => {
    const mine = ++newest;
    w.changed();
    if (!dials) {
      showJobLines([]);
      again?.offer(undefined);
      showFigures(result);
      showThings(w, w.things);
      showDip(w, undefined);
      return;
    }
    part('quick').textContent = 'Reckoning…';
    engine ??= Engine.open(source, header, settingsOf(result));
    const changes = changesOf(dials, firstDials(result), header);
    showJobLines(changes ? jobLines(changes) : []);
    again?.offer(changes);
    engine.then(
      (e) => {
        if (mine !== newest) return;
        e.turn(dials, {
          result: (r, done) => mine === newest && show(w, r, { dials, done }),
          error: (text) => fail(text),
        });
      },
      (e: unknown) => fail(e instanceof Error ? e.message : String(e)),
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

function show(w: WhatIf, r: QuickResult, { dials, done }: { dials: Dials; done: boolean }): void {
  showFigures(w.result, { result: r, dials, done });
  const made = Object.entries(r.meshes).map(([name, mesh]) => thingFrom(name, kindOf(name), mesh));
  const names = new Set(made.map((t) => t.name));
  // Until all parts are there, things of the turn before stay, but the envelope is already the new one.
  const rest = done || r.none !== undefined ? w.things.filter((t) => !MADE.has(t.kind)) : w.drawing.things.map((d) => d.thing);
  const things = [...rest.filter((t) => !names.has(t.name) && !(t.kind === 'envelope' && names.has('envelope'))), ...made];
  showThings(
    w,
    things.sort((a, b) => KINDS.indexOf(a.kind) - KINDS.indexOf(b.kind)),
    dials,
  );
  if (done) showDip(w, r);
}

const MADE: ReadonlySet<Kind> = new Set(['envelope', 'cavity', 'liquid', 'trapped', 'stranded', 'body', 'reclaimed', 'pocket', 'closest']);

const kindOf = (name: string): Kind =>
  name === 'trapped air' ? 'trapped' : name === 'stranded fuel' ? 'stranded' : (KINDS.find((k) => k === name) ?? 'envelope');

/** Takes the things up; when what stands in the tank is first drawn, the envelope round it goes faint. */
function showThings(w: WhatIf, things: readonly Thing[], dials?: Dials): void {
  const before = new Map<string, Show>(w.drawing.things.map((t) => [t.thing.name, t.show]));
  const stands = dials && (dials.pitch !== 0 || dials.lean !== 0 || dials.fill < 1);
  if (stands && things.some((t) => t.kind === 'liquid') && !before.has('liquid') && before.get('envelope') === 'shown')
    before.set('envelope', 'faint');
  if (!stands && !before.has('liquid')) for (const name of ['liquid', 'trapped air', 'stranded fuel']) before.set(name, 'hidden');
  const old = w.drawing.things.map((t) => t.thing);
  w.drawing.setThings(things, before);
  for (const t of old) if (!things.includes(t) && !w.things.includes(t)) t.geometry.dispose();
  w.changed();
}

function showDip(w: WhatIf, r: QuickResult | undefined): void {
  const tank = r?.tank;
  const dip = tank?.dip ?? w.result.tank?.dip;
  if (!dip || !w.dip) return;
  w.dip.set({ x: dip.map((d) => d.height_mm), y: dip.map((d) => d.volume_l), mark: tank?.level_mm });
}

import type { Mesh } from '../src/core/mesh.ts';
import type { Drawing } from './drawing.ts';
import type { Dials, QuickResult } from './quick.ts';
import { FINE_ONLY, KINDS, type Kind, type Show, type Thing, thingFrom } from './things.ts';

/** Kinds that turned dials take away: what is drawn of them comes with the quick answer, or is left out. */
const MADE: ReadonlySet<Kind> = new Set(['envelope', 'cavity', 'liquid', 'trapped', 'stranded', 'body', 'reclaimed', 'pocket', 'closest']);

/** What is drawn while the dials are turned: the quick answer's things in the place of the fine run's. */
export class QuickThings {
  private readonly drawing: Drawing;
  private readonly fine: readonly Thing[];
  private readonly changed: () => void;
  /** Things that stepped back, being of the fine run alone. */
  private readonly faded = new Set<string>();
  private turned = false;
  private readonly made = new WeakMap<Mesh, Thing>();

  constructor(drawing: Drawing, fine: readonly Thing[], changed: () => void) {
    this.drawing = drawing;
    this.fine = fine;
    this.changed = changed;
  }

  /** The fine run's things again. */
  back(): void {
    this.take(this.fine, undefined);
  }

  show(r: QuickResult, dials: Dials, done: boolean): void {
    const made = Object.entries(r.meshes).map(([name, mesh]) => this.thing(name, mesh));
    const names = new Set(made.map((t) => t.name));
    // Until all parts are there, things of the turn before stay, but the envelope is already the new one.
    const stay = done || r.none !== undefined ? this.fine.filter((t) => !MADE.has(t.kind)) : this.drawing.things.map((d) => d.thing);
    const things = [...stay.filter((t) => !names.has(t.name) && !(t.kind === 'envelope' && names.has('envelope'))), ...made];
    this.take(
      things.sort((a, b) => KINDS.indexOf(a.kind) - KINDS.indexOf(b.kind)),
      dials,
    );
  }

  /** The thing of a mesh, made once. */
  private thing(name: string, mesh: Mesh): Thing {
    const thing = this.made.get(mesh) ?? thingFrom(name, kindOf(name), mesh);
    this.made.set(mesh, thing);
    return thing;
  }

  /** When what stands in the tank is first drawn, the envelope round it goes faint. */
  private take(things: readonly Thing[], dials: Dials | undefined): void {
    const shows = new Map<string, Show>(this.drawing.things.map((t) => [t.thing.name, t.show]));
    this.stepBack(shows, dials !== undefined);
    const stands = dials && (dials.pitch !== 0 || dials.lean !== 0 || dials.fill < 1);
    if (stands && things.some((t) => t.kind === 'liquid') && !shows.has('liquid') && shows.get('envelope') === 'shown')
      shows.set('envelope', 'faint');
    if (!stands && !shows.has('liquid')) for (const name of ['liquid', 'trapped air', 'stranded fuel']) shows.set(name, 'hidden');
    const old = this.drawing.things.map((t) => t.thing);
    this.drawing.setThings(things, shows);
    for (const t of old) if (!things.includes(t) && !this.fine.includes(t)) t.geometry.dispose();
    this.changed();
  }

  /** What the dials do not reckon again is faint while they are turned, marked by `.of-fine` all over the sheet, and comes back as it was. */
  private stepBack(shows: Map<string, Show>, turned: boolean): void {
    document.documentElement.toggleAttribute('data-turned', turned);
    if (turned === this.turned) return;
    this.turned = turned;
    for (const { thing, show } of this.drawing.things) {
      if (turned && FINE_ONLY.has(thing.kind) && show === 'shown') {
        shows.set(thing.name, 'faint');
        this.faded.add(thing.name);
      } else if (!turned && show === 'faint' && this.faded.has(thing.name)) shows.set(thing.name, 'shown');
    }
    if (!turned) this.faded.clear();
  }
}

const kindOf = (name: string): Kind =>
  name === 'trapped air' ? 'trapped' : name === 'stranded fuel' ? 'stranded' : (KINDS.find((k) => k === name) ?? 'envelope');

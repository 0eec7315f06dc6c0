import { Box3 as Box, type Box3, type BufferGeometry, Group, Mesh, type ShaderMaterial, Sphere, Vector3 } from 'three';
import { Cut, type CutState } from './cut.ts';
import { colour } from './dom.ts';
import { type Hatch, surfaceInk } from './ink.ts';
import { type Hit, pick } from './picker.ts';
import { roughGeometry } from './rough.ts';
import { Stage } from './stage.ts';
import { firstShow, type Kind, type Show, type Thing } from './things.ts';

/** How much wider than what was found the first view is. */
const SURROUNDINGS = 1.6;

/** Things of no more faces than this are never drawn roughly. */
const FEW_FACES = 2000;
/** Cell of a rough drawing, as a share of what the first view spans from its middle. */
const ROUGH = 1 / 24;

/** Solids of our own making, whose edges are edges. */
const SHARP: ReadonlySet<Kind> = new Set(['item', 'route', 'tube', 'bore', 'way', 'globe']);

interface Drawn {
  readonly thing: Thing;
  readonly mesh: Mesh;
  show: Show;
}

/** All things on the stage with their states, colours and the cut. */
export class Drawing {
  readonly stage: Stage;
  readonly cut = new Cut();
  /** Called when a state or the cut has changed. */
  readonly onChange: (() => void)[] = [];
  private readonly group = new Group();
  private drawn: Drawn[] = [];
  private readonly rough = new WeakMap<Thing, BufferGeometry>();

  constructor(host: HTMLElement) {
    this.stage = new Stage(host);
    this.stage.scene.add(this.group, this.cut.group);
    this.stage.onRough = (rough) => this.roughen(rough);
    this.stage.onDraw.push(() => this.cut.onDraw(this.stage.scale, this.stage.renderer.getPixelRatio()));
  }

  get things(): readonly { readonly thing: Thing; readonly show: Show }[] {
    return this.drawn;
  }

  /** Takes these things up, keeping the states of those whose names were there. */
  setThings(things: readonly Thing[], shows: ReadonlyMap<string, Show> = new Map()): void {
    const before = new Map(this.drawn.map((d) => [d.thing.name, d]));
    this.drawn = things.map((thing) => {
      const show = shows.get(thing.name) ?? before.get(thing.name)?.show ?? firstShow(thing);
      return { thing, mesh: new Mesh(thing.geometry), show };
    });
    this.group.clear();
    for (const d of this.drawn) this.group.add(d.mesh);
    this.stage.setBounds(this.box().getBoundingSphere(new Sphere()));
    this.recolour();
  }

  /** Box of all things, mm; a metre about zero when there is none. */
  box(): Box3 {
    const box = new Box();
    for (const d of this.drawn) if (d.thing.geometry.boundingBox) box.union(d.thing.geometry.boundingBox);
    return box.isEmpty() ? new Box(new Vector3(-500, -500, -500), new Vector3(500, 500, 500)) : box;
  }

  /** The ball to look at: what was found with some of its surroundings; everything when nothing was found. */
  near(): Sphere {
    const all = this.box().getBoundingSphere(new Sphere());
    const found = this.drawn.find((d) => d.thing.kind === 'envelope')?.thing.geometry.boundingBox?.getBoundingSphere(new Sphere());
    return found && found.radius * SURROUNDINGS < all.radius ? new Sphere(found.center, found.radius * SURROUNDINGS) : all;
  }

  showOf(name: string): Show {
    return this.drawn.find((d) => d.thing.name === name)?.show ?? 'hidden';
  }

  show(states: ReadonlyMap<string, Show>): void {
    for (const d of this.drawn) d.show = states.get(d.thing.name) ?? d.show;
    this.recolour();
    this.changed();
  }

  setCut(state: CutState | undefined): void {
    this.cut.set(state, this.reach());
    for (const d of this.drawn) this.clip(d.mesh);
    this.changed();
  }

  /** Takes the colours from the page's style again: after a change of states or paper. */
  recolour(): void {
    this.stage.renderer.setClearColor(colour('paper'));
    const ink = colour('ink');
    for (const d of this.drawn) {
      d.mesh.visible = d.show !== 'hidden';
      if (d.mesh.visible && !d.thing.geometry.hasAttribute('normal')) d.thing.geometry.computeVertexNormals();
      d.mesh.renderOrder = d.show === 'faint' ? 2000 : 0;
      for (const m of [d.mesh.material].flat()) m.dispose();
      d.mesh.material = surfaceInk(this.colourOf(d.thing), ink, { faint: d.show === 'faint', sharp: SHARP.has(d.thing.kind) });
      this.clip(d.mesh);
    }
    this.cut.rebuild(
      this.drawn.map((d, i) => ({
        thing: d.thing,
        show: d.show,
        look: { colour: this.colourOf(d.thing), paper: colour('paper'), ink, hatch: hatchOf(d.thing, i) },
      })),
    );
    this.stage.request();
  }

  /** Scans share one family of greys, told apart by lightness and name; what the program found has colours of its own. */
  colourOf(thing: Thing): string {
    if (thing.kind !== 'scan') return colour(`kind-${thing.kind}`);
    const scans = this.drawn.filter((d) => d.thing.kind === 'scan');
    return colour(`scan-${scans.findIndex((d) => d.thing === thing) % 4}`);
  }

  pick(place: { x: number; y: number }): Hit | undefined {
    return pick(
      this.stage,
      this.drawn.filter((d) => d.show === 'shown'),
      this.cut.current,
      place,
    );
  }

  /** Shows things of many faces with few of them, or whole again. */
  private roughen(rough: boolean): void {
    for (const { thing, mesh } of this.drawn) {
      const few = rough && mesh.visible && thing.mesh.indices.length > 3 * FEW_FACES;
      mesh.geometry = few ? this.roughOf(thing) : thing.geometry;
      if (mesh.visible) this.cut.setGeometry(thing, mesh.geometry);
    }
  }

  private roughOf(thing: Thing): BufferGeometry {
    const made = this.rough.get(thing) ?? roughGeometry(thing.mesh, this.near().radius * ROUGH);
    this.rough.set(thing, made);
    return made;
  }

  private clip(mesh: Mesh): void {
    (mesh.material as ShaderMaterial).clippingPlanes = this.cut.current ? [this.cut.plane] : [];
  }

  private reach(): number {
    const sphere = this.box().getBoundingSphere(new Sphere());
    return 4 * (sphere.radius + sphere.center.length());
  }

  private changed(): void {
    for (const f of this.onChange) f();
    this.stage.request();
  }
}

/** Neighbouring parts in a section are hatched at different angles and spacings, as drawings do (ISO 128-50). */
const hatchOf = (thing: Thing, i: number): Hatch =>
  thing.kind === 'scan'
    ? { angle: (i % 2 ? 1 : 3) * (Math.PI / 4), gap: 5 + (i % 3) }
    : { angle: (i % 2 ? 3 : 1) * (Math.PI / 4), gap: 9 + (i % 3) };

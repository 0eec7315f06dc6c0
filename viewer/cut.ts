import { BufferAttribute, BufferGeometry, Group, Mesh, Plane, PlaneGeometry, type ShaderMaterial, Vector3 } from 'three';
import { countInk, type Hatch, hatchInk, lineInk } from './ink.ts';
import { sectionSegments } from './section.ts';
import type { Show, Thing } from './things.ts';

/** A cut across an axis at `at` mm; `keep` says which side stays: below (-1) or above (1). */
export interface CutState {
  readonly axis: 0 | 1 | 2;
  readonly at: number;
  readonly keep: 1 | -1;
}

export interface CutLook {
  readonly colour: string;
  readonly paper: string;
  readonly ink: string;
  readonly hatch: Hatch;
}

interface CutThing {
  readonly thing: Thing;
  readonly show: Show;
  readonly look: CutLook;
}

interface Part {
  readonly thing: Thing;
  readonly group: Group;
  readonly cap?: Mesh;
  /** The thing again, back and front, for counting. */
  readonly walls: readonly Mesh[];
  readonly outline: Mesh;
  readonly made: (ShaderMaterial | BufferGeometry)[];
}

/**
 * The cutting plane: what it takes away, and the cut faces. Closed things are filled by counting their walls in the stencil;
 * open scans, which have no inside, show the line in which the plane meets them.
 */
export class Cut {
  readonly plane = new Plane(new Vector3(1, 0, 0), 0);
  readonly group = new Group();
  private readonly sheet = new PlaneGeometry(1, 1);
  private parts: Part[] = [];
  /** Whose cut faces are built when there is a cut: to see which things are closed takes as long as all else before the first picture. */
  private waiting: readonly CutThing[] = [];
  private state: CutState | undefined;

  get current(): CutState | undefined {
    return this.state;
  }

  /** Takes up these things for the cut faces; call after a change of things, states or colours. */
  rebuild(things: readonly CutThing[]): void {
    for (const part of this.parts) for (const m of part.made) m.dispose();
    this.group.clear();
    this.parts = [];
    this.waiting = things;
    this.place();
  }

  /** Moves the plane; undefined takes it away. */
  set(state: CutState | undefined, reach: number): void {
    this.state = state;
    this.sheet.dispose();
    if (state) {
      const normal = [0, 0, 0];
      normal[state.axis] = state.keep;
      this.plane.set(new Vector3(...normal), -state.keep * state.at);
      setSheet(this.sheet, state, reach);
    }
    this.place();
  }

  /** What the walls of a thing are counted on. */
  setGeometry(thing: Thing, geometry: BufferGeometry): void {
    for (const part of this.parts) if (part.thing === thing) for (const wall of part.walls) wall.geometry = geometry;
  }

  /** Keeps line widths and hatching true to the screen. */
  onDraw(zoom: number, pixelRatio: number): void {
    for (const { outline, cap } of this.parts) {
      (outline.material as ShaderMaterial).uniforms.zoom.value = zoom;
      if (cap) (cap.material as ShaderMaterial).uniforms.scale.value = pixelRatio;
    }
  }

  private partOf(thing: Thing, show: Show, look: CutLook, order: number): Part {
    const group = new Group();
    const outline = new Mesh(new BufferGeometry(), lineInk(look.ink, thing.kind === 'scan' ? 1.6 : 2.2));
    outline.frustumCulled = false;
    outline.renderOrder = 1000 + order;
    group.add(outline);
    const made: Part['made'] = [outline.geometry, outline.material];
    const walls: Mesh[] = [];
    let cap: Mesh | undefined;
    if (thing.closed) {
      const back = countInk(true, this.plane);
      const front = countInk(false, this.plane);
      const face = hatchInk(look.colour, look.paper, look.hatch, show === 'faint');
      cap = new Mesh(this.sheet, face);
      cap.frustumCulled = false;
      // The next thing counts from zero; hatching alone would leave counts behind.
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      walls.push(new Mesh(thing.geometry, back), new Mesh(thing.geometry, front));
      [...walls, cap].forEach((mesh, i) => {
        mesh.renderOrder = 100 + order + 0.1 * (i + 1);
        group.add(mesh);
      });
      made.push(back, front, face);
    }
    this.group.add(group);
    return { thing, group, cap, walls, outline, made };
  }

  private place(): void {
    this.group.visible = this.state !== undefined;
    const s = this.state;
    if (!s) return;
    this.parts.push(...this.waiting.filter((t) => t.show !== 'hidden').map((t, i) => this.partOf(t.thing, t.show, t.look, i)));
    this.waiting = [];
    for (const { thing, group, outline } of this.parts) {
      const box = thing.geometry.boundingBox;
      group.visible = !!box && box.min.getComponent(s.axis) <= s.at && box.max.getComponent(s.axis) >= s.at;
      if (group.visible) setRibbons(outline.geometry, sectionSegments(thing.mesh, s.axis, s.at));
    }
  }
}

/** The four corners of the cutting plane, far beyond everything. */
function setSheet(sheet: PlaneGeometry, s: CutState, reach: number): void {
  const position = sheet.getAttribute('position');
  const u = (s.axis + 1) % 3;
  const v = (s.axis + 2) % 3;
  for (let i = 0; i < 4; i++) {
    const p = [0, 0, 0];
    p[s.axis] = s.at;
    p[u] = i & 1 ? reach : -reach;
    p[v] = i & 2 ? reach : -reach;
    position.setXYZ(i, p[0], p[1], p[2]);
  }
  position.needsUpdate = true;
}

/** Segments to ribbons of four corners each; the shader spreads them sideways on the screen. */
function setRibbons(g: BufferGeometry, segments: Float32Array): void {
  const n = segments.length / 6;
  const position = new Float32Array(n * 12);
  const across = new Float32Array(n * 12);
  const index = new Uint32Array(n * 6);
  for (let i = 0; i < n; i++) {
    for (let a = 0; a < 3; a++) {
      const p = segments[i * 6 + a];
      const q = segments[i * 6 + 3 + a];
      for (let c = 0; c < 4; c++) {
        position[i * 12 + c * 3 + a] = c < 2 ? p : q;
        across[i * 12 + c * 3 + a] = c & 1 ? p - q : q - p;
      }
    }
    for (let k = 0; k < 6; k++) index[i * 6 + k] = i * 4 + CORNERS[k];
  }
  g.dispose();
  g.setAttribute('position', new BufferAttribute(position, 3));
  g.setAttribute('across', new BufferAttribute(across, 3));
  g.setIndex(new BufferAttribute(index, 1));
}

const CORNERS = [0, 1, 2, 2, 1, 3];

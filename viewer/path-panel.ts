import { type BufferGeometry, Color, Matrix4, Mesh, type ShaderMaterial, Sphere, Vector3 } from 'three';
import type { Box3, Vec3 } from '../src/core/vec.ts';
import { AT_REST, type Pose, rowsOf } from '../src/fit/pose.ts';
import type { TrialResult } from '../src/fit/trial.ts';
import type { Source } from './data.ts';
import { colour, make, part } from './dom.ts';
import type { Drawing } from './drawing.ts';
import { surfaceInk } from './ink.ts';
import { type BodyPath, pathOfFit, Walk } from './path.ts';
import type { ResultFile } from './result.ts';
import { readThings } from './things.ts';

/** Seconds that the way in takes to play. */
const SECONDS = 6;
/** Positions of the slider. */
const NOTCHES = 1000;
const FITTED = 'the fitted body';

/** A path with the mesh that goes it. */
interface Actor {
  readonly path: BodyPath;
  readonly walk: Walk;
  readonly geometry: BufferGeometry;
}

/** Shows a body on its way in: a slider, a button that plays it, the narrowest moment. Nothing where the results have no such way. */
export async function pathPanel(source: Source, result: ResultFile, drawing: Drawing): Promise<void> {
  const fit = await fitted(source).catch((e: unknown) => {
    part('paths').hidden = false;
    part('paths').append(make('p', { class: 'path-says' }, `fit.json cannot be shown: ${e instanceof Error ? e.message : String(e)}`));
    return [];
  });
  const actors = [...fit, ...slides(result, drawing)];
  if (actors.length > 0) new PathPanel(drawing, actors).build();
}

/** The body of a trial fit on the way that was found for it. */
async function fitted(source: Source): Promise<Actor[]> {
  if (!source.names.includes('fit.json') || !source.names.includes('fit-body.glb')) return [];
  const fit: { readonly vehicles?: readonly TrialResult[] } = JSON.parse(new TextDecoder().decode(await source.read('fit.json')));
  const [body] = await readThings(await source.read('fit-body.glb'));
  const path = fit.vehicles?.[0] && pathOfFit(fit.vehicles[0], FITTED);
  return path && body ? [actor(path, body.geometry)] : [];
}

/** What of the envelope slides out: the drawn body, along the way that it was made for. */
function slides({ ways_in: ways = [], ways_search: search }: ResultFile, drawing: Drawing): Actor[] {
  const body = drawing.things.find((t) => t.thing.kind === 'body')?.thing;
  const direction = search?.used?.direction ?? ways[0]?.direction;
  const box = body?.geometry.boundingBox;
  if (!body || !box || !direction) return [];
  const own = plainBox(box);
  const far = toTheOpen(plainBox(drawing.box()), own, direction);
  const end: Pose = { ...AT_REST, shift: [direction[0] * far, direction[1] * far, direction[2] * far] };
  const centre = box.getCenter(new Vector3());
  return [
    actor(
      { body: body.name, words: 'the body that slides in', poses: [AT_REST, end], centre: [centre.x, centre.y, centre.z] },
      body.geometry,
    ),
  ];
}

const plainBox = ({ min, max }: { readonly min: Vector3; readonly max: Vector3 }): Box3 => ({
  min: [min.x, min.y, min.z],
  max: [max.x, max.y, max.z],
});

/** How far along d the box `own` has to slide until it has left the box `all` behind, mm. */
const toTheOpen = (all: Box3, own: Box3, d: Vec3): number =>
  d.reduce(
    (least, v, a) => (Math.abs(v) < 1e-6 ? least : Math.min(least, (v > 0 ? all.max[a] - own.min[a] : all.min[a] - own.max[a]) / v)),
    Infinity,
  );

function actor(path: BodyPath, geometry: BufferGeometry): Actor {
  const ball = geometry.boundingSphere ?? new Sphere(new Vector3(), 1);
  const radius = ball.radius + ball.center.distanceTo(new Vector3(...path.centre));
  return { path, walk: new Walk(path.poses, radius), geometry };
}

class PathPanel {
  private readonly drawing: Drawing;
  private readonly actors: readonly Actor[];
  private now: Actor;
  private readonly mesh: Mesh<BufferGeometry, ShaderMaterial>;
  private readonly slider = make('input', {
    type: 'range',
    min: '0',
    max: String(NOTCHES),
    value: '0',
    'aria-label': 'Place on the way in',
  });
  private readonly play = make('button', { type: 'button' }, 'play');
  private readonly narrow = make('button', { type: 'button' }, 'narrowest moment');
  private readonly away = make('button', { type: 'button' }, 'put away');
  private readonly says = make('p', { class: 'path-says' });
  private readonly tight = make('p', { class: 'path-says' });
  private readonly mark = make('i', { class: 'mark path-mark', 'aria-hidden': 'true' });
  /** Share of the narrowest moment, counted from the open. */
  private tightAt: number | undefined;
  private frame = 0;

  constructor(drawing: Drawing, actors: readonly Actor[]) {
    this.drawing = drawing;
    this.actors = actors;
    this.now = actors[0];
    this.mesh = new Mesh(this.now.geometry, surfaceInk(colour('kind-body'), colour('ink'), { faint: false, sharp: false }));
    this.mesh.matrixAutoUpdate = false;
    this.mesh.visible = false;
  }

  build(): void {
    const { drawing, slider, play, narrow, away } = this;
    drawing.stage.scene.add(this.mesh);
    part('stage').append(this.mark);
    drawing.stage.onDraw.push(() => this.onDraw());
    slider.addEventListener('input', () => {
      this.stop();
      this.show(Number(slider.value) / NOTCHES);
    });
    play.addEventListener('click', () => (this.frame ? this.stop() : this.start()));
    narrow.addEventListener('click', () => {
      this.stop();
      this.show(this.tightAt ?? 0);
    });
    away.addEventListener('click', () => this.putAway());
    part('paths').append(
      ...this.choices(),
      make('div', { class: 'row' }, slider),
      make('div', { class: 'words' }, play, narrow, away),
      this.says,
      this.tight,
    );
    part('paths').hidden = false;
    this.take(this.now);
  }

  /** One word a path, where there are several. */
  private choices(): HTMLElement[] {
    if (this.actors.length < 2) return [];
    const words = this.actors.map((a) => {
      const input = make('input', { type: 'radio', name: 'path' });
      input.checked = a === this.now;
      input.addEventListener('change', () => {
        this.take(a);
        this.show(0);
      });
      return make('label', { class: 'word' }, input, make('span', {}, a.path.words));
    });
    return [make('div', { class: 'words', role: 'radiogroup', 'aria-label': 'Which way' }, ...words)];
  }

  private take(a: Actor): void {
    this.stop();
    this.now = a;
    this.mesh.geometry = a.geometry;
    const { narrowest } = a.path;
    this.tightAt = narrowest && 1 - a.walk.shareOf(narrowest.pose);
    this.narrow.hidden = !narrowest;
    this.tight.textContent = narrowest?.words ?? '';
    this.slider.style.setProperty('--tight', `${100 * (this.tightAt ?? 0)}%`);
    this.slider.classList.toggle('has-tight', this.tightAt !== undefined);
    this.tell(0);
  }

  private start(): void {
    const from = Number(this.slider.value) >= NOTCHES ? 0 : Number(this.slider.value) / NOTCHES;
    const begin = performance.now() - 1000 * SECONDS * from;
    this.play.textContent = 'stop';
    const step = (time: number): void => {
      const share = Math.min(1, Math.max(0, (time - begin) / 1000 / SECONDS));
      this.show(share);
      if (share < 1) this.frame = requestAnimationFrame(step);
      else this.stop();
    };
    this.frame = requestAnimationFrame(step);
  }

  private stop(): void {
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    this.play.textContent = 'play';
  }

  /** The body at a share of the way in: 0 in the open, 1 at its seat. */
  private show(share: number): void {
    const { stage } = this.drawing;
    if (!this.mesh.visible)
      this.drawing.show(new Map(this.drawing.things.filter((t) => t.show === 'shown').map((t) => [t.thing.name, 'faint'])));
    this.mesh.visible = true;
    const { path, walk } = this.now;
    const [a, b, c] = rowsOf(walk.at(1 - share), path.centre);
    this.mesh.matrix = new Matrix4(...a, ...b, ...c, 0, 0, 0, 1);
    this.mesh.matrixWorldNeedsUpdate = true;
    this.slider.value = String(Math.round(share * NOTCHES));
    this.tell(share);
    stage.request();
  }

  private tell(share: number): void {
    const { walk, path } = this.now;
    const { shift, turn } = walk.at(1 - share);
    const moved = `${Math.hypot(...shift).toFixed(0)} mm from its seat`;
    const turned = path.poses.some((p) => Math.hypot(...p.turn) > 0)
      ? `, turned ${((Math.hypot(...turn) * 180) / Math.PI).toFixed(0)} degrees`
      : '';
    const words = share >= 1 ? 'at its seat' : `${(100 * share).toFixed(0)} % of the way in, ${moved}${turned}`;
    this.says.textContent = words;
    this.slider.setAttribute('aria-valuetext', words);
  }

  private putAway(): void {
    this.stop();
    this.mesh.visible = false;
    this.slider.value = '0';
    this.tell(0);
    this.drawing.stage.request();
  }

  /** Colours and the cut as they are now; the mark where the narrowest moment is, while the body is there. */
  private onDraw(): void {
    const { mesh, mark, drawing } = this;
    mark.hidden = true;
    if (!mesh.visible) return;
    const { uniforms } = mesh.material;
    uniforms.colour.value = new Color(colour('kind-body'));
    uniforms.ink.value = new Color(colour('ink'));
    mesh.material.clippingPlanes = drawing.cut.current ? [drawing.cut.plane] : [];
    const at = this.now.path.narrowest?.at;
    if (!at || this.tightAt === undefined || Math.abs(Number(this.slider.value) / NOTCHES - this.tightAt) > 1.5 / NOTCHES) return;
    const { x, y } = drawing.stage.toScreen([at[0], at[1], at[2]]);
    mark.hidden = false;
    mark.style.left = `${x}px`;
    mark.style.top = `${y}px`;
  }
}

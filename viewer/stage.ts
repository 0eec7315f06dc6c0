import { ColorManagement, LinearSRGBColorSpace, MOUSE, OrthographicCamera, Scene, Sphere, Vector3, WebGLRenderer } from 'three';
import { OrbitControls } from 'three/examples/jsm/controls/OrbitControls.js';
import type { Look } from './views.ts';

/** Where the eye is: direction, what it is centred on, and how many mm the shorter side of the drawing spans. */
export interface Eye extends Look {
  readonly at: readonly [number, number, number];
  readonly span: number;
}

// Colours of the style sheet go to the screen unchanged; see ink.ts.
ColorManagement.enabled = false;

/** Frames slower than this, ms, make the drawing coarser while it moves. */
const SLOW = 60;
/** Without a graphics chip a picture at rest has at most so many pixels. */
const SOFTWARE_PIXELS = 2_500_000;

/** The drawing area: a parallel view that is drawn only when something has changed. */
export class Stage {
  readonly scene = new Scene();
  readonly camera = new OrthographicCamera(-1, 1, 1, -1, 1, 2);
  readonly renderer: WebGLRenderer;
  readonly controls: OrbitControls;
  /** Called before each picture. */
  readonly onDraw: (() => void)[] = [];
  /** Called before each picture with whether a rough one will do: it moves, and no graphics chip draws it. */
  onRough: ((rough: boolean) => void) | undefined;
  /** Called when the eye has moved, by hand or by program. */
  readonly onMove: (() => void)[] = [];
  private readonly host: HTMLElement;
  private bounds = new Sphere(new Vector3(), 500);
  private waiting = 0;
  private settle = 0;
  private moving = false;
  private coarse = 1;
  private readonly software: boolean;
  private ready = false;
  private width = 1;
  private height = 1;

  constructor(host: HTMLElement) {
    this.host = host;
    host.tabIndex = 0;
    this.renderer = new WebGLRenderer({ antialias: true, stencil: true, powerPreference: 'high-performance' });
    this.renderer.outputColorSpace = LinearSRGBColorSpace;
    this.renderer.localClippingEnabled = true;
    this.renderer.domElement.setAttribute('aria-hidden', 'true');
    host.prepend(this.renderer.domElement);
    this.software = isSoftware(this.renderer);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, this.renderer.domElement);
    this.controls.zoomToCursor = true;
    this.controls.mouseButtons = { LEFT: MOUSE.ROTATE, MIDDLE: MOUSE.PAN, RIGHT: MOUSE.PAN };
    // On a narrow screen a finger drawn up or down scrolls the page.
    if (matchMedia('(max-width: 780px)').matches) this.letScroll(this.renderer.domElement);
    this.controls.addEventListener('change', () => this.moved());
    new ResizeObserver(() => this.resize()).observe(host);
    this.resize();
    this.renderer.domElement.addEventListener('webglcontextrestored', () => this.request());
  }

  /** Fingers that turn out to scroll the page leave the eye where it was. */
  private letScroll(canvas: HTMLElement): void {
    canvas.style.touchAction = 'pan-y';
    let before: Eye | undefined;
    canvas.addEventListener('pointerdown', () => {
      before = this.eye();
    });
    canvas.addEventListener('pointercancel', () => before && this.setEye(before));
  }

  /** CSS pixels per mm. */
  get scale(): number {
    return this.camera.zoom;
  }

  get size(): { readonly width: number; readonly height: number } {
    return { width: this.width, height: this.height };
  }

  /** Where a point lies on the drawing, CSS pixels from its upper left corner. */
  toScreen(at: readonly [number, number, number]): { x: number; y: number } {
    const p = new Vector3(...at).project(this.camera);
    return { x: ((p.x + 1) / 2) * this.width, y: ((1 - p.y) / 2) * this.height };
  }

  /** Draws soon; many calls make one picture. */
  request(): void {
    this.host.dataset.rest = 'no';
    if (this.ready && !this.waiting) this.waiting = requestAnimationFrame(() => this.draw());
  }

  /**
   * Draws now, at full fineness, and from now on after every change; hands the canvas over while its
   * picture is still there.
   */
  drawNow(): HTMLCanvasElement {
    this.ready = true;
    this.moving = false;
    clearTimeout(this.settle);
    this.applyFineness();
    this.draw();
    return this.renderer.domElement;
  }

  setBounds(bounds: Sphere): void {
    this.bounds = bounds;
  }

  /** Turns the eye, keeps what it is centred on. */
  look(look: Look): void {
    this.setEye({ ...this.eye(), ...look });
  }

  /** A ball in sight, seen as `look`: all things when none is given. */
  fit(look: Look, { center, radius }: Sphere = this.bounds): void {
    this.setEye({ turn: look.turn, tilt: look.tilt, at: [center.x, center.y, center.z], span: radius * 2.05 });
  }

  eye(): Eye {
    const to = this.camera.position.clone().sub(this.controls.target).normalize();
    const tilt = Math.asin(Math.max(-1, Math.min(1, to.z)));
    // Straight from above or below the compass angle is in the camera's own up direction.
    const flat =
      Math.hypot(to.x, to.y) > 1e-3 ? to : new Vector3(0, 1, 0).applyQuaternion(this.camera.quaternion).multiplyScalar(-Math.sign(to.z));
    const degrees = 180 / Math.PI;
    const { x, y, z } = this.controls.target;
    return {
      turn: Math.atan2(flat.y, flat.x) * degrees,
      tilt: tilt * degrees,
      at: [x, y, z],
      span: Math.min(this.width, this.height) / this.camera.zoom,
    };
  }

  setEye(eye: Eye): void {
    const turn = (eye.turn * Math.PI) / 180;
    // A hair off the pole keeps the compass angle, which the controls would lose.
    const tilt = (Math.max(-89.99, Math.min(89.99, eye.tilt)) * Math.PI) / 180;
    const far = this.bounds.radius * 4 + eye.span;
    this.controls.target.set(...eye.at);
    this.camera.position
      .set(Math.cos(tilt) * Math.cos(turn), Math.cos(tilt) * Math.sin(turn), Math.sin(tilt))
      .multiplyScalar(far)
      .add(this.controls.target);
    this.camera.near = 0;
    this.camera.far = far * 2;
    this.camera.zoom = Math.min(this.width, this.height) / eye.span;
    this.controls.minZoom = Math.min(this.width, this.height) / (this.bounds.radius * 20);
    this.controls.maxZoom = 60;
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.moved();
  }

  private moved(): void {
    for (const f of this.onMove) f();
    this.moving = true;
    clearTimeout(this.settle);
    this.settle = window.setTimeout(() => {
      this.moving = false;
      if (this.applyFineness() || this.software) this.request();
      else this.tellRest();
    }, 180);
    this.request();
  }

  /** Sets the pixel ratio for moving or standing pictures; true when it changed. */
  private applyFineness(): boolean {
    const want = devicePixelRatio * this.restShare() * (this.moving ? this.coarse : 1);
    if (Math.abs(this.renderer.getPixelRatio() - want) < 1e-6) return false;
    this.renderer.setPixelRatio(want);
    return true;
  }

  private draw(): void {
    cancelAnimationFrame(this.waiting);
    this.waiting = 0;
    this.applyFineness();
    if (this.software) this.onRough?.(this.moving);
    for (const f of this.onDraw) f();
    const start = performance.now();
    this.renderer.render(this.scene, this.camera);
    this.tellRest();
    if (!this.moving) return;
    // Reading one pixel waits for the picture, so that the time is the whole time.
    const gl = this.renderer.getContext();
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
    const took = performance.now() - start;
    if (took > SLOW) this.coarse = Math.max(0.35, this.coarse * 0.75);
    else if (took < SLOW / 3) this.coarse = Math.min(1, this.coarse * 1.15);
  }

  /** Marks on the element whether what is seen is the last and fine picture. */
  private tellRest(): void {
    this.host.dataset.rest = this.moving || this.waiting ? 'no' : 'yes';
  }

  /** Pixel ratio at rest, as a share of the device's: less than 1 only where a big drawing is drawn without a graphics chip. */
  private restShare(): number {
    const pixels = this.width * this.height * devicePixelRatio ** 2;
    return this.software && pixels > SOFTWARE_PIXELS ? Math.sqrt(SOFTWARE_PIXELS / pixels) : 1;
  }

  private resize(): void {
    const width = Math.max(1, this.host.clientWidth);
    const height = Math.max(1, this.host.clientHeight);
    // To set a size anew costs as much as a picture.
    if (width === this.width && height === this.height) return;
    const keep = Math.min(width, height) / Math.min(this.width, this.height);
    this.width = width;
    this.height = height;
    this.renderer.setSize(width, height);
    this.camera.left = -width / 2;
    this.camera.right = width / 2;
    this.camera.top = height / 2;
    this.camera.bottom = -height / 2;
    this.camera.zoom *= keep;
    this.camera.updateProjectionMatrix();
    this.moved();
  }
}

function isSoftware(renderer: WebGLRenderer): boolean {
  const gl = renderer.getContext();
  const info = gl.getExtension('WEBGL_debug_renderer_info');
  const name = String(gl.getParameter(info ? info.UNMASKED_RENDERER_WEBGL : gl.RENDERER));
  return /swiftshader|llvmpipe|software|basic render/i.test(name);
}

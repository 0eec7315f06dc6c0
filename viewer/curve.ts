import type uPlot from 'uplot';
import 'uplot/dist/uPlot.min.css';
import { colour, make, ofFine, part } from './dom.ts';

/** The plotting library is asked for by the first curve that is drawn, after the first picture. */
let Plot: typeof uPlot | undefined;
let loading: Promise<void> | undefined;
const load = (): Promise<void> => {
  loading ??= import('uplot').then((m) => {
    Plot = m.default;
  });
  return loading;
};

export interface CurveData {
  readonly x: readonly number[];
  readonly y: readonly number[];
  /** A place on the x axis to point out. */
  readonly mark?: number;
}

export interface CurveWords {
  readonly title: string;
  readonly x: string;
  readonly y: string;
  /** Turned dials do not draw it again. */
  readonly fineOnly?: boolean;
  /** What the curve says, for those who do not see it. */
  readonly says: (d: CurveData) => string;
}

/** A curve on the sheet; drawn again for other data, another width or another paper. */
export class Curve {
  readonly element: HTMLElement;
  private readonly sheet = make('div');
  private readonly words: CurveWords;
  private data: CurveData;
  private plot: uPlot | undefined;
  /** The last width that was seen, CSS pixels; kept while the page is printed. */
  private width = 0;

  constructor(words: CurveWords, data: CurveData) {
    this.words = words;
    this.data = data;
    this.element = make(
      'figure',
      { class: 'curve', 'data-title': words.title },
      make('figcaption', {}, words.title, ...(words.fineOnly ? [' ', ofFine()] : [])),
      this.sheet,
    );
    this.element.hidden = data.x.length < 2;
    new ResizeObserver(() => this.draw()).observe(this.element);
  }

  set(data: CurveData): void {
    this.data = data;
    this.element.hidden = data.x.length < 2;
    this.draw();
  }

  draw(): void {
    const width = this.sheet.clientWidth || this.width;
    if (width === 0 || this.element.hidden || !part('busy').hidden) return;
    if (!Plot) {
      load().then(() => this.draw());
      return;
    }
    this.width = width;
    this.plot?.destroy();
    const rem = Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
    const { x, y, mark } = this.data;
    this.sheet.setAttribute('role', 'img');
    this.sheet.setAttribute('aria-label', this.words.says(this.data));
    const axis = (label: string, size: number): uPlot.Axis => ({
      label,
      size,
      labelSize: rem * 1.1,
      font: `${rem * 0.75}px sans-serif`,
      labelFont: `${rem * 0.8}px sans-serif`,
      stroke: colour('ink'),
      grid: { stroke: colour('rule'), width: 1 },
      ticks: { stroke: colour('rule'), width: 1 },
    });
    this.plot = new Plot(
      {
        width,
        height: Math.round(width * 0.55),
        legend: { show: false },
        cursor: { drag: { x: false, y: false } },
        scales: { x: { time: false } },
        axes: [axis(this.words.x, rem * 1.8), axis(this.words.y, rem * 2.4)],
        series: [{}, { stroke: colour('accent'), width: 2.5, points: { show: x.length < 20 } }],
        hooks: { draw: [(u) => mark !== undefined && drawMark(u, mark)] },
      },
      [[...x], [...y]],
      this.sheet,
    );
  }
}

function drawMark(u: uPlot, at: number): void {
  const x = u.valToPos(at, 'x', true);
  u.ctx.save();
  u.ctx.strokeStyle = colour('ink');
  u.ctx.lineWidth = 2 * devicePixelRatio;
  u.ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
  u.ctx.beginPath();
  u.ctx.moveTo(x, u.bbox.top);
  u.ctx.lineTo(x, u.bbox.top + u.bbox.height);
  u.ctx.stroke();
  u.ctx.restore();
}

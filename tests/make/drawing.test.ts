import { describe, expect, it } from 'vitest';
import { type Field, fieldOf } from '../../src/core/field.ts';
import { gridOver } from '../../src/core/grid.ts';
import { polylineArea } from '../../src/field/outlines.ts';
import { surface } from '../../src/field/surface.ts';
import { drawingPage, PAPERS } from '../../src/make/drawing.ts';
import { sections } from '../../src/make/sections.ts';
import { VIEWS, viewOf } from '../../src/make/views.ts';
import { inlineContext } from '../../src/parallel/inline.ts';

/** A box 160 x 100 x 80 about (20, 0, 10) with edges of 15 mm, less a tunnel of 40 mm along y and a groove of radius 25 about a line 10 mm deep down its left side. */
const shape = (x: number, y: number, z: number): number => {
  const q = [Math.abs(x - 20) - 65, Math.abs(y) - 35, Math.abs(z - 10) - 25];
  const box = 15 - Math.hypot(...q.map((v) => Math.max(v, 0))) - Math.min(Math.max(...q), 0);
  return Math.min(box, Math.hypot(x + 15, z - 10) - 20, Math.hypot(x - 60, y - 40) - 25);
};
const body: Field = fieldOf(gridOver({ min: [-68, -58, -38], max: [108, 58, 58] }, 2), shape);
const mesh = surface(body, 0);
const cut = sections({ body }, { axis: [1, 0, 0], every: 20, round: 10, tolerance: 0.1 }, inlineContext);
const page = (paper: 'A4' | 'A3', of: Field = body): string =>
  drawingPage(of, of === body ? cut : undefined, { paper, title: 'Box & tunnel <1>', facts: ['one', 'two'] });

describe('views', () => {
  it('silhouettes have the areas of the shadows, and the tunnel is seen through', () => {
    const left = viewOf(body, mesh, VIEWS.left);
    // Rounded rectangle 160 x 80 with corners of 15 mm; the tunnel along y is a hole of radius 20.
    expect(left.silhouette.length).toBe(2);
    expect(polylineArea(left.silhouette[0]) / (160 * 80 - (4 - Math.PI) * 225)).toBeCloseTo(1, 2);
    expect(polylineArea(left.silhouette[1]) / (-Math.PI * 400)).toBeCloseTo(1, 1);
    const front = viewOf(body, mesh, VIEWS.front);
    expect(front.silhouette.length).toBe(1);
    expect(polylineArea(front.silhouette[0]) / (100 * 80 - (4 - Math.PI) * 225)).toBeCloseTo(1, 2);
  });

  it('are the right way round: forward to the left from the left and from above', () => {
    // The groove is at x = 60, forward of the middle at x = 20, on the left side: lower edge of the view from above.
    const above = viewOf(body, mesh, VIEWS.above);
    const near = above.silhouette[0].points;
    const hollow: number[] = [];
    for (let i = 0; i < near.length; i += 2) if (Math.hypot(near[i] + 60, near[i + 1] + 40) < 26) hollow.push(near[i], near[i + 1]);
    expect(hollow.length).toBeGreaterThan(20);
    expect(viewOf(body, mesh, VIEWS.left).box).toEqual([-100, -30, 60, 50].map((v) => expect.closeTo(v, 0)));
  });

  it('the sides of the groove turn away from the left, its floor is hidden from the front; the tunnel is hidden from above', () => {
    const xs = (lines: readonly Float64Array[]) => lines.flatMap((l) => Array.from(l).filter((_, i) => i % 2 === 0));
    const left = viewOf(body, mesh, VIEWS.left);
    // It turns away from the viewer at x = 60 -+ 25, just behind its lips.
    const sides = xs([...left.seen, ...left.hidden]).map((a) => Math.abs(-a - 60));
    expect(sides.length).toBeGreaterThan(10);
    for (const s of sides) expect(s).toBeCloseTo(25, -1);
    const front = viewOf(body, mesh, VIEWS.front);
    // Its floor is at y = 15.
    expect(xs(front.hidden).some((a) => Math.abs(a - 15) < 1)).toBe(true);
    expect(xs(front.seen).some((a) => Math.abs(a - 15) < 3)).toBe(false);
    const above = viewOf(body, mesh, VIEWS.above);
    const tunnel = xs(above.hidden).map((a) => Math.abs(-a + 15));
    expect(tunnel.some((d) => Math.abs(d - 20) < 1)).toBe(true);
    expect(xs(above.seen)).toEqual([]);
  });
});

describe('drawing page', () => {
  it('is as large as its paper, names its views and sections, gives the main dimensions and the scale', () => {
    const svg = page('A3');
    const [w, h] = PAPERS.A3;
    expect(svg).toContain(`width="${w}mm" height="${h}mm" viewBox="0 0 ${w} ${h}"`);
    for (const text of ['from the left', 'from the front', 'from above', '160', '100', '80', 'Box &amp; tunnel &lt;1&gt;'])
      expect(svg).toContain(`>${text}</text>`);
    expect(svg).toContain('scale 1:1,');
    expect(svg).toMatch(/>section x -?\d+<\/text>/);
    expect(svg).toContain('>50 mm</text>');
    expect(svg).not.toContain('NaN');
  });

  it('takes the largest scale at which all fits, and keeps everything on the paper', () => {
    for (const [paper, scale] of [
      ['A3', '1:1'],
      ['A4', '1:2'],
    ] as const) {
      const svg = page(paper);
      expect(svg).toContain(`scale ${scale},`);
      const [w, h] = PAPERS[paper];
      for (const [, x, y] of svg.matchAll(/<text x="([\d.-]+)" y="([\d.-]+)"/g)) {
        expect(Number(x)).toBeGreaterThan(0);
        expect(Number(x)).toBeLessThan(w);
        expect(Number(y)).toBeLessThan(h);
      }
    }
  });

  it('the bar is as long as it says at the scale', () => {
    const svg = page('A4');
    const [, wide] = /<rect x="[\d.]+" y="[\d.]+" width="([\d.]+)" height="1.5" fill="none"/.exec(svg)!;
    const [, says] = /font-size="2.8">(\d+) mm</.exec(svg)!;
    expect(Number(wide)).toBeCloseTo(Number(says) / 2, 2);
  });
});

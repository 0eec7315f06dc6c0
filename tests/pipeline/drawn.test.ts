import { describe, expect, it } from 'vitest';
import { meshBox, meshVolume } from '../../src/core/mesh.ts';
import { bytesSource } from '../../src/io/source.ts';
import { parseJob } from '../../src/job/job.ts';
import { inlineContext } from '../../src/parallel/inline.ts';
import { closestApproaches } from '../../src/pipeline/closest.ts';
import { drawnParts } from '../../src/pipeline/drawn.ts';
import { measure } from '../../src/pipeline/measure.ts';
import { boxesStl } from '../cli/run.ts';
import { LID, WALLS, X0, X1, Y0, Y1, Z0, Z1 } from './room.ts';

async function run(text: string, files: Record<string, Uint8Array>) {
  const job = parseJob(`voidgauge: 1\nstep: 4\nleast_radius: 8\ntank: false\n${text}`, 'job.yaml');
  return measure(job, { open: async (name) => ({ ...bytesSource(name, files[name]), digest: async () => '' }) }, inlineContext);
}

const regionTo = (top: number): string => `box: { min: [${X0 - 5}, ${Y0 - 5}, ${Z0 - 5}], max: [${X1 + 5}, ${Y1 + 5}, ${top}] }`;

describe('what is drawn beside the envelope', () => {
  it('the reclaimed room as a closed mesh: what the removed part filled, end to end of the room', async () => {
    const part = boxesStl([X0, Y0, Z0, X0 + 100, Y1, Z1]);
    const measured = await run(
      `scans:\n  walls: { file: walls, clearance: 0 }\n  part: { file: part, role: removed, clearance: 0 }\nregion: { skin: false, near: { scan: part, within: 200 }, ${regionTo(Z1 + 5)} }`,
      { walls: boxesStl(...WALLS, LID), part },
    );
    const [drawn] = (await drawnParts(measured.drawn, inlineContext)).filter((p) => p.kind === 'reclaimed');
    const litres = meshVolume(drawn.mesh) / 1e6;
    // 100 x 160 x 120 mm less fillets of 8 mm at one end, more those that the other room had at its own end; drawn a little in.
    expect(Math.abs(litres / measured.result.reclaimed!.volume_l.value - 1)).toBeLessThan(0.07);
    expect(Math.abs(litres / 1.92 - 1)).toBeLessThan(0.08);
    expect(meshBox(drawn.mesh).max[0]).toBeLessThan(X0 + 100 + 8);
  });

  it('the pocket behind a neck: a smaller room behind a wall with a window', async () => {
    const [w0, w1] = [30, 40];
    const wall = [
      [w0, Y0, Z0, w1, -25, Z1],
      [w0, 25, Z0, w1, Y1, Z1],
      [w0, -25, Z0, w1, 25, 435],
      [w0, -25, 485, w1, 25, Z1],
    ];
    const measured = await run(`scans:\n  walls: { file: walls, clearance: 2 }\nregion: { skin: false, ${regionTo(Z1 + 5)} }`, {
      walls: boxesStl(...WALLS, LID, ...wall),
    });
    const [neck] = measured.result.envelope.necks;
    expect(Math.abs(neck.diameter_mm - 46)).toBeLessThan(4);
    const [pocket] = (await drawnParts(measured.drawn, inlineContext)).filter((p) => p.kind === 'pocket');
    expect(pocket.name).toBe(`pocket 1, behind a neck of ${neck.diameter_mm.toFixed(0)} mm`);
    expect(Math.abs(meshVolume(pocket.mesh) / 1e6 / neck.behind_l - 1)).toBeLessThan(0.08);
    const box = meshBox(pocket.mesh);
    expect(box.min[0]).toBeGreaterThan(w0 - 8);
    expect(Math.abs(box.max[0] - (X1 - 2))).toBeLessThan(1);
  });

  it('closest approaches: walls at their clearance, a bar and a moving one at what the drawing of the room says', async () => {
    // The region ends below the rim; over it hang a bar, and one that slides down by 25 mm.
    const top = 510;
    const measured = await run(
      `scans:
  walls: { file: walls, clearance: 5 }
  bar: { file: bar, clearance: 10 }
  slider: { file: slider, clearance: 12, motion: { slide: { along: [0, 0, -1], from: 0, to: 25 } } }
region: { skin: false, ${regionTo(top)} }`,
      {
        walls: boxesStl(...WALLS),
        bar: boxesStl([-60, -20, top + 12.3, -40, 20, top + 30]),
        slider: boxesStl([40, -20, top + 40, 60, 20, top + 60]),
      },
    );
    const found = new Map((await closestApproaches(measured, inlineContext)).map((c) => [c.scan, c]));
    expect(found.get('walls')!.gap_mm).toBeGreaterThan(4.5);
    expect(found.get('walls')!.gap_mm).toBeLessThan(5.3);
    const bar = found.get('bar')!;
    expect(Math.abs(bar.gap_mm - 12.3)).toBeLessThan(0.1);
    expect(bar.at_mm[2]).toBeCloseTo(top + 12.3, 3);
    expect(Math.abs(bar.at_mm[0] + 50)).toBeLessThanOrEqual(10.01);
    expect(Math.abs(bar.to_mm[2] - top)).toBeLessThan(0.1);
    expect(Math.abs(found.get('slider')!.gap_mm - 15)).toBeLessThan(0.1);
    expect(bar.asked_mm).toBe(10);
  });
});

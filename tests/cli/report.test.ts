import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { boxesStl, voidgauge } from './run.ts';

/** A bin between a floor and four walls, measured coarsely. */
const JOB = `voidgauge: 1
name: a bin
step: 6
scans:
  bin: { file: bin.stl, clearance: 5 }
region: { skin: false, box: { min: [5, 5, 5], max: [195, 155, 115] } }
least_radius: 12
`;

let cwd: string;
beforeAll(async () => {
  cwd = mkdtempSync(join(tmpdir(), 'voidgauge-'));
  const walls = [
    [-20, -20, -20, 220, 180, 0],
    [-20, -20, 0, 0, 180, 120],
    [200, -20, 0, 220, 180, 120],
    [0, -20, 0, 200, 0, 120],
    [0, 160, 0, 200, 180, 120],
  ];
  writeFileSync(join(cwd, 'bin.stl'), boxesStl(...walls));
  writeFileSync(join(cwd, 'bin.yaml'), JOB);
  const { code, stderr } = await voidgauge(['measure', 'bin.yaml', '-o', 'out'], { cwd });
  if (code !== 0) throw new Error(stderr);
}, 60_000);
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

describe('report', () => {
  it('is one page that holds the result, the drawing and the fields of the dials, byte for byte', async () => {
    const { code, stderr } = await voidgauge(['report', 'out'], { cwd });
    expect([code, stderr.includes('report.html is written')]).toEqual([0, true]);
    const html = readFileSync(join(cwd, 'out', 'report.html'), 'utf8');
    const held = new Map([...html.matchAll(/<script type="text\/plain" data-file="([^"]+)">([^<]*)<\/script>/g)].map((m) => [m[1], m[2]]));
    expect([...held.keys()].sort()).toEqual(['coarse.bin', 'coarse.json', 'drawing.svg', 'result.json', 'scene.glb']);
    for (const [name, text] of held)
      expect(gunzipSync(Buffer.from(text, 'base64')).equals(readFileSync(join(cwd, 'out', name))), name).toBe(true);
    // Nothing is fetched, and nothing but the page's own script may run.
    expect(html).toMatch(/Content-Security-Policy" content="default-src 'none'/);
    expect(html.length).toBeLessThan(6e6);
  });

  it('leaves an existing file as it is unless told otherwise', async () => {
    writeFileSync(join(cwd, 'kept.html'), 'mine');
    const refused = await voidgauge(['report', 'out', '-o', 'kept.html'], { cwd });
    expect([refused.code, refused.stderr.includes('--force'), readFileSync(join(cwd, 'kept.html'), 'utf8')]).toEqual([2, true, 'mine']);
    expect((await voidgauge(['report', 'out', '-o', 'kept.html', '-f'], { cwd })).code).toBe(0);
    expect(readFileSync(join(cwd, 'kept.html'), 'utf8').length).toBeGreaterThan(1e5);
  });

  it('a folder without results, a file and nothing at all are told apart', async () => {
    mkdirSync(join(cwd, 'empty'));
    const said = await Promise.all(['empty', 'bin.yaml', 'absent'].map((name) => voidgauge(['report', name], { cwd })));
    expect(said.map((s) => s.code)).toEqual([2, 2, 2]);
    expect(said[0].stderr).toContain('This folder holds no results.');
    expect(said[1].stderr).toContain('This is a file.');
    expect(new Set(said.map((s) => s.stderr)).size).toBe(3);
  });
});

import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { median, printTable, short } from './timing.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const MAIN = join(ROOT, 'dist', 'cli', 'main.js');

export interface DemoFigures {
  readonly wall: number;
  readonly cpu: number;
  /** Largest resident memory of the process, GB. */
  readonly memory: number;
}

/** Printed by the measured process when it ends. */
const REPORT = [
  'process.on("exit", () => {',
  '  const u = process.resourceUsage();',
  '  console.error("usage", u.userCPUTime + u.systemCPUTime, u.maxRSS);',
  '});',
].join('\n');

/** The demo's main job as a user runs it: a process of its own, from start to files written. */
export function benchDemo(runs: number): DemoFigures | null {
  if (!existsSync(MAIN) || !existsSync(join(ROOT, 'samples', 'scans', 'frame.ply'))) {
    console.log('\nthe demo job is left out: run "npm run demo" once, which builds the program and makes the scans');
    return null;
  }
  const found: DemoFigures[] = [];
  for (let i = 0; i <= runs; i++) {
    const out = mkdtempSync(join(tmpdir(), 'bench-'));
    const t = performance.now();
    const args = [
      '--import',
      `data:text/javascript,${encodeURIComponent(REPORT)}`,
      MAIN,
      'measure',
      'samples/quad.yaml',
      '-o',
      join(out, 'result'),
    ];
    const { status, stderr } = spawnSync(process.execPath, args, { cwd: ROOT, encoding: 'utf8' });
    const wall = (performance.now() - t) / 1000;
    rmSync(out, { recursive: true, force: true });
    const usage = [...stderr.matchAll(/^usage (\d+) (\d+)$/gm)].at(-1);
    if (status !== 0 || !usage) throw new Error(`the demo job ended with ${status}: ${stderr.slice(-500)}`);
    // The first run only warms the disk's cache.
    if (i > 0) found.push({ wall, cpu: Number(usage[1]) / 1e6, memory: (Number(usage[2]) * 1024) / 1e9 });
  }
  const figures = {
    wall: median(found.map((f) => f.wall)),
    cpu: median(found.map((f) => f.cpu)),
    memory: Math.max(...found.map((f) => f.memory)),
  };
  printTable(
    'demo main job at 2 mm, whole process',
    ['', 'wall s', 'cpu s', 'memory GB'],
    [['', short(figures.wall), short(figures.cpu), short(figures.memory)]],
  );
  return figures;
}
